"""The highest sensible bid for an offer seen only in photographs: a registered method.

Parameters are text. What it would bring before fees: ``low``, ``likely``, ``high`` typed (one or
two will do), or ``sales`` (a table of own sales as :mod:`.worthing` reads it, with ``item``,
``columns``, ``decimal``, ``day_first``, ``rates``, ``today``) at a band of grades guessed from the
photographs (``grade``, ``grade_low``, ``grade_high``). What goes off: ``post``, ``premium_pct``,
``hours``, ``hourly``, ``materials``, ``fee_pct``, ``grading_fee``, ``disclosed`` (a factor, or
three), ``months`` and ``wait_pct`` a year, ``want`` and ``want_pct``. The offer: ``asking``,
``currency``, ``offer_currency`` with ``exchange``; ``answers`` (a line "sign = answer" each) and
own rows of ``signs`` (:mod:`.buying_signs`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run, Standing
from quirewell.science.planning.bid import (
    ANSWERS,
    Bid,
    Level,
    Spread,
    Terms,
    down_to_cents,
    grade_chances,
)
from quirewell.science.planning.typed_range import Range
from quirewell.stages import bid_told, worthing
from quirewell.stages.buying_signs import SignRow, faults_and_signs, signs_in_force
from quirewell.stages.methods import Outcome, method
from quirewell.stages.sale_table import TOP
from quirewell.stages.typed_params import Params, number, refuse_unknown

METHOD = "bid.highest"
PRACTICE: Standing = "common practice"
SOURCES = ("malcolm1959",)
_WORTH = ("sales", "columns", "item", "rates", "currency", "today", "decimal", "day_first")
_MONEY = ("asking", "post", "hours", "hourly", "materials", "grading_fee", "want", "months")
_PCT = ("premium_pct", "fee_pct", "wait_pct", "want_pct")
_TYPED = ("low", "likely", "high")
_GRADES = ("grade", "grade_low", "grade_high")
KNOWN = (*_WORTH, *_MONEY, *_PCT, *_TYPED, *_GRADES, "disclosed", "offer_currency", "exchange",
         "answers", "signs")  # fmt: skip
ONE_OFF = 2.0  # one sum typed alone stands for half to twice as much (assumed)
GUESSED = 1.5  # points either way of a grade guessed from photographs (assumed)
SCATTER = 0.5  # scatter of log price where too few sales show any (assumed)
MOST = 1e9


@dataclass(frozen=True, slots=True)
class Value:
    """What it would bring by what was given: levels, the shared uncertainty of their log mean,
    where it is from, and what to know of it."""

    levels: tuple[Level, ...]
    u_log: float | None
    says: str
    standing: Standing
    warnings: tuple[str, ...] = ()


@method(METHOD, 1, "exact")
def highest(files: Mapping[str, Path], params: Params) -> Outcome:
    """The highest sensible bid, the bids at which a loss is 1 in 5 and 1 in 2, what to ask."""
    refuse_unknown(params, KNOWN, f"{METHOD} knows no parameter")
    given = {name: text for name, text in params.items() if text.strip()}
    for name in (*_MONEY, *_PCT):
        _within(given, name)
    rate = _exchange(given)
    terms = Terms(
        post=rate * number(given, "post", 0), materials=number(given, "materials", 0),
        hours=number(given, "hours", 0), hourly=number(given, "hourly", 0),
        grading=number(given, "grading_fee", 0), fee=number(given, "fee_pct", 0) / 100,
        premium=number(given, "premium_pct", 0) / 100, wait=_wait(given),
        told=_disclosed(given), want=number(given, "want", 0),
        want_share=number(given, "want_pct", 0) / 100,
    )  # fmt: skip
    rows = signs_in_force(given.get("signs", ""))
    answers = read_answers(given.get("answers", ""), rows)
    asking = rate * number(given, "asking", 0) if "asking" in given else None
    unit = given.get("currency", given.get("offer_currency", "")) or "1"
    value = _value(given)
    if value is None:
        return _nothing(terms, unit)
    faults, signs = faults_and_signs(rows)
    bid = Bid(value.levels, terms, faults, signs, answers)
    out = _findings(bid, value, asking, unit, rows)
    if rate != 1:
        offered = down_to_cents(max(bid.highest(), 0) / rate)
        out.insert(1, Finding("", "bid.offered", "item", offered, None,
                              given.get("offer_currency", "") or "1", standing=PRACTICE,
                              note=f"at {given['exchange']} {unit} each"))  # fmt: skip
    return Outcome(tuple(out), (*value.warnings, *bid_told.warnings(given, bid)))


def _within(given: Params, name: str) -> None:
    value = number(given, name, 0)
    if name in _PCT and name != "want_pct" and not 0 <= value < 100:
        raise ValueError(f"{name} is per cent, 0 or more and below 100; got {value:g}")
    if not 0 <= value <= MOST:
        raise ValueError(f"{name} is 0 or more, got {value:g}")


def _exchange(given: Params) -> float:
    """What one of the offer's currency is in the one counted in."""
    ours, theirs = given.get("currency", "").strip(), given.get("offer_currency", "").strip()
    if not ours or not theirs or ours.lower() == theirs.lower():
        return 1.0
    if "exchange" not in given:
        raise ValueError(
            f"the offer is in {theirs[:20]} and you count in {ours[:20]}; give exchange: how many "
            f"{ours[:20]} one {theirs[:20]} is"
        )
    rate = number(given, "exchange", 0)
    if not 0 < rate <= MOST:
        raise ValueError(f"exchange is above 0, got {rate:g}")
    return rate


