"""What an objection is, and the few questions about sheets that every gate asks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from quirewell.record.nouns import ItemState, Step
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.step_table import STEP_KINDS, StepKind

_COVER_PARTS = ("front", "back", "spine")


@dataclass(frozen=True, slots=True)
class Objection:
    """A reason not to start yet: the rule that may be overridden, and a sentence; ``never`` says
    that no reason passes it over."""

    rule: str
    says: str
    never: bool = False


def sheets_of(state: ItemState, places: Iterable[str]) -> tuple[str, ...]:
    """Sheets a step touches: "item" is every sheet once the gathering is described."""
    out: dict[str, None] = {}
    for place in places:
        if place == "item" and state.gathering is not None:
            out.update(dict.fromkeys(state.gathering.sheets()))
        else:
            out[sheet_of(place) or place] = None
    return tuple(out)


def speaks_for(place: str, sheet: str) -> bool:
    """Whether something said of a place counts for a sheet: of it, of a part of it, of the whole.

    >>> speaks_for("w03.outer.left", "w03"), speaks_for("c", "front"), speaks_for("w02", "w03")
    (True, True, False)
    """
    if place in ("item", sheet) or sheet_of(place) == sheet:
        return True
    return sheet in _COVER_PARTS and sheet_of(place) == "c"


def meets(place: str, other: str) -> bool:
    """Whether two places have paper in common.

    >>> meets("w03", "w03.outer.left"), meets("w03.outer.left", "w03.outer.right")
    (True, False)
    """
    if "item" in (place, other) or place == other:
        return True
    if {place, other} & set(_COVER_PARTS) and "c" in (sheet_of(place), sheet_of(other)):
        return True
    return place.startswith(f"{other}.") or other.startswith(f"{place}.")


def listed(sheets: Sequence[str]) -> str:
    """Sheets in words, the first few by name."""
    words = [place_words(sheet) for sheet in sheets]
    if len(words) > 4:
        words = [*words[:3], f"{len(words) - 3} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def begun_on(state: ItemState, sheet: str) -> tuple[tuple[Step, StepKind | None], ...]:
    """Steps begun on a sheet, in the order of the record, with their rows of the step table."""
    return tuple(
        (step, STEP_KINDS.get(step.kind))
        for step in state.steps.values()
        if step.state != "planned" and sheet in sheets_of(state, step.places)
    )


def is_damp(state: ItemState, sheet: str) -> bool:
    """Whether the record leaves a sheet wet: a wetting step without a later finished drying.

    Later by the times written where both have one, else by the order of the record (a step
    keeps its place when it is corrected).
    """
    begun = list(enumerate(step for step, _ in begun_on(state, sheet)))
    wettings = [
        (index, step)
        for index, step in begun
        if step.kind in STEP_KINDS and STEP_KINDS[step.kind].wets_paper
    ]
    dryings = [
        (index, step) for index, step in begun if step.kind == "dry" and step.state == "done"
    ]
    return any(not any(_follows(dry, wet) for dry in dryings) for wet in wettings)


def _follows(dry: tuple[int, Step], wet: tuple[int, Step]) -> bool:
    if dry[1].done_at and wet[1].started_at:
        return dry[1].done_at >= wet[1].started_at
    return dry[0] > wet[0]


def instant(text: str) -> datetime | None:
    """An instant of the record as a moment; one without a zone is UTC; None where it is none.

    >>> instant("2026-03-08T14:00Z") == instant("2026-03-08T14:00")
    True
    """
    try:
        found = datetime.fromisoformat(text.strip().replace("Z", "+00:00"))
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)
