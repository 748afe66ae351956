"""The verdict of a trial: two ways of one step set against each other over pairs of sheets.

A registered method over text: a line a pair, with what was read on both sheets. Readings of one
page are averaged first, then the pages of a sheet: the pair is the unit, never the reading.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from quirewell.record.finding import Finding
from quirewell.science.evidence import verdict
from quirewell.science.evidence.equivalence import equivalence_power, pairs_needed, sign_test
from quirewell.science.evidence.two_ways import FEWEST, by_steps
from quirewell.stages.methods import Outcome, method
from quirewell.stages.trial_cells import Basis, PairLine, VerdictError, differences, read_lines
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import refuse_unknown

METHOD = "trial.verdict"
_KNOWN = (
    "pairs", "quantity", "unit", "given", "margin", "locked", "way_a", "way_b", "resolution",
    "more",
)  # fmt: skip
SOURCES = ("schuirmann1987",)
PLACES: Mapping[str, int] = {"step": 1, "pH": 2, "L*": 1, "dE00": 1}
ALIKE, OPEN, ONLY = "alike", "cannot tell", "no verdict"
NOT_LOCKED = (
    "The margin was not locked before the measuring, so this is no verdict: a margin chosen "
    "afterwards proves nothing. What stands is the difference and its interval."
)
ASSUMES = (
    "Which sheet of a pair goes the first way fell by lot, so that nothing else sorts them.",
    "The pairs scatter evenly to both sides of their middle.",
    "What holds of these sheets need not hold of another paper.",
)
STEPS_SAY = (
    "Steps of a card are ranks: the test counts all flips of the signs and is exact; how many "
    "pairs it takes, the chance there was and what would surely be seen are reckoned as for "
    "measured values."
)
BASIS_SAYS: Mapping[Basis, str] = {
    "changes": "Change against change: what the sheets of a pair differed by beforehand is out.",
    "after": "Afterwards against afterwards: not every pair was read beforehand as well, so what "
    "the sheets of a pair differed by beforehand is still in the scatter.",
    "given": "Change against change, each as the comparison of both pictures gives it.",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Judged:
    """What both kinds of test say, in one shape; sizes in the unit of the quantity."""

    pairs: int
    middle: float
    sd: float
    low: float | None
    high: float | None
    p_alike: float
    p_apart: float | None
    least_margin: float | None
    alike: bool
    apart: bool
    needed: int | None
    power: float
    seen: float
    flat: bool


@method(METHOD, 1, "exact")
def judge(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Whether two ways are alike within the locked margin, one gives more, or it cannot be told"""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    case = Case(params)
    counted = [line for line in case.lines if not line.out]
    basis, used, gone = differences(counted, case.given)
    found = [Finding("", "trial.pairs_used", "", float(len(used)), unit="pairs",
                     text="")]  # fmt: skip
    found += [
        Finding("", "trial.pair_difference", line.pair, float(value), unit=case.unit)
        for line, value in used
    ]
    left = [(line.pair, line.out) for line in case.lines if line.out] + gone
    found += [Finding("", "trial.left_out", pair, text=why) for pair, why in left]
    if len(used) < 2:
        words = f"Cannot tell: {_pairs(len(used))} can be used; a comparison needs two or more."
        return Outcome((Finding("", "trial.verdict", "", text=words), *found), ASSUMES)
    values = [value for _, value in used]
    held = judged(case, values)
    told = [Finding("", "trial.verdict", "", text=verdict_words(case, held), sources=SOURCES)]
    told += _numbers(case, held)
    if case.steps:
        told.append(_moved(values))
    told += _with_all(case, basis, len(used))
    warnings = (
        BASIS_SAYS[basis], *((NOT_LOCKED,) if not case.locked else ()), *_flat(case, held),
        *((STEPS_SAY,) if case.steps else ()), *ASSUMES,
    )  # fmt: skip
    return Outcome((*told, *found), warnings, {"basis": basis})