def _wait(given: Params) -> float:
    """Share lost by waiting: months at a per cent a year, added up simply."""
    share = number(given, "months", 0) / 12 * number(given, "wait_pct", 0) / 100
    if share >= 1:
        raise ValueError(
            f"months and wait_pct together take all of the price ({100 * share:.0f} %); wait_pct "
            "is per cent a year"
        )
    return share


def _disclosed(given: Params) -> Spread:
    """A factor, or low, likely and high of it."""
    text = given.get("disclosed", "")
    if not text:
        return 1.0
    parts = [number({"disclosed": one}, "disclosed", 1) for one in text.replace(";", " ").split()]
    if len(parts) not in (1, 3) or not all(0 < one <= 1.5 for one in parts):
        raise ValueError(
            "disclosed is what disclosure leaves of the price: one factor as 0.8, or three as "
            f"0.6 0.8 0.9; got {text[:40]!r}"
        )
    if len(parts) == 1 or parts[0] == parts[2]:
        return parts[0]
    return Range(*parts)


def read_answers(text: str, rows: tuple[SignRow, ...]) -> dict[str, str]:
    """Answers by sign, from lines "sign = answer".

    Raises:
        ValueError: a sign or an answer that there is none of.
    """
    known = {one.sign for one in rows}
    out: dict[str, str] = {}
    for line in text.splitlines():
        if not line.strip():
            continue
        sign, _, answer = (part.strip() for part in line.partition("="))
        if sign not in known:
            raise ValueError(f"there is no sign {sign[:40]!r}; they are {', '.join(sorted(known))}")
        if answer not in ANSWERS:
            said = ", ".join(one for one in ANSWERS if one)
            raise ValueError(f"an answer to {sign} is one of {said}; got {answer[:40]!r}")
        out[sign] = answer
    return out


def _value(given: Params) -> Value | None:
    """What it would bring; None where it is worth nothing.

    Raises:
        ValueError: nothing to go by.
    """
    typed = _typed(given)
    if "sales" in given:
        return _by_sales(given, typed)
    graded = any(name in given for name in _GRADES) and _grades(given)
    if typed is None:
        raise ValueError(
            "say what it would bring: low, likely and high (one of them will do), or a table of "
            "your own sales with a grade"
        )
    if typed == (0.0, 0.0, 0.0):
        return None
    low, likely, high = typed
    value: Spread = likely if low == high else Range(low, likely, high)
    says = "What was typed by hand."
    if len([name for name in _TYPED if name in given]) == 1:
        says = f"One sum typed by hand, taken as {1 / ONE_OFF:g} to {ONE_OFF:g} times (assumed)."
    idle = ("Without own sales the grade says nothing of the price; what was typed stands.",)
    return Value((Level(1.0, value),), None, says, "from memory", idle if graded else ())


def _typed(given: Params) -> tuple[float, float, float] | None:
    there = {name: number(given, name, 0) for name in _TYPED if name in given}
    if not there:
        return None
    for name, one in there.items():
        if not 0 <= one <= MOST:
            raise ValueError(f"{name} is money, 0 or more; got {one:g}")
    if not any(there.values()):
        return 0.0, 0.0, 0.0
    if len(there) == 1:
        (one,) = there.values()
        return one / ONE_OFF, one, one * ONE_OFF
    low = there.get("low", there.get("likely", 0.0))
    high = there.get("high", there.get("likely", 0.0))
    likely = there.get("likely", (low * high) ** 0.5)
    if not 0 < low <= likely <= high:
        raise ValueError(
            f"low, likely and high are above 0 and go up, got {low:g}, {likely:g} and {high:g}"
        )
    return low, likely, high


