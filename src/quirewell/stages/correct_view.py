"""The views of correcting: the form beforehand, and afterwards what moved by it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from quirewell.record.event import Event
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.record.shapes import Point, read_corners, write_points
from quirewell.stages.asking import quantity_name
from quirewell.stages.correcting import (
    CORNERS,
    GROUNDS,
    METHOD,
    TEAR,
    corner_text,
    corrected_words,
    correction_of,
    fits,
    form_of,
    found_corners,
    key_of,
)
from quirewell.stages.drawn import SAME_TEAR_PX, tear_paths
from quirewell.stages.examine import MAIN, latest_measure, um_per_px
from quirewell.stages.results import shown


@dataclass(frozen=True, slots=True)
class CornerField:
    """One corner in the form: as found, as typed, where its handle stands now, and where it
    stood as found ("x,y"; a guess when no leaf was found) [px]."""

    field: str
    name: str
    found: str
    value: str
    x: float
    y: float
    start: str


@dataclass(frozen=True, slots=True)
class TearField:
    """A proposed tear in the form: its path, how long, and what was answered."""

    field: str
    number: int
    points: str
    says: str
    answer: str


@dataclass(frozen=True, slots=True)
class CorrectView:
    """Everything the form shows; ``values`` are what is saved or was typed."""

    record: str
    touched: int
    corners: tuple[CornerField, ...]
    tears: tuple[TearField, ...]
    grounds: tuple[tuple[str, str], ...]
    ignore: str
    ground: str
    note: str


@dataclass(frozen=True, slots=True)
class Moved:
    """A number before and after a correction; ``moved`` when the two differ as written."""

    name: str
    was: str
    now: str
    main: bool

    @property
    def moved(self) -> bool:
        """Whether they differ as written."""
        return self.was != self.now


@dataclass(frozen=True, slots=True)
class CorrectedView:
    """A correction that holds: what it says, when it was made, what moved, and how to undo it."""

    says: tuple[str, ...]
    note: str
    at: str
    seq: int
    measured: bool
    rows: tuple[Moved, ...]

    @property
    def first(self) -> tuple[Moved, ...]:
        """The values looked at first."""
        return tuple(row for row in self.rows if row.main)

    @property
    def rest(self) -> tuple[Moved, ...]:
        """Whatever else moved."""
        return tuple(row for row in self.rows if not row.main)


def correct_view(state: ItemState, capture: Capture, typed: Mapping[str, str]) -> CorrectView:
    """The form for one picture; ``typed`` wins over what is saved."""
    held = correction_of(state, capture.id)
    values = {**(form_of(held) if held else {}), **typed}
    return CorrectView(
        key_of(capture.id),
        state.touched.get(key_of(capture.id), 0),
        _corner_fields(state, capture, values),
        tear_fields(state, capture, values),
        GROUNDS,
        values.get("ignore", ""),
        values.get("ground", ""),
        values.get("note", ""),
    )


def _corner_fields(
    state: ItemState, capture: Capture, values: Mapping[str, str]
) -> tuple[CornerField, ...]:
    found = found_corners(state, capture.id)
    start = found or _inset(capture)
    fields = []
    for number, name in enumerate(CORNERS, 1):
        typed = values.get(f"corner_{number}", "")
        try:
            point = read_corners(" ".join([typed.replace(" ", ""), "-", "-", "-"]))[0]
        except (ValueError, IndexError):
            point = None
        x, y = point or start[number - 1]
        begin = write_points((start[number - 1],))
        said = corner_text(found[number - 1]) if found else ""
        fields.append(CornerField(f"corner_{number}", name, said, typed, x, y, begin))
    return tuple(fields)


def _inset(capture: Capture) -> tuple[Point, ...]:
    """Where handles stand when no leaf was found: a twelfth inside the picture."""
    x, y = capture.width_px / 12, capture.height_px / 12
    right, foot = capture.width_px - x, capture.height_px - y
    return (x, y), (right, y), (right, foot), (x, foot)


def tear_fields(
    state: ItemState, capture: Capture, values: Mapping[str, str]
) -> tuple[TearField, ...]:
    """Tears that the latest measurement proposes, with what was answered of each."""
    run = latest_measure(state, capture)
    if run is None:
        return ()
    scale = um_per_px(run)
    fields = []
    for number, path in enumerate(tear_paths(run.drawing), 1):
        field = _answered(path[0], values) or f"{TEAR}{write_points(path[:1])}"
        fields.append(
            TearField(field, number, write_points(path), _long(path, scale), values.get(field, ""))
        )
    return tuple(fields)


def _answered(start: Point, values: Mapping[str, str]) -> str:
    """The field under which a tear beginning here was answered before; "" when it was not."""
    near = []
    for name in values:
        if name.startswith(TEAR):
            x, y = (float(part) for part in name.removeprefix(TEAR).split(","))
            near.append((math.dist((x, y), start), name))
    apart, name = min(near, default=(math.inf, ""))
    return name if apart <= SAME_TEAR_PX else ""


def _long(path: tuple[Point, ...], um_per_px: float | None) -> str:
    length = sum(math.dist(a, b) for a, b in pairwise(path))
    if um_per_px is None:
        return f"{length:.0f} px long"
    return f"about {length * um_per_px / 1000:.0f} mm long"


def corrected_view(
    state: ItemState, capture: Capture, events: Iterable[Event]
) -> CorrectedView | None:
    """What a correction that holds did; None when the picture has none."""
    held = correction_of(state, capture.id)
    if held is None:
        return None
    event = standing_event(events, capture.id)
    now = latest_measure(state, capture)
    measured = now is not None and fits(state, now)
    was = _bare(state, capture, now) if measured else None
    return CorrectedView(
        corrected_words(held),
        held.note,
        event.at if event else "",
        event.seq if event else 0,
        measured,
        moved(was, now) if was and now else (),
    )


def standing_event(events: Iterable[Event], capture: str) -> Event | None:
    """The correcting event that holds now for a picture."""
    listed = list(events)
    undone = {str(event.body.get("seq")) for event in listed if event.kind == "event.undone"}
    made = [
        event
        for event in listed
        if event.kind == "measuring.corrected"
        and event.body.get("capture") == capture
        and str(event.seq) not in undone
    ]
    return made[-1] if made else None


def moved(was: Run, now: Run) -> tuple[Moved, ...]:
    """Numbers of two runs side by side: those looked at first, and whatever else moved."""
    before = {entry.quantity: _text(entry) for entry in was.findings}
    after = {entry.quantity: _text(entry) for entry in now.findings}
    return tuple(
        Moved(
            quantity_name(name),
            before.get(name, "not given"),
            after.get(name, "not given"),
            name in MAIN,
        )
        for name in dict.fromkeys([*before, *after])
        if name in MAIN or before.get(name) != after.get(name)
    )


def _text(finding: Finding) -> str:
    return shown(finding).text


def _bare(state: ItemState, capture: Capture, now: Run | None) -> Run | None:
    """The last run before ``now`` that was made with another correction, or with none."""
    others = [
        run
        for run in state.runs.values()
        if run.method == METHOD
        and run is not now
        and any(entry.ref == capture.id for entry in run.inputs)
        and not fits(state, run)
    ]
    return max(others, key=lambda run: state.touched.get(run.id, 0), default=None)
