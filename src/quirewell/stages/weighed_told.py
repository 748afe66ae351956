"""A weighing in words: the sentence on top, what would change it, what to know."""

from __future__ import annotations

import math
from collections.abc import Sequence

from quirewell.record.finding import Finding, Standing
from quirewell.science.planning.weigh import Case
from quirewell.science.planning.weigh_change import (
    Input,
    Turn,
    inputs,
    turns,
    worth_knowing,
    worth_knowing_grade,
)
from quirewell.stages.asking import band_text
from quirewell.stages.grading import narrows
from quirewell.stages.option_prices import Looked, Priced
from quirewell.stages.weighed import Verdict, Weighed

PRACTICE: Standing = "common practice"
LEFT = "Leave it alone"
_NAMES = {
    "hour": "what an hour is worth", "hours": "hours of {}",
    "works": "how often repairs of {} work",
    "mishap": "chance of a mishap in {}", "loses": "what a mishap in {} takes",
    "factor": "what a price keeps after {} is told",
    "slope": "how much a point of grade changes the price", "level": "what it would bring",
}  # fmt: skip
_LOOKS = {
    "hour": "decide what an hour of yours is worth; it costs nothing",
    "hours": "time one sheet of the work in {}, and type the hours",
    "works": "try the repairs of {} on a like item of no value",
    "mishap": "test inks and a margin first, and try {} on a like item of no value",
    "loses": "say beforehand what could go wrong in {} and what it would take",
    "factor": "look at your own sales of treated items beside untreated ones",
    "slope": "note two own sales of this title that lie a point of grade or more apart",
    "level": "note one own sale of this title at a grade near this one",
    "grade": "look at the damage once more",
}
SALE = (
    "The luck of a sale is taken to be the same whichever option is chosen, so that it does not "
    "count twice; what is told is what the option does, over selling it as it lies."
)
MOST = (
    "A repair that works counts as if the damage were gone without trace, the most it can do; how "
    "often that is so is typed, and shipped numbers are common practice, no source."
)
DRAWN = (
    "Means are exact sums over the grades; chances of loss and worst fifths come from draws that "
    "all options share (20000 of them, seeded), their own error stated beside them."
)


def money(one: Weighed, unit: str) -> str:
    """A mean gain with the band of one such item."""
    risk = one.risk
    assert risk is not None
    if risk.low90 == risk.high90:
        return f"{signed(f'{one.gain:.2f}')}{unit}, its costs taken as certain"
    value, low, high = band_text(float(one.gain), risk.low90, risk.high90)
    return f"{signed(value)}{unit} on average ({low} to {high} with 90 %)"


def signed(value: str) -> str:
    """A number with its sign.

    >>> signed("4"), signed("-4"), signed("0.00")
    ('+4', '\u22124', '0.00')
    """
    said = value.replace("-", "\u2212")
    return said if said.startswith("\u2212") or not said.strip("0.") else f"+{said}"


def share(chance: float) -> str:
    """A chance in whole per cent; draws never make it sure.

    >>> share(0.0), share(0.254), share(1.0)
    ('under 1 %', '25 %', 'over 99 %')
    """
    pct = 100 * chance
    if pct < 1:
        return "under 1 %"
    return "over 99 %" if pct > 99 else f"{pct:.0f} %"


def sentence(every: Sequence[Weighed], verdict: Verdict, priced: Priced, looked: Looked) -> str:
    """The answer in a sentence or two."""
    best, unit = verdict.best, f" {priced.currency}".rstrip()
    if any("mould" in rule.key for one in every for rule in one.rules):
        return (
            f"{LEFT}: there is mould in it. Set it apart first; what to do then is weighed after."
        )
    if verdict.aim == "permanence":
        return _lasting(every, verdict)
    if best.risk is None:
        return (
            f"{LEFT} as far as money goes: no price is known, so nothing says that an hour put "
            "into it comes back. Hours, risks and permanence stand below; type what it would bring."
        )
    said = (
        _left(every, verdict, unit, looked) if best.row.kind == "leave" else _gains(verdict, unit)
    )
    for one in verdict.barred:
        says = next(rule.says for rule in one.rules if rule.bars)
        said += (
            f" By the numbers {one.row.name!r} would bring more, but it harms the object: {says}"
        )
    return said


