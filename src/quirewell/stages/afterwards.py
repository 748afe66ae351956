"""After a treatment: when the next check is due, what each says against the end of treatment, and
what came of it all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quirewell.record.afterwards import CHECKED, Later
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.next_check import ended_on, next_check_from, next_check_on
from quirewell.record.nouns import ItemState, Reading
from quirewell.stages.asking import as_read
from quirewell.stages.later_compare import METHOD
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words
from quirewell.stages.reading_entry import PH_METHODS, QUANTITIES
from quirewell.stages.results import place_order

# How far one reading is usually off, where the reading's own method does not say (standard
# uncertainty). Common practice, no source.
_USUAL: Mapping[str, tuple[Decimal, str]] = {
    "tone_step": (Decimal("0.5"), "a card read by eye, half a step; common practice, no source"),
    "lightness": (Decimal("1.0"), "L* read or scanned at home, 1; common practice, no source"),
}
LOOK_FOR = (
    "mould, insects, rust at the staples", "the tone beside the card, on the same page as before",
    "pH by the same strip or meter, on the same page", "cockling, and whether mends still hold",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Due:
    """When the next check is due: the day (empty while nothing is done), why, how late, and the
    records that say it."""

    on: str
    why: str
    late_days: int = 0
    refs: tuple[str, ...] = ()

    @property
    def overdue(self) -> bool:
        """Whether the day is past."""
        return self.late_days > 0


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check as it is shown: what was read then and now, the change, and what it says;
    ``kept`` says that the record holds the comparison."""

    later: Later
    where: str
    then: str
    now: str
    change: Finding | None
    says: str
    then_refs: tuple[str, ...] = ()
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Series:
    """All checks of one quantity on one place by one method, against the end of treatment.

    ``run`` is the comparison as it would be made now; ``kept`` says that the record holds it.
    """

    name: str
    subject: str
    run: Run
    kept: bool
    laters: tuple[Later, ...]
    trend: Finding | None


@dataclass(frozen=True, slots=True)
class AfterView:
    """The page of what came after: due, checks with what they say, trends."""

    ended_on: str
    due: Due
    rows: tuple[CheckRow, ...]
    series: tuple[Series, ...]
    suggested: Mapping[str, list[str]]


def after_view(state: ItemState, today: str) -> AfterView:
    """Everything the page and the report say of checks."""
    held = series_of(state)
    return AfterView(
        ended_on(state), due(state, today), tuple(_rows(state, held)), held, _suggested(state)
    )


def due(state: ItemState, today: str) -> Due:
    """The next check: the day asked for, or a year after the last step or the last check."""
    on, why = next_check_on(state)
    if not on:
        return Due("", why)
    late = max(0, (date.fromisoformat(today) - date.fromisoformat(on)).days)
    return Due(on, why, late, next_check_from(state))


def due_words(state: ItemState, today: str) -> str:
    """A line for the studio's page: empty while no check is overdue."""
    held = due(state, today)
    return f"check overdue since {held.on}" if held.overdue else ""


# --- checks against the end of treatment ----------------------------------------------------


def series_of(state: ItemState) -> tuple[Series, ...]:
    """Every series that has a reading at the end of treatment to stand against."""
    groups: dict[tuple[str, str, str], list[Later]] = {}
    for one in state.laters.values():
        if one.value is not None and not one.off_scale:
            groups.setdefault((one.quantity, one.place, one.method), []).append(one)
    out = []
    for (quantity, place, how), laters in groups.items():
        ends = [one for one in at_end(state, quantity, place) if one.method == how]
        if not ends:
            continue
        laters.sort(key=lambda one: (one.on, one.value or Decimal(0)))
        run = _run(state, f"later.{quantity}.{place}", ends, laters)
        trend = next((one for one in run.findings if one.quantity == "later.per_year"), None)
        name = f"{QUANTITIES[quantity].name}, {place_words(place)}"
        out.append(Series(name, run.subject, run, run.id in state.runs, tuple(laters), trend))
    return tuple(out)


def at_end(state: ItemState, quantity: str, place: str) -> list[Reading]:
    """Readings of a quantity on a place at the end of treatment that are on their scale."""
    return [
        one for one in state.readings.values()
        if (one.quantity, one.place, one.moment) == (quantity, place, "after")
        and not one.off_scale
    ]  # fmt: skip


