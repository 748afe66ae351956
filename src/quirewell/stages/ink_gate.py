"""Ink tests before water: per colour and stamp, with the very bath, for as long as it lasts.

A test speaks for a bath when its liquid, warmth, surfactant and minutes are at least the bath's.
Warmth counts as the bath's within :data:`NEAR_C`; water from :data:`WARM_C` is called warm (both
common practice, no source). What an older test leaves unsaid is pointed out, not objected to.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from quirewell.record.nouns import ItemState, SpotTest, Step
from quirewell.stages.naming import place_words
from quirewell.stages.objecting import Objection, listed, sheets_of, speaks_for
from quirewell.stages.step_table import StepKind

INK_TEST = "ink-test"
COLOUR_SEEN = "colour"
NEAR_C, WARM_C = 5, 25
# Damage terms that are ink on the paper beside the print.
INKED = ("stamp", "writing", "inscription", "ink stain", "ink mark", "crayon", "pencil")
_ALKALINE = ("lime", "alkal", "calcium hydroxide", "bicarbonate", "hydrogen carbonate")
_SOLVENT = ("alcohol", "ethanol", "propanol", "acetone", "solvent", "spirit")
_SURFACTANT = ("surfactant", "wetting agent", "detergent", "soap")


@dataclass(frozen=True, slots=True)
class Wish:
    """What a test must have stood for a step: liquid, warmth, surfactant, minutes, as known."""

    alkaline: bool = False
    celsius: Decimal | None = None
    warm: bool = False
    surfactant: bool = False
    minutes: Decimal | None = None

    @property
    def says(self) -> str:
        """The bath in words: "alkaline, 32 C, with surfactant, for 30 min"."""
        parts = ["alkaline"] if self.alkaline else []
        if self.celsius is not None:
            parts.append(f"{_short(self.celsius)} °C")
        elif self.warm:
            parts.append("warm")
        parts += ["with surfactant"] if self.surfactant else []
        parts += [f"for {_short(self.minutes)} min"] if self.minutes is not None else []
        return ", ".join(parts) or "plain water"


@dataclass(frozen=True, slots=True)
class Stood:
    """How far the tests of one colour speak for a bath: ``hard`` objects, ``soft`` points out."""

    colour: str
    place: str
    tests: tuple[SpotTest, ...]
    hard: str = ""
    soft: str = ""


def has_surfactant(text: str) -> bool:
    """Whether a way, a liquid or a material names a surfactant.

    >>> has_surfactant("warm with surfactant, two wraps at a time"), has_surfactant("water")
    (True, False)
    """
    return any(word in text.lower() for word in _SURFACTANT)


def liquid_class(liquid: str) -> str:
    """What a test liquid is: "alkaline", "solvent" or "water".

    >>> liquid_class("lime water 1:1"), liquid_class("water"), liquid_class("isopropanol")
    ('alkaline', 'water', 'solvent')
    """
    words = liquid.lower()
    if any(word in words for word in _ALKALINE):
        return "alkaline"
    return "solvent" if any(word in words for word in _SOLVENT) else "water"


def wish_of(
    state: ItemState, kind: StepKind, temperature_c: float | None, step: Step | None
) -> Wish:
    """What an ink test must have stood for this step to begin."""
    bath = state.baths.get(step.bath) if step is not None and step.bath else None
    celsius = None if temperature_c is None else Decimal(str(temperature_c))
    if celsius is None and bath is not None:
        celsius = bath.temperature_c
    way = step.way if step is not None else ""
    lots = " ".join(lot.material for lot in step.lots) if step is not None else ""
    minutes = None if step is None else step.planned_minutes or step.minutes
    return Wish(
        kind.alkaline, celsius, way.startswith("warm"), has_surfactant(f"{way} {lots}"), minutes
    )


def ink_tests_of(state: ItemState, sheet: str) -> tuple[SpotTest, ...]:
    """Ink tests that speak for a sheet: made on it, on a part of it, or on the whole item."""
    return tuple(test for test in state.spot_tests.values() if speaks_for(test.place, sheet))


def colours_of(state: ItemState, sheet: str) -> tuple[tuple[str, str], ...]:
    """Colours and stamps to be tested on a sheet with their places: added by a person, noted as
    damage of ink, or tested already. What is to be kept asks for itself."""
    found: dict[str, str] = {}

    def add(colour: str, place: str) -> None:
        name = " ".join(colour.split())
        if name and not any(same_colour(name, known) for known in found):
            found[name] = place

    for check in state.checks.values():
        if check.key == COLOUR_SEEN:
            for place in check.places:
                if speaks_for(place, sheet):
                    add(check.note, place)
    for defect in state.defects.values():
        if defect.place != "item" and speaks_for(defect.place, sheet) and _inked(defect.term):
            add(defect.term, defect.place)
    for test in ink_tests_of(state, sheet):
        if not any(
            keep.place == test.place and same_colour(keep.what, test.colour)
            for keep in state.keeps.values()
        ):
            add(test.colour, test.place)
    return tuple(found.items())


def _inked(term: str) -> bool:
    return any(re.search(rf"\b{word}s?\b", term.lower()) for word in INKED)


def same_colour(one: str, other: str) -> bool:
    """Whether two names mean one colour: the same, or one inside the other as whole words.

    >>> same_colour("blue stamp", "Stamp"), same_colour("red", "infrared")
    (True, False)
    """
    a, b = sorted((one.lower().strip(), other.lower().strip()), key=len)
    return bool(a) and re.search(rf"\b{re.escape(a)}\b", b) is not None


def stood(state: ItemState, sheet: str, colour: str, place: str, wish: Wish) -> Stood:
    """How the tests of one colour on a sheet stand to a bath; the nearest one counts."""
    made = state.spot_tests.values() if sheet == "item" else ink_tests_of(state, sheet)
    mine = [
        test for test in made
        if same_colour(test.colour, colour)
        or (place not in ("item", sheet) and test.place == place)
    ]  # fmt: skip
    fitting = [test for test in mine if _class_fits(test, wish)]
    if not fitting:
        return Stood(colour, place, tuple(mine), hard="not tested")
    judged = [(test, *_missing(test, wish)) for test in fitting]
    test, hard, soft = min(judged, key=lambda row: (len(row[1]), len(row[2])))
    said = f"tested {_test_words(test)}; this bath is {wish.says}"
    return Stood(
        colour, place, tuple(mine), said if hard else "",
        f"{said}: the test does not say {' nor '.join(soft)}" if soft and not hard else "",
    )  # fmt: skip


def _class_fits(test: SpotTest, wish: Wish) -> bool:
    found = liquid_class(test.liquid)
    return found == "alkaline" or (found == "water" and not wish.alkaline)


def _missing(test: SpotTest, wish: Wish) -> tuple[list[str], list[str]]:
    """What a test did not stand of a bath, and what it does not say."""
    hard, soft = [], []
    dated = test.minutes is not None or test.temperature_c is not None
    if wish.minutes is not None:
        if test.minutes is None:
            soft.append("its minutes")
        elif test.minutes < wish.minutes:
            hard.append("minutes")
    floor = wish.celsius - NEAR_C if wish.celsius is not None else WARM_C if wish.warm else None
    if floor is not None:
        if test.temperature_c is None:
            soft.append("its warmth")
        elif test.temperature_c < floor:
            hard.append("warmth")
    if wish.surfactant and not has_surfactant(f"{test.liquid} {test.note}"):
        (hard if dated else soft).append("a surfactant")
    return hard, soft


def _test_words(test: SpotTest) -> str:
    """ "2 min in water at 19 C", as far as the test says."""
    parts = [f"{_short(test.minutes)} min"] if test.minutes is not None else []
    parts.append(f"in {test.liquid}")
    if test.temperature_c is not None:
        parts.append(f"at {_short(test.temperature_c)} °C")
    return " ".join(parts)


def _short(value: Decimal) -> str:
    return f"{value.normalize():f}"


def ink_objections(
    state: ItemState, kind: StepKind, places: Sequence[str], wish: Wish
) -> tuple[Objection, ...]:
    """What the ink tests leave open before a step; bleeding of a place speaks for itself."""
    sheets = sheets_of(state, places)
    untested, watered = [], []
    unlike: dict[str, list[str]] = {}
    for sheet in sheets:
        classes = {liquid_class(test.liquid) for test in ink_tests_of(state, sheet)}
        if not classes & {"water", "alkaline"}:
            untested.append(sheet)
            continue
        if kind.alkaline and "alkaline" not in classes:
            watered.append(sheet)
            continue
        for colour, place in colours_of(state, sheet):
            found = stood(state, sheet, colour, place, wish)
            if found.hard:
                unlike.setdefault(f"{colour}: {found.hard}", []).append(sheet)
    out = [Objection(INK_TEST, _untested(kind, untested))] if untested else []
    out += [Objection(INK_TEST, _watered(kind, watered))] if watered else []
    out += [Objection(INK_TEST, _unlike(kind, says, on)) for says, on in unlike.items()]
    return (*out, *_bleeding(state, kind, sheets))


def ink_pointers(
    state: ItemState, places: Sequence[str], wish: Wish
) -> tuple[str, ...]:  # fmt: skip
    """What the tests leave unsaid, to be looked at; nobody is held up by it."""
    unsaid: dict[str, list[str]] = {}
    for sheet in sheets_of(state, places):
        for colour, place in colours_of(state, sheet):
            if soft := stood(state, sheet, colour, place, wish).soft:
                unsaid.setdefault(f"{colour}, {soft}", []).append(sheet)
    return tuple(f"Ink on {listed(on)}: {says}." for says, on in unsaid.items())


def _unlike(kind: StepKind, says: str, sheets: Iterable[str]) -> str:
    colour, _, rest = says.partition(": ")
    on = listed(list(sheets))
    if rest == "not tested":
        liquid = "lime water" if kind.alkaline else "water"
        return (
            f"The {colour} on {on} is not tested with {liquid}. Test it there, write down the "
            "result, or start it all the same with a reason."
        )
    return (
        f"The {colour} on {on} was {rest}. Test it with that bath for its full time, or start it "
        "all the same with a reason."
    )


def _untested(kind: StepKind, sheets: Sequence[str]) -> str:
    return (
        f"No ink test is recorded for {listed(sheets)}. {kind.name} wets the paper: test every "
        "colour there first and write down the result, or start it all the same with a reason."
    )


def _watered(kind: StepKind, sheets: Sequence[str]) -> str:
    return (
        f"The ink test for {listed(sheets)} was made with water, but {kind.name.lower()} is "
        "alkaline, and some blues and dyes that stand water are destroyed by alkali. Test with "
        "the lime water itself, or start it all the same with a reason."
    )


def _bleeding(state: ItemState, kind: StepKind, sheets: Sequence[str]) -> list[Objection]:
    harmful = {"water", "alkaline"} if kind.alkaline else {"water"}
    seen: dict[str, SpotTest] = {}
    for sheet in sheets:
        for test in ink_tests_of(state, sheet):
            if test.result == "bleeds" and liquid_class(test.liquid) in harmful:
                seen[test.id] = test
    return [
        Objection(
            INK_TEST,
            f"The {test.colour} on {place_words(test.place)} bleeds in {test.liquid}. Keep that "
            f"place out of the step, or start it all the same with a reason.",
        )
        for test in seen.values()
    ]