def _left(
    every: Sequence[Weighed], verdict: Verdict, unit: str, looked: Looked
) -> str:  # fmt: skip
    nearest = verdict.next
    lifted = any(
        one.option.chances or (abs(one.chances - every[0].chances) > 1e-9).any() for one in every
    )
    longer = [one for one in every if one.life and (one.life.low90 or one.life.value) > 1
              and one.row.kind != "leave"]  # fmt: skip
    if nearest is None or nearest.risk is None:
        said = f"{LEFT}: nothing that could be done helps what was noted."
    else:
        said = f"{LEFT}: nothing pays. The nearest is {nearest.row.name}, {money(nearest, unit)}."
    if looked.held and not lifted:
        said += f" No repair here lifts its grade: {looked.held}."
    if longer:
        one = longer[0]
        assert one.life is not None
        said += (
            f" {one.row.name} would make it last {one.life.value:.2g} times as long, for "
            f"{float(-one.gain):.0f}{unit}: a reason of another kind."
        )
    return said


def _gains(verdict: Verdict, unit: str) -> str:
    best, risk = verdict.best, verdict.best.risk
    assert risk is not None
    said = f"{best.row.name}: {money(best, unit)}, and a loss in {share(risk.loss)} of cases."
    if best.gain <= 0:
        return f"{said} It does not pay; it lasts longer."
    if risk.loss > 0.4:
        said += " That is little better than a coin: leaving it alone costs nothing."
    second = verdict.next
    if second is not None and second.row.kind != "leave" and second.risk is not None:
        said += f" Next is {second.row.name}, {money(second, unit)}."
    return said


def _lasting(every: Sequence[Weighed], verdict: Verdict) -> str:
    best = verdict.best
    if best.row.kind == "leave":
        if any(one.life is not None for one in every if one.row.kind != "leave"):
            return f"{LEFT}: nothing here surely makes it last longer, and every step may harm it."
        return (
            f"{LEFT}, as far as is known: no ratio of lives is worked out for any option. Work out "
            "what treatment would be worth for its permanence, above, and weigh again."
        )
    assert best.life is not None
    band = "" if best.life.low90 is None else (
        f" ({best.life.low90:.2g} to {best.life.high90:.2g} with 90 %)"
    )  # fmt: skip
    return (
        f"{best.row.name}: it would last {best.life.value:.2g} times as long{band}; a mishap takes "
        f"{100 * best.harm:.1f} % of it on average. It asks {best.row.hours.low:g} to "
        f"{best.row.hours.high:g} hours."
    )


def changes(
    case: Case, every: Sequence[Weighed], verdict: Verdict, looked: Looked, priced: Priced,
    unit: str,
) -> list[Finding]:  # fmt: skip
    """What would change which option gains most, and the one cheap thing that narrows it most."""
    allowed = [at for at, one in enumerate(every) if not one.barred]
    if case.prices is None or len(allowed) < 2 or verdict.aim == "permanence":
        return [] if verdict.aim == "permanence" else [_words(
            "options.narrows", "What would narrow it most: type what it would bring, as it lies."
        )]  # fmt: skip
    out = []
    for turn in sorted(turns(case, allowed), key=lambda one: _nearness(one)):
        out.append(_turn(turn, every, case, verdict, unit))
    knows = [(worth_knowing(case, allowed, one), one.key, one.option) for one in inputs(case)]
    if looked.known and looked.unsure is not None:
        knows.append((worth_knowing_grade(case, allowed), "grade", ""))
    knows.sort(key=lambda one: -one[0])
    for value, key, option in knows[:3]:
        if value >= 0.005:
            out.append(Finding(
                "", "options.worth_knowing", _named(key, option), round(value, 2), None, unit,
                standing=PRACTICE, sources=("howard1966",),
                note="most that knowing it, and nothing else, could add to the mean gain",
            ))  # fmt: skip
    out.append(_words("options.narrows", _narrows(knows, looked, priced)))
    return out