class Case:
    """The parameters, read."""

    def __init__(self, params: Mapping[str, str]) -> None:
        self.lines = read_lines(params.get("pairs", ""))
        self.unit = params.get("unit", "")
        self.steps = params.get("quantity", "") == "tone_step"
        self.given = params.get("given", "moments") == "change"
        self.margin = _above(params, "margin", "the margin")
        self.resolution = _above(params, "resolution", "the step of the instrument")
        self.locked = bool(params.get("locked", ""))
        self.ways = (params.get("way_a", ""), params.get("way_b", ""))
        self.more = params.get("more", "") or "more"

    def size(self, value: float) -> str:
        """A difference as words, with its unit."""
        places = PLACES.get(self.unit, 2)
        text = f"{value:.{places}f}".replace("-", "\u2212")
        text = text.lstrip("\u2212") if float(f"{value:.{places}f}") == 0 else text
        if self.unit != "step":
            return f"{text} {self.unit}".strip()
        text = text.removesuffix(".0")
        return f"{text} step" if text in ("1", "\u22121") else f"{text} steps"


def judged(case: Case, values: Sequence[Decimal]) -> Judged:
    """The test that fits the quantity."""
    plain, margin = [float(value) for value in values], float(case.margin)
    if not case.steps:
        told = verdict.judge(values, case.margin, case.resolution)
        mean = told.equivalence
        return Judged(
            mean.pairs, mean.mean, mean.sd, mean.low, mean.high, mean.p, None,
            mean.smallest_margin, mean.passes, told.shifted, told.needed, told.power,
            told.smallest_seen, mean.used_resolution,
        )  # fmt: skip
    steps = by_steps(plain, margin, float(case.resolution))
    try:
        needed = max(FEWEST, pairs_needed(margin, steps.sd))
    except ValueError:
        needed = None
    seen = max(float(case.resolution), verdict.smallest_shift(steps.pairs, steps.sd))
    return Judged(
        steps.pairs, steps.middle, steps.sd, steps.low, steps.high, steps.p_alike, steps.p_apart,
        steps.least_margin, steps.alike, steps.apart, needed,
        equivalence_power(steps.pairs, margin, steps.sd), seen, steps.flat,
    )  # fmt: skip


def verdict_words(case: Case, held: Judged) -> str:
    """The verdict in a sentence or two, with how sure it is."""
    known = held.low is not None and held.high is not None
    band = "no interval yet: too few pairs"
    if held.low is not None and held.high is not None:
        band = f"90 %: {case.size(held.low)} to {case.size(held.high)}"
    if held.flat and case.steps:
        band = "the same in every pair"
    by = f"{case.size(held.middle)} ({band}) over {_pairs(held.pairs)}"
    if not case.locked:
        return f"No verdict, only the difference: first way less second, {by}."
    margin = case.size(float(case.margin))
    if held.alike:
        all_the_same = (
            f" “{_more(case, held)}” gives {case.more} all the same, by less than matters."
        )
        return (
            f"Alike within {margin}: first way less second, {by}. Were they a whole margin apart "
            f"in truth, pairs like these would come up in {_rare(held.p_alike)}."
            f"{all_the_same if held.apart else ''}"
        )
    if held.apart:
        return (
            f"“{_more(case, held)}” gives {case.more}: first way less second, {by}. "
            f"{_beyond(case, held)} Of two ways that are alike in truth, one in ten trials would "
            "say that they are apart."
        )
    holds = f", which holds 0 and reaches the margin of {margin}" if known and not held.flat else ""
    return f"Cannot tell: first way less second, {by}{holds}. {_needed_words(held)}"


def _beyond(case: Case, held: Judged) -> str:
    assert held.low is not None and held.high is not None
    margin, nearest = float(case.margin), min(abs(held.low), abs(held.high))
    if nearest > margin:
        return f"That is more than the margin of {case.size(margin)}."
    return f"Whether by more than the margin of {case.size(margin)} stays open."


def _more(case: Case, held: Judged) -> str:
    return case.ways[0] if held.middle > 0 else case.ways[1]