def _by_sales(given: Params, typed: tuple[float, float, float] | None) -> Value:
    """Levels from own sales over the band of grades."""
    low, likely, high = _grades(given)
    asked = {name: given[name] for name in _WORTH if name in given}
    if typed is not None and typed[0] < typed[2]:
        asked |= {name: repr(one) for name, one in zip(_TYPED, typed, strict=True)}
    at: dict[float, Mapping[str, Finding]] = {}
    levels = []
    middle = _estimate(asked, likely)
    # A range typed by hand is of the likely grade: the others follow by the slope.
    slope = middle["worth.per_grade_pct"].value if "worth.per_grade_pct" in middle else 0.0
    for grade, chance in grade_chances(low, likely, high):
        at[grade] = middle if typed is not None else _estimate(asked, grade)
        median = at[grade]["worth.median"]
        scatter = at[grade].get("worth.scatter_log")
        times = (1 + (slope or 0.0) / 100) ** (grade - likely) if typed is not None else 1.0
        u_log = (median.u or 0.0) / median.value if median.value else 0.0
        spread = SCATTER if scatter is None or scatter.value is None else scatter.value
        levels.append(Level(chance, (median.value or 0.0) * times, spread, u_log))
    warnings = []
    if middle.get("worth.scatter_log") is None:
        warnings.append(
            f"Too few sales show how prices scatter; {SCATTER:g} in the logarithm is assumed."
        )
    mean = middle.get("worth.mean")
    u = mean.u / mean.value if mean is not None and mean.u and mean.value else None
    used = int(middle["worth.used"].value or 0)
    many = "one own sale" if used == 1 else f"{used} own sales"
    grades = f"grade {low:g}"
    if low < high:
        grades = f"grades {low:g} to {high:g}, likeliest {likely:g}"
    return Value(tuple(levels), u, f"By {many} at {grades}.", "measured here", tuple(warnings))


def _estimate(asked: Mapping[str, str], grade: float) -> dict[str, Finding]:
    found = worthing.estimate({}, {**asked, "grade": repr(grade)})
    return {one.quantity: one for one in found.findings}


def _grades(given: Params) -> tuple[float, float, float]:
    """The band of grades guessed from the photographs: what is left out is set wide on purpose."""
    there = {name: number(given, name, 0) for name in _GRADES if name in given}
    for name, one in there.items():
        if not 0 < one <= TOP:
            raise ValueError(f"{name} lies above 0 and up to {TOP}, got {one:g}")
    if not there:
        raise ValueError(
            "say which grade the photographs show, from what to what (0.5 to 10); a guess will do"
        )
    ends = there.get("grade_low"), there.get("grade_high")
    middle = there.get("grade")
    if middle is None:
        middle = (
            (ends[0] + ends[1]) / 2 if ends[0] is not None and ends[1] is not None
            else next(one for one in ends if one is not None)
        )  # fmt: skip
    low = max(middle - GUESSED, 0.5) if ends[0] is None else ends[0]
    high = min(middle + GUESSED, float(TOP)) if ends[1] is None else ends[1]
    low, high = (min(low, middle), high) if ends[0] is None else (low, max(high, middle))
    if not low <= middle <= high:
        raise ValueError(
            f"the lowest, the likeliest and the highest grade go up, got {low:g}, {middle:g} and "
            f"{high:g}"
        )
    return low, middle, high


def _nothing(terms: Terms, unit: str) -> Outcome:
    """An item that would bring nothing."""
    says = (
        "It would bring nothing, so no bid pays; if you want it for itself, what it costs you "
        f"beside the bid is {down_to_cents(terms.spent):.2f}{bid_told.of(unit)}."
    )
    return Outcome((
        Finding("", "bid.highest", "item", 0.0, None, unit, standing=PRACTICE),
        Finding("", "bid.spent", "item", terms.spent, None, unit, standing="from memory"),
        Finding("", "bid.says", "item", text=says),
    ))  # fmt: skip