def _words(quantity: str, text: str) -> Finding:
    return Finding("", quantity, "item", text=text, standing=PRACTICE)


def _named(key: str, option: str) -> str:
    if key == "grade":
        return "the grade it has as it lies"
    return _NAMES[key].format(option)


def _nearness(turn: Turn) -> float:
    one = turn.input
    return abs(turn.at - one.here) / max(one.high - one.low, 1e-12)


def _turn(turn: Turn, every: Sequence[Weighed], case: Case, verdict: Verdict, unit: str) -> Finding:
    one, name = turn.input, every[turn.instead].row.name
    value, shown, measure = _shown(one, turn.at, case, unit)
    what = _named(one.key, one.option)
    says = f"{name} overtakes {verdict.best.row.name} where {what} is {turn.side} {shown}."
    return Finding("", "options.turns", what, value, None, measure, says, standing=PRACTICE,
                   note=turn.side)  # fmt: skip


def _shown(one: Input, value: float, case: Case, unit: str) -> tuple[float, str, str]:
    """A number of an input as it is typed: its value, in words, its unit."""
    money = "" if unit == "1" else f" {unit}"
    if one.key == "hour":
        return value, f"{value:.3g}{money} an hour", unit
    if one.key == "hours":
        return value, f"{value:.3g}", "h"
    if one.key == "level":
        worth = value * case.worth_now()
        return worth, f"{worth:.3g}{money}", unit
    if one.key == "slope":
        prices = case.prices
        assert prices is not None
        here = int(abs(case.condition.grades - prices.about).argmin())
        top = min(max(here, 1), case.condition.grades.size - 2)
        grades, logs = case.condition.grades, prices.mean
        step = float(grades[top + 1] - grades[top - 1])
        base = math.log(logs[top + 1] / logs[top - 1]) / step if logs[top - 1] > 0 else 0.0
        pct = 100 * math.expm1(base + value)
        return pct, f"{pct:.3g} %", "pct"
    return 100 * value, f"{100 * value:.3g} %", "pct"


def _narrows(knows: Sequence[tuple[float, str, str]], looked: Looked, priced: Priced) -> str:
    useful = [one for one in knows if one[0] >= 0.005]
    if not useful:
        if priced.assumed_slope:
            return (
                f"No one number changes the answer. What would bear it out most: {_LOOKS['slope']}."
            )
        return "No one number, moved within its band, changes what is best."
    _, key, option = useful[0]
    if key == "grade" and looked.unsure is not None:
        return narrows(looked.unsure)
    return f"What would narrow it most: {_LOOKS[key].format(option)}."


def warnings(
    every: Sequence[Weighed], looked: Looked, priced: Priced, case: Case, unread: int
) -> tuple[str, ...]:
    """What it assumes, and what to know; ``unread``: damage that no rule could count."""
    out = list(priced.notes)
    if not looked.known and any(one.option.chances is None for one in every):
        out.append(
            "No damage is noted and no grade typed, so no repair can be said to gain anything: "
            "note what you see, or type the grade you would give it."
        )
    if unread:
        out.append(
            f"{unread} damage{'s' * (unread != 1)} noted without an extent take"
            f"{'s' * (unread == 1)} no part: give the extent in the estimate of the grade."
        )
    if case.prices is not None and case.worth_now() <= 0:
        out.append(
            "As it lies it brings nothing, so money says nothing for any option: look at "
            "permanence, hours and risk."
        )
    if any(one.row.hours.mean > 0 for one in every) and case.terms.hour.mean == 0:
        out.append("An hour counts as nothing here: type what an hour of yours is worth.")
    for one in every:
        if one.row.own_words:
            out.append(
                f"{one.row.name}: {', '.join(one.row.own_words)} is your own word; the rules do "
                "not know what it mends, so it gains nothing by itself."
            )
        if one.row.assumed:
            cells = ", ".join(one.row.assumed)
            out.append(f"{one.row.name}: {cells} taken as usual (common practice, no source).")
    if case.prices is not None:
        out += [SALE, MOST, DRAWN]
    return tuple(out)
