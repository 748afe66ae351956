"""Condition and prices of a weighing, read from its text parameters.

Prices by grade, in this order: ``prices`` typed ("3: 80; 4: 140", averages); own ``sales`` with
``item``, ``currency``, ``rates``, ``today`` (:mod:`.worthing`); else what it would bring as it lies
(``value_now`` with ``value_u``, or ``low``, ``likely``, ``high``) and ``per_grade_pct``, by how
much a price goes up with a point of grade. Condition: ``defects`` with ``rules``, ``scale``,
``returns``, ``adding`` (:mod:`.grading`), or a ``grade`` typed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from quirewell.science.condition.estimate import Damage, Grading, Unsure
from quirewell.science.condition.returns import calibrate, calibrated
from quirewell.science.condition.scale import TRADE, Scale
from quirewell.science.planning.typed_range import Range
from quirewell.science.planning.weigh import Array, Condition, Guess, Prices
from quirewell.science.planning.worth import FAR, FEWEST, Sale, Worth, worth
from quirewell.stages.defect_table import read_defects, read_returns
from quirewell.stages.grading import named
from quirewell.stages.options_table import OptionRow
from quirewell.stages.repairs import Repair
from quirewell.stages.rule_table import read_scale, rules_in_force
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import one_of
from quirewell.stages.worthing import sales_asked

# By how much a price goes up with a point of grade, per cent: so wide because it differs from title
# to title (assumed, common practice, no source).
PER_GRADE = Guess(5, 25, 60)
LUCK = 0.30  # scatter of one sale's logarithm where none is known (assumed)
TYPED_U = 0.20  # of a value typed without its uncertainty (assumed)
APART = 1.0  # points the grades of sales must span to tell how a price goes with grade (assumed)
DRAWS = 2000
MOST_CURRENCY = 20
MOST_REPAIRS = 10
_PRICED = ("sales", "columns", "item", "rates", "currency", "today", "decimal", "day_first", "low",
           "likely", "high")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Looked:
    """The condition as it is weighed: grades that may come, the scale, the repairs (bit by bit)
    that help damage noted, that damage, where the grade's band comes from, and the ceiling that
    holds it."""

    condition: Condition
    scale: Scale
    repairs: tuple[Repair, ...]
    damages: tuple[Damage, ...]
    unsure: Unsure | None
    known: bool
    held: str = ""

    @property
    def codes(self) -> frozenset[str]:
        """Kinds of damage that are there."""
        return frozenset(one.code for one in self.damages if one.extent > 0)

    def bits(self, row: OptionRow) -> tuple[int, ...]:
        """Which repairs an option makes."""
        return tuple(at for at, one in enumerate(self.repairs) if one.step in row.steps)

    def typed(self, row: OptionRow) -> tuple[float, ...] | None:
        """Typed chances by step."""
        if row.chances is None:
            return None
        out = [0.0] * len(self.scale.steps)
        for grade, share in row.chances.items():
            out[self.scale.index(grade)] += share
        return tuple(out)


def look(params: Mapping[str, str], rows: Sequence[OptionRow]) -> Looked:
    """The condition, drawn once for all options.

    Raises:
        ValueError: in a sentence.
    """
    scale = read_scale(params["scale"]) if params.get("scale", "").strip() else TRADE
    grades = np.array([step.value for step in scale.steps])
    if not params.get("defects", "").strip():
        return _typed_grade(params, rows, scale, grades)
    rules = rules_in_force(params.get("rules", ""))
    damages = read_defects(params["defects"], rules)
    root = one_of(params, "adding", ("plain", "root"), "plain") == "root"
    if params.get("returns", "").strip() and not root:  # as in the estimate itself
        rules = calibrated(rules, calibrate(read_returns(params["returns"], rules, scale),
                                            rules, scale))  # fmt: skip
    grading = Grading(damages, rules, scale, root)
    there = frozenset(one.code for one in damages if one.extent > 0)
    repairs = {
        one.step: one for row in rows for one in row.repairs
        if row.chances is None and there & set(one.codes)
    }  # fmt: skip
    found = tuple(repairs.values())[:MOST_REPAIRS]
    raws = grading.mendings([one.codes for one in found])
    steps = np.searchsorted(grades[1:] - 1e-9, raws, side="right")
    estimate = grading.estimate()
    binding = estimate.binding
    held = "" if binding is None else f"{named(binding.rule)} holds it at {binding.rule.value:g}"
    return Looked(Condition(grades, steps), scale, found, damages, estimate.unsure, True, held)


def _typed_grade(
    params: Mapping[str, str], rows: Sequence[OptionRow], scale: Scale, grades: Array
) -> Looked:
    """Without damage noted: a grade typed, or the chances typed for leaving it alone."""
    shares = (np.arange(DRAWS) + 0.5) / DRAWS
    steps = np.zeros((1, DRAWS), dtype=np.int64)
    empty = Looked(Condition(grades, steps), scale, (), (), None, False)
    if params.get("grade", "").strip():
        drawn = numbers(params["grade"], "grade", 10).at(shares)
        steps = np.searchsorted(grades[1:] - 1e-9, drawn, side="right")[None, :]
        return Looked(Condition(grades, steps), scale, (), (), None, True)
    left = next((empty.typed(row) for row in rows if row.kind == "leave"), None)
    if left is None:
        return empty
    steps = np.searchsorted(np.cumsum(left)[:-1], shares, side="right")[None, :]
    return Looked(Condition(grades, steps), scale, (), (), None, True)


def numbers(text: str, name: str, most: float, least: float = 0.0) -> Guess:
    """One number, or least and most, or least, likeliest and most ("20 to 30", "20/25/40").

    Raises:
        ValueError: in a sentence.
    """
    parts = [part for part in re.split(r"\s*(?:/|\bto\b|;)\s*", text.strip()) if part]
    try:
        given = [float(number(part.rstrip(" %"))) for part in parts]
    except Unreadable as error:
        raise ValueError(f"{name}: {error}") from error
    rises = given == sorted(given)
    if not (1 <= len(given) <= 3 and rises and least <= given[0] and given[-1] <= most):
        raise ValueError(
            f"{name} is one number from {least:g} to {most:.0f}, or 20/25/40 for least, likeliest "
            f"and most, got {text.strip()[:40]!r}"
        )
    middle = given[1] if len(given) == 3 else (given[0] + given[-1]) / 2
    return Guess(given[0], middle, given[-1])


@dataclass(frozen=True, slots=True)
class Priced:
    """Prices by grade (None where nothing says one), their currency, how they are known, in a
    sentence, and what is to be said of them."""

    prices: Prices | None
    currency: str
    says: str
    notes: tuple[str, ...] = ()
    assumed_slope: bool = False
    from_sales: bool = False


def price(params: Mapping[str, str], looked: Looked) -> Priced:
    """What it brings at each grade.

    Raises:
        ValueError: in a sentence.
    """
    now = _value(params, "value_now")
    currency = params.get("currency", "").strip()
    if len(currency) > MOST_CURRENCY or not currency.isprintable():
        raise ValueError(f"currency is a word of at most {MOST_CURRENCY} letters")
    here = float(looked.condition.now @ looked.condition.grades)
    if params.get("prices", "").strip():
        mean = _typed_values(params["prices"], looked.condition.grades)
        if not looked.known:
            mean = _at_no_grade(looked, mean, mean.mean() if now is None else now)
        spread = numbers(params.get("spread_log") or f"{LUCK}", "spread_log", 2).likely
        notes = () if params.get("spread_log") else (
            f"One sale scatters by {LUCK:g} in the logarithm (assumed): type its spread, or 0.",
        )  # fmt: skip
        return Priced(Prices(mean, now, 0.0, spread, about=here), currency,
                      "Prices by grade as typed, averages.", notes)  # fmt: skip
    if params.get("sales", "").strip():
        return _by_sales(params, looked, now, here)
    band = _band(params)
    if now is None and band is None:
        return Priced(
            None, currency, "No price is known: type what it would bring, or note a sale."
        )
    level, luck = 0.0, LUCK
    if now is None:
        assert band is not None
        if isinstance(band, float):
            now = band
        else:
            now, level, luck = band.mean, band.logs[1], 0.0
    else:
        u = _value(params, "value_u")
        level = u / now if u is not None and now else TYPED_U
    return _about_now(params, looked, (now, level, luck), here, currency, "as typed")


def _at_no_grade(looked: Looked, mean: Array, now: float) -> Array:
    """Prices with what it would bring put where a grade that nobody knows is kept."""
    out: Array = mean.copy()
    out[int(looked.condition.steps[0, 0])] = now
    return out


def _about_now(
    params: Mapping[str, str], looked: Looked, worth_now: tuple[float, float, float], here: float,
    currency: str, known: str,
) -> Priced:  # fmt: skip
    """Prices that pass through what it would bring as it lies, by a typed or assumed slope."""
    now, level, luck = worth_now
    slope, slope_u, assumed = _slope(params)
    away = looked.condition.grades - here
    shape = np.exp(slope * away)
    mean = now * shape / float(looked.condition.now @ shape)
    says = (
        f"What it would bring as it lies is {known}; a point of grade changes that by "
        f"{100 * math.expm1(slope):.0f} % "
        f"{'(assumed, and very unsure)' if assumed else '(as typed)'}."
    )
    return Priced(
        Prices(mean, None, level, luck, slope_u, here, True), currency, says,
        assumed_slope=assumed,
    )  # fmt: skip


def _slope(params: Mapping[str, str]) -> tuple[float, float, bool]:
    """Change of the logarithm of a price by a point of grade, its u, whether it is assumed."""
    given = params.get("per_grade_pct", "").strip()
    guess = numbers(given, "per_grade_pct", 500) if given else PER_GRADE
    logs = np.log1p(guess.at((np.arange(400) + 0.5) / 400) / 100)
    return float(logs.mean()), float(logs.std()), not given


def _by_sales(params: Mapping[str, str], looked: Looked, now: float | None, here: float) -> Priced:
    asked = {name: params[name] for name in _PRICED if params.get(name, "").strip()}
    item = asked.get("item", "").strip().lower()
    sales, typed, _, currency = sales_asked({k: v for k, v in asked.items() if k != "item"})
    mine = [one for one in sales if one.item == item] if item else sales
    use = item or None
    if item and not mine:
        mine, use = sales, None
    notes: tuple[str, ...] = ()
    if item and mine is sales:
        notes = ("No sale is of this title; sales of others stand in for it.",)
    if not looked.known:
        average = float(np.mean([one.price for one in mine])) if now is None else now
        known = "the average of your sales" if now is None else "as typed"
        priced = _about_now(params, looked, (average, LUCK, 0.0), here, currency, known)
        return replace(priced, notes=notes, from_sales=now is None)
    grades = [one.grade for one in mine]
    if len(mine) < FEWEST or max(grades) - min(grades) < APART:
        return _few_sales(params, looked, mine, here, currency, now, notes)
    found = [worth(float(at), sales, typed, use) for at in looked.condition.grades]
    middle = min(found, key=lambda one: abs(one.grade - here))
    mean = np.array([_mean(one) for one in found])
    steps = looked.condition.steps
    reached = [looked.condition.grades[at] for at in (steps.min(), steps.max())]
    if reached[0] < min(grades) - FAR or reached[1] > max(grades) + FAR:
        notes += (
            f"Your sales reach from grade {min(grades):g} to {max(grades):g}; prices beyond that "
            "carry their line on and are less sure than said.",
        )
    prices = Prices(
        mean, now, middle.u_log or 0.0, middle.scatter or LUCK, middle.u_slope or 0.0, here
    )
    says = f"Prices by grade from {len(mine)} sales, averages."
    if now is not None:
        at = float(looked.condition.now @ mean)
        if at and abs(math.log(max(now, 0.01) / at)) > prices.spread:
            notes += (
                f"Typed as it lies: {now:g}; by the sales it would bring {at:.0f} at its grade. "
                "That difference stands in the gain of every option, whatever is done: leave the "
                "typed value out to compare what treatment does.",
            )
    return Priced(prices, currency, says, notes, from_sales=True)


def _few_sales(
    params: Mapping[str, str], looked: Looked, mine: Sequence[Sale], here: float, currency: str,
    now: float | None, notes: tuple[str, ...],
) -> Priced:  # fmt: skip
    """Too few sales, or all of one grade: they say the level, not how a price goes with grade."""
    slope, slope_u, assumed = _slope(params)
    logs = np.array([math.log(one.price) - slope * one.grade for one in mine])
    luck = float(logs.std(ddof=1)) if len(mine) >= FEWEST else LUCK
    away = abs(here - float(np.mean([one.grade for one in mine])))
    level = math.hypot(luck / math.sqrt(len(mine)), slope_u * away)
    mean = np.exp(logs.mean() + slope * looked.condition.grades + luck**2 / 2)
    many = f"{len(mine)} sale{'s' * (len(mine) != 1)}"
    says = (
        f"Prices from {many}: too few, or too near in grade, to say how a price goes with grade; a "
        f"point changes it by {100 * math.expm1(slope):.0f} % "
        f"{'(assumed, and very unsure)' if assumed else '(as typed)'}."
    )
    return Priced(Prices(mean, now, level, luck, slope_u, here), currency, says, notes, assumed,
                  True)  # fmt: skip


def _mean(found: Worth) -> float:
    return found.mean if found.mean is not None else found.median * math.exp(LUCK**2 / 2)


def _value(params: Mapping[str, str], name: str) -> float | None:
    text = params.get(name, "").strip()
    return numbers(text, name, 1e9).mean if text else None


def _band(params: Mapping[str, str]) -> Range | float | None:
    given = {name: params.get(name, "").strip() for name in ("low", "likely", "high")}
    if not any(given.values()):
        return None
    lacks = [name for name, text in given.items() if not text]
    if lacks:
        raise ValueError(f"low, likely and high go together; give {' and '.join(lacks)} too")
    low, likely, high = (numbers(text, name, 1e9).likely for name, text in given.items())
    if low == likely == high:
        return low
    return Range(low, likely, high)


def _typed_values(text: str, grades: Array) -> Array:
    """Typed averages by grade; between two of them straight in the logarithm, beyond them flat."""
    out: dict[float, float] = {}
    for part in re.split(r"[;\n]+", text.strip(" ;\n")):
        grade, _, amount = part.partition(":")
        try:
            at, value = float(number(grade)), float(number(amount))
        except Unreadable as error:
            raise ValueError(
                f"prices are pairs of grade and price, such as 3: 80; 4: 140 ({error})"
            ) from error
        if not (0 < at <= 10 and 0 <= value <= 1e9):
            raise ValueError(f"prices: a grade lies above 0 and up to 10, a price from 0 on, got "
                             f"{part.strip()[:40]!r}")  # fmt: skip
        if at in out:
            raise ValueError(f"prices: the grade {at:g} has two prices")
        out[at] = value
    known = sorted(out)
    prices = np.array([out[at] for at in known])
    if np.all(prices > 0):
        exact: Array = np.exp(np.interp(grades, known, np.log(prices)))
    else:
        exact = np.interp(grades, known, prices)
    for at, grade in enumerate(grades):
        exact[at] = out.get(float(grade), exact[at])
    return exact