def _findings(
    bid: Bid, value: Value, asking: float | None, unit: str, rows: tuple[SignRow, ...]
) -> list[Finding]:
    odds = bid.odds()
    top = bid.highest()
    u = None
    if value.u_log is not None and top > 0:
        u = bid.mean() * value.u_log / (1 + bid.terms.want_share) / (1 + bid.terms.premium)

    def money(quantity: str, amount: float, subject: str = "item", **more: Any) -> Finding:
        more = {"standing": PRACTICE, **more}
        return Finding("", quantity, subject, amount, more.pop("u", None), unit, **more)

    def bidden(amount: float) -> float:
        return down_to_cents(max(amount, 0.0))

    fifth, half = (bid.bid_at_risk(odds, share) for share in (0.2, 0.5))
    out = [
        money("bid.highest", bidden(top), u=u,
              note="there the mean gain is what is wanted of it; rounded down"),
        money("bid.one_in_five", bidden(fifth), sources=SOURCES,
              note="there a loss has the chance 1 in 5, to a thousandth of the price"),
        money("bid.one_in_two", bidden(half), sources=SOURCES,
              note="there a loss has the chance 1 in 2, to a thousandth of the price"),
        money("bid.value", sum(one.chance * one.mean for one in bid.levels),
              standing=value.standing, note="mean, before fees and faults"),
        money("bid.sale_leaves", bid.mean(), note="mean, after fees, disclosure, waiting, faults"),
        money("bid.spent", bid.terms.spent, standing="from memory", note="whatever it sells for"),
        money("bid.over", top - max(top, 0.0), note="below 0 where no bid pays")
        if top < 0 else None,
        Finding("", "bid.loss_pct", "highest", 100 * bid.chance_of_loss(odds, max(top, 0.0)), None,
                "pct", standing=PRACTICE, note="at the highest bid"),
    ]  # fmt: skip
    if asking is not None:
        out += [
            money("bid.gain", bid.gain(asking), note="mean, at the price asked"),
            Finding("", "bid.loss_pct", "asked", 100 * bid.chance_of_loss(odds, asking), None,
                    "pct", standing=PRACTICE, note="at the price asked"),
        ]  # fmt: skip
    names = {one.sign: one for one in rows}
    falls = bid.falls()
    out += [money("bid.falls", amount, bid_told.cause(name)) for name, amount in falls]
    out += [
        Finding("", "bid.fault_pct", key, 100 * chance, None, "pct", standing=PRACTICE)
        for key, chance in sorted(bid.chances().items(), key=lambda one: (-one[1], one[0]))
    ]
    questions = bid.questions(asking)
    for one in questions:
        out += [
            money("bid.answer", one.worth, one.sign, text=names[one.sign].name),
            money("bid.if_seen", bidden(one.if_seen), one.sign),
            money("bid.if_fine", bidden(one.if_fine), one.sign),
        ]
    at = "at the price asked" if asking is not None else "at the highest bid"
    out += [
        Finding("", "bid.model", "item", text=value.says),
        Finding("", "bid.narrows", "item", text=bid_told.narrows(questions, names, unit, at)),
        Finding("", "bid.says", "item",
                text=bid_told.sentence(bid, odds, asking, (top, fifth, half), unit)),
    ]  # fmt: skip
    return [one for one in out if one is not None]


def as_json(run: Run) -> dict[str, Any]:
    """A bid as the command line's JSON."""
    by: dict[str, list[Finding]] = {}
    for one in run.findings:
        by.setdefault(one.quantity.removeprefix("bid."), []).append(one)
    rows = {one.sign: one for one in signs_in_force(run.params.get("signs", ""))}

    def number_of(key: str) -> Any:
        return by[key][0].measured().as_json() if key in by else None

    def text_of(key: str) -> str:
        return by[key][0].text if key in by else ""

    loss = {one.subject: one.value for one in by.get("loss_pct", [])}
    seen, fine = (
        {one.subject: one.value for one in by.get(key, [])} for key in ("if_seen", "if_fine")
    )
    return {
        "says": text_of("says"),
        "currency": by["highest"][0].unit.removeprefix("1"),
        **{key: number_of(key) for key in ("highest", "one_in_five", "one_in_two", "offered",
                                           "value", "sale_leaves", "spent", "gain")},
        "would_lose": None if "over" not in by else -(by["over"][0].value or 0.0),
        "chance_of_loss_pct": {"at_highest": loss.get("highest"), "at_asking": loss.get("asked")},
        "falls": [{"cause": one.subject, "by": one.value} for one in by.get("falls", [])],
        "faults": [{"fault": one.subject, "chance_pct": one.value}
                   for one in by.get("fault_pct", [])],
        "questions": [
            {"sign": one.subject, "name": one.text, "worth": one.value,
             "highest_if_seen": seen[one.subject], "highest_if_fine": fine[one.subject],
             "where": rows[one.subject].where, "looks": rows[one.subject].looks,
             "ask": rows[one.subject].ask, "settles": rows[one.subject].settles}
            for one in by.get("answer", [])
        ],
        "narrows": text_of("narrows"),
        "model": text_of("model"),
        "standing": "common practice, no source",
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip
