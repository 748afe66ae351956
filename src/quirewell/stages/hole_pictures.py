"""Which pictures staple holes are looked for in, and what is known of each beforehand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from quirewell.jobs.batch import Call
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.examine import measurable
from quirewell.stages.filenames import LIGHT_BOX, named_of
from quirewell.stages.hole_finding import METHOD
from quirewell.stages.measuring_asked import PARAMS as SCALE_PARAMS
from quirewell.stages.naming import sheet_of, sheet_words
from quirewell.stages.reading_entry import record_reading
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.sheet_edges import edges_of
from quirewell.stages.survey import TASK, measure_params

_COLOURS = ("target", "card", "card_by")


def expected_holes(state: ItemState) -> int:
    """Holes a sheet of this item should have: two to a staple."""
    return 2 * state.gathering.staples if state.gathering else 4


def to_find(
    state: ItemState, path_of: Callable[[str], Path], bench: BenchState = EMPTY_BENCH
) -> tuple[Call, ...]:
    """A search for each sheet whose newest picture of its fold was not searched yet."""
    calls = []
    for place, capture in pictures(state).items():
        call = search(state, place, capture, path_of, bench)
        params = call.arguments[-1]
        if not any(
            run.inputs[0].ref == capture.id and run.params == params
            for run in state.runs.values()
            if run.method == METHOD
        ):
            calls.append(call)
    return tuple(calls)


def search(
    state: ItemState, place: str, capture: Capture, path_of: Callable[[str], Path],
    bench: BenchState = EMPTY_BENCH,
) -> Call:  # fmt: skip
    """A search in one picture."""
    inputs = (("image", capture.id, capture.sha256),)
    params = find_params(state, place, capture, bench)
    return Call(
        TASK, (METHOD, place, {"image": str(path_of(capture.sha256))}, inputs, params),
        sheet_words(place),
    )  # fmt: skip


def pictures(state: ItemState) -> dict[str, Capture]:
    """The picture of each sheet to look for holes in: a scan before a photograph over a light box,
    after treatment before before it, the outer side before the inner, the newest of like ones."""
    best: dict[str, tuple[tuple[int, int, int, int], Capture]] = {}
    for capture in state.captures.values():
        sheet = sheet_of(capture.place)
        if not sheet or not shows_holes(capture):
            continue
        rank = (
            int(measurable(capture)), int(capture.moment == "after"),
            int(side_of(capture) == "outer"), state.touched.get(capture.id, 0),
        )  # fmt: skip
        if sheet not in best or rank > best[sheet][0]:
            best[sheet] = rank, capture
    ordered = state.gathering.sheets() if state.gathering else tuple(sorted(best))
    return {place: best[place][1] for place in ordered if place in best}


def shows_holes(capture: Capture) -> bool:
    """Whether holes can be looked for in a picture: a scan of a sheet, or one over a light box."""
    return measurable(capture) or (bool(sheet_of(capture.place)) and capture.view == LIGHT_BOX)


def pictures_of(state: ItemState, place: str) -> tuple[Capture, ...]:
    """Every picture of a sheet that holes can be looked for in."""
    return tuple(
        one for one in state.captures.values() if sheet_of(one.place) == place and shows_holes(one)
    )


@dataclass(frozen=True, slots=True)
class PictureRow:
    """A picture of a sheet as its page offers it: ``asks_height`` where a photograph has no scale
    until the sheet's height is read."""

    capture: str
    words: str
    searched: bool
    asks_height: bool


def offered(state: ItemState, place: str) -> tuple[PictureRow, ...]:
    """Pictures of a sheet that holes can be looked for in, and which of them were."""
    looked = {run.inputs[0].ref for run in state.runs.values() if run.method == METHOD}
    return tuple(
        PictureRow(
            one.id, f"{named_of(one).words} ({one.filename})", one.id in looked,
            one.view == LIGHT_BOX and not _height(state, place),
        )
        for one in pictures_of(state, place)
    )  # fmt: skip


def asked_picture(
    state: ItemState, place: str, form: Mapping[str, str]
) -> tuple[str, tuple[Draft, ...]]:
    """The picture to look in, and the reading of the sheet's height where one was typed.

    Raises:
        Refusal: no such picture of the sheet, or a height that cannot be read.
    """
    capture = form.get("capture", "")
    if capture not in {one.id for one in pictures_of(state, place)}:
        says = "That picture is not one of this sheet (any more)."
        raise Refusal((Problem("capture", says),), values=dict(form))
    text = form.get("height", "").strip()
    if not text:
        return capture, ()
    asked = {"quantity": "height", "value": text, "place": place}
    try:
        return capture, record_reading(state, asked)
    except Refusal as refusal:
        says = refusal.problems[0].says
        raise Refusal((Problem("height", says),), values=dict(form)) from refusal


def side_of(capture: Capture) -> str:
    """The side a scan shows, "outer" where its place does not say."""
    parts = capture.place.split(".")
    return parts[1] if len(parts) > 1 else "outer"


def staple_legs(state: ItemState) -> tuple[str, ...]:
    """Where the staples' legs went through [mm from the head], as recorded, from the head down."""
    legs = [leg for one in state.staples.values() for leg in (one.upper_mm, one.lower_mm)]
    return tuple(f"{leg:f}" for leg in sorted(leg for leg in legs if leg is not None))


def find_params(
    state: ItemState, place: str, capture: Capture, bench: BenchState = EMPTY_BENCH
) -> dict[str, str]:
    """All that is known of a scan beforehand, as the method takes it: what measuring it is given,
    without its colours, and how many holes there should be."""
    known = {
        name: value
        for name, value in measure_params(state, capture, bench).items()
        if name in SCALE_PARAMS and name not in _COLOURS
    }
    legs = staple_legs(state)
    if len(legs) == expected_holes(state):
        known["expected"] = " ".join(legs)
    if capture.view == LIGHT_BOX:
        known |= {"camera": "photo", "light": "transmitted"} | _height(state, place)
    return {**known, "side": side_of(capture), "count": str(expected_holes(state)), "wrap": place}


def _height(state: ItemState, place: str) -> dict[str, str]:
    """A sheet's height as its scans measured it, else as a person read it last; empty where
    nobody did."""
    edges = edges_of(state, place)
    if edges is not None and edges.tail_mm is not None:
        return {"height_mm": f"{edges.tail_mm:.2f}"}
    read = [
        one
        for one in state.readings.values()
        if one.quantity == "height" and sheet_of(one.place) in (place, "")
    ]
    if not read:
        return {}
    newest = max(read, key=lambda one: (sheet_of(one.place) == place, state.touched.get(one.id, 0)))
    return {"height_mm": f"{newest.value:f}"}
