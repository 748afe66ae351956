"""Options weighed against leaving it alone: a registered method.

Parameters are text. Condition and prices: :mod:`.option_prices`. Options: ``options`` (own rows,
:mod:`.options_table`), ``disclosures`` (own rows, :mod:`.disclosure`), ``life`` (the item's own
ratio of lives, "2.1, 1.3, 3.2": middle and 90 % band). Costs: ``hour``,
``overhead_pct``, ``sale_fee_pct``, ``fee``, ``ceiling``, ``next_fee``, ``per_item``,
``insurance_pct``, ``declared``, ``wait_pct_per_week``, ``weeks``. ``aim`` (gain, permanence or
both); ``caution`` (how much an expected loss counts beside the gain, 0 for not at all).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from quirewell.record.finding import Finding, Standing
from quirewell.science.planning.money import rounded
from quirewell.science.planning.weigh import NOTHING, Case, Option, Terms, chances_of, lines
from quirewell.science.planning.weigh_risk import Risk, risks
from quirewell.stages import weighed_told
from quirewell.stages.disclosure import must_tell, policy
from quirewell.stages.methods import Outcome, method
from quirewell.stages.option_ethics import judged
from quirewell.stages.option_prices import Looked, Priced, look, numbers, price
from quirewell.stages.options_table import OptionRow, options, risks_object, risks_worker
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import one_of, refuse_unknown
from quirewell.stages.weighed import AIMS, Life, Weighed, choose
from quirewell.stages.weighed_json import as_json as as_json

METHOD = "options.weigh"
SOURCES = ("malcolm1959", "rockafellar2000")
PRACTICE: Standing = "common practice"
_MONEY = ("fee", "ceiling", "next_fee", "per_item", "declared")
_SHARES = ("overhead_pct", "sale_fee_pct", "insurance_pct", "wait_pct_per_week")
KNOWN = (
    "defects", "rules", "scale", "returns", "adding", "grade", "prices", "spread_log",
    "sales", "columns", "item", "rates", "currency", "today", "decimal", "day_first",
    "low", "likely", "high",
    "value_now", "value_u", "per_grade_pct", "options", "disclosures", "life", "hour",
    *_MONEY, *_SHARES, "weeks", "aim", "caution",
)  # fmt: skip


@method(METHOD, 1, "seeded")
def weigh(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """What each option gains over leaving the item alone, with its chance of loss and its harm."""
    refuse_unknown(params, KNOWN, f"{METHOD} knows no parameter")
    rows = options(params.get("options", ""), bool(params.get("fee", "").strip()))
    looked = look(params, rows)
    priced = price(params, looked)
    case = _case(params, rows, looked, priced)
    life = _life(params)
    drawn = [None] * len(rows) if priced.prices is None else list(risks(case))
    told = policy(params.get("disclosures", ""))
    every = [
        _weighed(case, row, option, risk, looked, life)
        for row, option, risk in zip(rows, case.options, drawn, strict=True)
    ]  # fmt: skip
    aim = one_of(params, "aim", AIMS, "gain")
    verdict = choose(every, aim, case.caution)
    unit = priced.currency or "1"
    out = _all(case, looked, priced, unit)
    for one in every:
        out += _option(one, unit)
        out += [
            *(_words("options.tell_buyer", one.row.name, says)
              for says in (*must_tell(one.row.steps, told, "buyer"), *_own(one.row.must_tell))),
            *(_words("options.tell_service", one.row.name, says)
              for says in (*must_tell(one.row.steps, told, "service"), *_own(one.row.must_tell))),
        ]  # fmt: skip
    out.append(_words("options.best", "item", verdict.best.row.name))
    out += weighed_told.changes(case, every, verdict, looked, priced, unit)
    out.append(
        _words("options.says", "item", weighed_told.sentence(every, verdict, priced, looked))
    )
    unread = sum(line.startswith("# ") and " needs its extent" in line
                 for line in params.get("defects", "").splitlines())  # fmt: skip
    return Outcome(tuple(out), weighed_told.warnings(every, looked, priced, case, unread))


def _own(text: str) -> tuple[str, ...]:
    return (text,) if text else ()


def _amount(params: Mapping[str, str], name: str, most: float = 1e9) -> float | None:
    text = params.get(name, "").strip()
    if not text:
        return None
    try:
        value = float(number(text.rstrip(" %")))
    except Unreadable as error:
        raise ValueError(f"{name}: {error}") from error
    if not 0 <= value <= most:
        raise ValueError(f"{name} lies between 0 and {most:.0f}, got {text[:40]!r}")
    return value


def _case(
    params: Mapping[str, str], rows: tuple[OptionRow, ...], looked: Looked, priced: Priced
) -> Case:
    money = {name: _amount(params, name) for name in _MONEY}
    shares = {name: (_amount(params, name, 100) or 0.0) / 100 for name in _SHARES}
    hour = params.get("hour", "").strip()
    terms = Terms(
        numbers(hour, "hour", 1e6) if hour else NOTHING, shares["overhead_pct"],
        shares["sale_fee_pct"], money["fee"] or 0.0,
        math.inf if money["ceiling"] is None else money["ceiling"], money["next_fee"] or 0.0,
        money["per_item"] or 0.0, shares["insurance_pct"], money["declared"],
        shares["wait_pct_per_week"], _amount(params, "weeks", 520) or 0.0,
    )  # fmt: skip
    sends = money["fee"] is not None
    made = tuple(
        Option(
            row.name, row.kind, looked.bits(row), row.works, row.hours, row.materials, row.mishap,
            row.loses, row.factor,
            row.kind != "leave" and (sends if row.sent is None else row.sent), looked.typed(row),
        )
        for row in rows
    )  # fmt: skip
    return Case(looked.condition, made, terms, priced.prices,
                caution=_amount(params, "caution", 100) or 0.0)  # fmt: skip


def _life(params: Mapping[str, str]) -> Life | None:
    text = params.get("life", "").strip()
    if not text:
        return None
    try:
        given = [float(number(part)) for part in re.findall(r"-?\d+(?:[.,]\d+)?|[^\s\d,;()]+", text)
                 if part != "to"]  # fmt: skip
    except Unreadable as error:
        raise ValueError(f"life is a ratio such as 2.1, or 2.1, 1.3, 3.2: {error}") from error
    if len(given) not in (1, 3) or not all(0 < one <= 1000 for one in given):
        raise ValueError(
            f"life is a ratio such as 2.1, or 2.1, 1.3, 3.2 with its band, got {text[:40]!r}"
        )
    if len(given) == 3 and not given[1] <= given[0] <= given[2]:
        raise ValueError(f"of life the middle lies in its band, got {text[:40]!r}")
    return Life(given[0], *(given[1:] if len(given) == 3 else (None, None)))


def _weighed(
    case: Case, row: OptionRow, option: Option, risk: Risk | None, looked: Looked,
    life: Life | None,
) -> Weighed:  # fmt: skip
    mine = Life(1.0, 1.0, 1.0) if row.kind == "leave" else None
    if row.life == "outlook":
        mine = life
    elif row.life and row.kind != "leave":
        mine = Life(float(row.life), None, None)
    cents = tuple(
        (name, amount) for name, amount in
        ((name, rounded(Decimal(repr(amount)))) for name, amount in lines(case, option)) if amount
    )  # fmt: skip
    rules = judged(row, looked.codes, None if mine is None else mine.value)
    return Weighed(
        row, option, looked.condition.grades, chances_of(case, option), cents, risk, mine, rules,
        looked.known or option.chances is not None,
    )  # fmt: skip


def _words(quantity: str, subject: str, text: str) -> Finding:
    return Finding("", quantity, subject, text=text, standing=PRACTICE)


def _all(case: Case, looked: Looked, priced: Priced, unit: str) -> list[Finding]:
    """What holds for the item before any option."""
    out = [_words("options.prices_from", "item", priced.says)]
    grades, now = looked.condition.grades, looked.condition.now
    if looked.known:
        summed = now.cumsum()
        low, high = (float(grades[(summed < share - 1e-9).sum()]) for share in (0.05, 0.95))
        mean = float(now @ grades)
        u = math.sqrt(max(float(now @ (grades - mean) ** 2), 0.0))
        out.append(Finding(
            "", "options.grade_now", "item", mean, u, "points", "", low, high, standing=PRACTICE,
            note="mean of the steps it may be graded at",
        ))  # fmt: skip
    if case.prices is not None:
        value, spread = case.worth_now(), case.prices.spread
        low, high = (value * math.exp(sign * 1.645 * spread - spread**2 / 2) for sign in (-1, 1))
        out.append(Finding(
            "", "options.value_now", "item", value, value * math.sqrt(math.expm1(spread**2)), unit,
            "", low, high, note="what it would bring as it lies, on average; band of one sale",
        ))  # fmt: skip
        values = case.values()
        reached = now.copy()
        for option in case.options:
            reached = reached + chances_of(case, option)
        out += [Finding("", "options.price_at", f"{grades[at]:g}", float(values[at]), None, unit,
                        looked.scale.steps[at].words, note="on average, at this step")
                for at in range(grades.size)
                if reached[at] > now[at] or (looked.known and reached[at] > 0)]  # fmt: skip
    return out


def _option(one: Weighed, unit: str) -> list[Finding]:
    """Everything said of one option."""
    name, row, risk = one.row.name, one.row, one.risk
    grades = one.grades
    out = [
        _words("options.kind", name, row.kind),
        *(Finding("", "options.chance", name, float(share), None, "", f"{grade:g}",
                  standing=PRACTICE, note="chance of this step afterwards")
          for grade, share in zip(grades, one.chances, strict=True) if share > 0 and one.graded),
        *(Finding("", "options.line", name, float(amount), None, unit, says)
          for says, amount in one.lines),
        Finding("", "options.cost", name, float(one.cost), None, unit,
                note="work, materials and all fees, on average"),
        Finding("", "options.hours", name, row.hours.mean, None, "h", "", row.hours.low,
                row.hours.high, standing=PRACTICE, note=f"least and most; {row.standing}"),
        Finding("", "options.factor", name, row.factor.mean, None, "", "", row.factor.low,
                row.factor.high, standing=PRACTICE, note="what told treatment leaves of a price"),
        Finding("", "options.mishap", name, row.mishap.mean, None, "", "", row.mishap.low,
                row.mishap.high, standing=PRACTICE, note=f"chance; {row.standing}"),
    ]  # fmt: skip
    if risk is not None:
        out += [
            Finding("", "options.net_gain", name, float(one.gain), risk.u, unit, "", risk.low90,
                    risk.high90, standing=PRACTICE, sources=SOURCES,
                    note="on average; its band is of one such item, not of the average"),
            Finding("", "options.loss_chance", name, risk.loss, risk.loss_error, "",
                    standing=PRACTICE, note="u is the error of the drawing alone"),
            Finding("", "options.worst_fifth", name, risk.worst, risk.worst_error, unit,
                    standing=PRACTICE, sources=("rockafellar2000",),
                    note="mean of the worst fifth; u is the error of the drawing alone"),
        ]  # fmt: skip
    if one.life is not None:
        out.append(Finding("", "options.life_ratio", name, one.life.value, None, "1", "",
                           one.life.low90, one.life.high90, standing="from memory",
                           note="life after by life before"))  # fmt: skip
    out += [_words("options.steps", name, " ".join(row.steps))] if row.steps else []
    out += [_words("options.wets", name, row.wets)]
    out += [_words("options.gone", name, says) for says in dict.fromkeys(row.gone)]
    out += [_words("options.risk_object", name, says) for says in risks_object(row)]
    out += [_words("options.risk_worker", name, says) for says in risks_worker(row)]
    out += [_words("options.flag" if rule.bars else "options.mind", name, rule.says)
            for rule in one.rules]  # fmt: skip
    return out