def _run(state: ItemState, subject: str, ends: list[Reading], laters: list[Later]) -> Run:
    quantity, how = laters[0].quantity, laters[0].method
    u, basis = _u(quantity, how, [*ends, *laters])
    end = sum((one.value for one in ends), Decimal(0)) / len(ends)
    params = {
        "quantity": quantity, "unit": laters[0].unit, "end": f"{end}", "end_on": ended_on(state),
        "checks": "\n".join(f"{one.on} {one.value}" for one in laters), "u": f"{u}",
        "basis": basis,
    }  # fmt: skip
    inputs = [Input("after treatment", one.id) for one in ends]
    inputs += [Input(f"check of {one.on}", one.id) for one in laters]
    return run_method(METHOD, subject, {}, tuple(inputs), params)


def _u(quantity: str, how: str, read: Iterable[Reading | Later]) -> tuple[Decimal, str]:
    """Standard uncertainty of one reading, never below what its step leaves open."""
    steps = [one.resolution for one in read if one.resolution is not None]
    u, basis = _USUAL.get(quantity, (Decimal(0), ""))
    if how in PH_METHODS and quantity == "pH":
        u, basis = PH_METHODS[how].u, f"{PH_METHODS[how].name}; common practice, no source"
    rounded = (max(steps, default=Decimal(0)) / Decimal(12).sqrt()).quantize(Decimal("0.0001"))
    return (u, basis) if u >= rounded else (rounded, "the instrument's step")


def _rows(state: ItemState, held: tuple[Series, ...]) -> Iterable[CheckRow]:
    of = {later.id: one for one in held for later in one.laters}
    for later in sorted(state.laters.values(), key=lambda one: (one.on, one.id)):
        series = of.get(later.id)
        if later.quantity == "words":
            yield CheckRow(later, place_words(later.place), "", later.words, None, "")
            continue
        if series is None:
            yield CheckRow(
                later, place_words(later.place), "", read_words(later), None, _why_not(state, later)
            )
            continue
        place = [one.id for one in series.laters].index(later.id)
        changes = [one for one in series.run.findings if one.quantity == "later.change"]
        says = [one.text for one in series.run.findings if one.quantity == "later.says"]
        ends = [one for one in at_end(state, later.quantity, later.place)
                if one.method == later.method]  # fmt: skip
        then = " and ".join(f"{one.value}" for one in ends)
        yield CheckRow(
            later, place_words(later.place), then, read_words(later), changes[place], says[place],
            tuple(one.id for one in ends), series.kept,
        )  # fmt: skip


def _why_not(state: ItemState, later: Later) -> str:
    """Why a check cannot be held against the end of treatment."""
    if later.off_scale:
        return "off its scale, so not compared"
    others = [one for one in state.readings.values()
              if one.quantity == later.quantity and one.moment == "after"]  # fmt: skip
    here = [one for one in others if one.place == later.place]
    if not others:
        return "not compared: nothing of the kind was read at the end of treatment"
    if not here:
        where = ", ".join(sorted({place_words(one.place) for one in others}))
        return f"not compared: at the end of treatment it was read elsewhere ({where})"
    if all(one.off_scale for one in here):
        return "not compared: it was off the scale at the end of treatment"
    how = PH_METHODS[here[0].method].name if here[0].method in PH_METHODS else (
        here[0].method or "no method named")  # fmt: skip
    return (
        f"not compared: at the end of treatment it was read otherwise ({how}), and two methods "
        "differ by more than a paper changes"
    )


def read_words(later: Later) -> str:
    """What was read, with its unit and method."""
    sign = f"{later.off_scale} " if later.off_scale else ""
    how = PH_METHODS[later.method].name if later.method in PH_METHODS else later.method
    return f"{sign}{as_read(later.value, later.unit)}{f' ({how})' if how else ''}"


def _suggested(state: ItemState) -> dict[str, list[str]]:
    """What was read at the end of treatment and can be read again: places by quantity."""
    out: dict[str, list[str]] = {}
    for one in state.readings.values():
        if one.moment == "after" and one.quantity in CHECKED:
            places = out.setdefault(one.quantity, [])
            if one.place not in places:
                places.append(one.place)
    return {quantity: sorted(places, key=place_order) for quantity, places in out.items()}