def _needed_words(held: Judged) -> str:
    if held.needed is None:
        return "With this scatter no number of pairs could show them alike within it."
    if held.needed <= held.pairs:
        return (
            f"So many pairs would most often do ({held.needed} for four trials in five), if the "
            "two ways are alike in truth."
        )
    return (
        f"It would take about {held.needed} pairs to show them alike in four trials of five, if "
        "they are alike in truth and further pairs scatter as these did."
    )


def _rare(p: float) -> str:
    """A chance as "3 of 100 trials"."""
    if p < 0.001:
        return "fewer than 1 of 1000 trials"
    return f"{1000 * p:.0f} of 1000 trials" if p < 0.01 else f"{100 * p:.0f} of 100 trials"


def _numbers(case: Case, held: Judged) -> list[Finding]:
    out = [
        Finding("", "trial.difference", "", held.middle, unit=case.unit, low90=held.low,
                high90=held.high, smallest_seen=held.seen, sources=SOURCES,
                note="first way less second; its middle over the pairs"),
        Finding("", "trial.scatter", "", held.sd, unit=case.unit,
                note="one standard deviation of the pair differences"),
    ]  # fmt: skip
    if held.p_apart is not None:
        note = "exact, two-sided: as much of a difference if there were none"
        out.append(Finding("", "trial.p_apart", "", held.p_apart, unit="1", note=note))
    if case.locked:
        out += [
            Finding("", "trial.margin", "", float(case.margin), unit=case.unit,
                    note="locked before measuring"),
            Finding("", "trial.p_alike", "", held.p_alike, unit="1", sources=SOURCES,
                    note="the larger of two one-sided: as near to 0 if a whole margin apart"),
            Finding("", "trial.power_found", "", held.power, unit="1", sources=SOURCES,
                    note="chance of showing them alike, if they are, with the scatter found"),
        ]  # fmt: skip
        if held.least_margin is not None:
            out.append(Finding("", "trial.margin_passed", "", held.least_margin, unit=case.unit,
                               note="the least margin that would have passed; found afterwards, "
                                    "so it proves nothing of itself"))  # fmt: skip
        if held.needed is not None:
            note = "for 80 % chance of showing them alike"
            needed = float(held.needed)
            out.append(Finding("", "trial.pairs_needed", "", needed, unit="pairs",
                               sources=SOURCES, note=note))  # fmt: skip
    note = "smallest true difference seen in 95 of 100 such trials"
    out.append(Finding("", "trial.surely_seen", "", held.seen, unit=case.unit, note=note))
    return out


def _moved(values: Sequence[Decimal]) -> Finding:
    plain = [float(value) for value in values]
    sign = sign_test([0.0] * len(plain), plain)
    text = f"the first way higher in {sign.up}, the same in {sign.same}, lower in {sign.down}"
    return Finding("", "trial.moved", "", text=text)


def _with_all(case: Case, basis: Basis, used: int) -> list[Finding]:
    """The same with the pairs in that were left out, where they were measured."""
    every = [PairLine(line.pair, line.cells, "") for line in case.lines]
    all_basis, wider, _ = differences(every, case.given)
    if len(wider) <= used:
        return []
    held = judged(case, [value for _, value in wider])
    same = "" if all_basis == basis else " Then only what was read afterwards compares."
    return [Finding("", "trial.with_all", "", text=verdict_words(case, held) + same)]


def _flat(case: Case, held: Judged) -> tuple[str, ...]:
    if not held.flat:
        return ()
    return (
        "All pairs differ by the same; rounding hides their scatter, and the step of the "
        f"instrument ({case.resolution} {case.unit}) stands in for it.",
    )


def _pairs(count: int) -> str:
    return "1 pair" if count == 1 else f"{count} pairs"


def _above(params: Mapping[str, str], name: str, says: str) -> Decimal:
    try:
        value = number(params.get(name, ""))
    except Unreadable as error:
        raise VerdictError(f"{says}: {error}") from error
    if not 0 < value < 1_000_000:
        raise VerdictError(f"{says} must be above 0 and below a million, got {value}")
    return value
