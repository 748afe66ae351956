"""The questions asked before a dangerous step: ink test before water, dry paper before heat."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from quirewell.record.nouns import ItemState, SpotTest, Step
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.step_table import STEP_KINDS, StepKind

INK_TEST = "ink-test"
HEAT_ON_DAMP = "heat-on-damp"
WARM_C = 40
_ALKALINE = ("lime", "alkal", "calcium hydroxide", "bicarbonate", "hydrogen carbonate")
_SOLVENT = ("alcohol", "ethanol", "propanol", "acetone", "solvent", "spirit")
_COVER_PARTS = ("front", "back", "spine")


@dataclass(frozen=True, slots=True)
class Objection:
    """A reason not to start yet: the rule that may be overridden, and a sentence."""

    rule: str
    says: str


def objections(
    state: ItemState, kind: StepKind, places: Sequence[str], temperature_c: float | None = None
) -> tuple[Objection, ...]:
    """What speaks against starting a step of this kind on these places now."""
    found = []
    if kind.aqueous:
        found += _ink_objections(state, kind, sheets_of(state, places))
    if kind.heat and temperature_c is not None and temperature_c > WARM_C:
        found += _heat_objections(state, places)
    return tuple(found)


def sheets_of(state: ItemState, places: Iterable[str]) -> tuple[str, ...]:
    """Sheets a step touches: "item" is every sheet once the gathering is described."""
    out: dict[str, None] = {}
    for place in places:
        if place == "item" and state.gathering is not None:
            out.update(dict.fromkeys(state.gathering.sheets()))
        else:
            out[sheet_of(place) or place] = None
    return tuple(out)


def ink_tests_of(state: ItemState, sheet: str) -> tuple[SpotTest, ...]:
    """Ink tests that speak for a sheet: made on it, on a part of it, or on the whole item."""
    return tuple(test for test in state.spot_tests.values() if _covers(test.place, sheet))


def _covers(tested: str, sheet: str) -> bool:
    if tested in ("item", sheet) or sheet_of(tested) == sheet:
        return True
    return sheet in _COVER_PARTS and sheet_of(tested) == "c"


def liquid_class(liquid: str) -> str:
    """What a test liquid is: "alkaline", "solvent" or "water".

    >>> liquid_class("lime water 1:1"), liquid_class("water"), liquid_class("isopropanol")
    ('alkaline', 'water', 'solvent')
    """
    words = liquid.lower()
    if any(word in words for word in _ALKALINE):
        return "alkaline"
    return "solvent" if any(word in words for word in _SOLVENT) else "water"


def _ink_objections(state: ItemState, kind: StepKind, sheets: Sequence[str]) -> list[Objection]:
    untested, watered, found = [], [], []
    for sheet in sheets:
        classes = {liquid_class(test.liquid) for test in ink_tests_of(state, sheet)}
        if not classes & {"water", "alkaline"}:
            untested.append(sheet)
        elif kind.alkaline and "alkaline" not in classes:
            watered.append(sheet)
    if untested:
        found.append(Objection(INK_TEST, _untested(kind, untested)))
    if watered:
        found.append(Objection(INK_TEST, _watered(kind, watered)))
    return found + _bleeding(state, kind, sheets)


def _untested(kind: StepKind, sheets: Sequence[str]) -> str:
    return (
        f"No ink test is recorded for {_list(sheets)}. {kind.name} wets the paper: test every "
        "colour there first and write down the result, or start it all the same with a reason."
    )


def _watered(kind: StepKind, sheets: Sequence[str]) -> str:
    return (
        f"The ink test for {_list(sheets)} was made with water, but {kind.name.lower()} is "
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


def _list(sheets: Sequence[str]) -> str:
    words = [place_words(sheet) for sheet in sheets]
    if len(words) > 4:
        words = [*words[:3], f"{len(words) - 3} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _heat_objections(state: ItemState, places: Sequence[str]) -> list[Objection]:
    damp = [sheet for sheet in sheets_of(state, places) if is_damp(state, sheet)]
    if not damp:
        return []
    return [
        Objection(
            HEAT_ON_DAMP,
            f"By this record {_list(damp)} was wetted and not dried since. Heat on damp acid "
            "paper ages it fast: record the drying first, or start it all the same with a reason.",
        )
    ]


def is_damp(state: ItemState, sheet: str) -> bool:
    """Whether the record leaves a sheet wet: a wetting step without a later finished drying.

    Later by the times written where both have one, else by the order of the record (a step
    keeps its place when it is corrected).
    """
    begun = [
        step
        for step in state.steps.values()
        if step.state != "planned" and sheet in sheets_of(state, step.places)
    ]
    wettings = [
        (index, step)
        for index, step in enumerate(begun)
        if step.kind in STEP_KINDS and STEP_KINDS[step.kind].wets_paper
    ]
    dryings = [
        (index, step)
        for index, step in enumerate(begun)
        if step.kind == "dry" and step.state == "done"
    ]
    return any(not any(_follows(dry, wet) for dry in dryings) for wet in wettings)


def _follows(dry: tuple[int, Step], wet: tuple[int, Step]) -> bool:
    if dry[1].done_at and wet[1].started_at:
        return dry[1].done_at >= wet[1].started_at
    return dry[0] > wet[0]
