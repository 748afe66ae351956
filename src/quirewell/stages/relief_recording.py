"""Recording a relief: its pictures kept in the studio, its run in the journal of an item.

The pictures are no scans of a page and no photographs of the whole thing, so they are kept as
what the run was made from, by their hashes, and not as pictures of the item.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Input, Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.examine import latest_measure, measurable, um_per_px
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.places import read_places
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.relief_grid import NotLaid
from quirewell.stages.relieving import METHOD
from quirewell.stages.survey import subject_of
from quirewell.studio.studio import Studio

MOMENTS = ("before", "after")


@dataclass(frozen=True, slots=True)
class Recorded:
    """A relief in the record: its run, and why it lies on no scan ("" when it does)."""

    run: Run
    apart: str


def page_of(state: ItemState, text: str) -> str:
    """The one page of a sheet that a person named.

    Raises:
        Refusal: none, several, or something that is no page.
    """
    places = read_places(state, {"page": text}, field="page")
    if len(places) != 1 or not sheet_of(places[0]) or "." not in places[0]:
        raise Refusal(
            (Problem("page", f"Name one page, as w03.outer.left or c.inner.right; got {text!r}."),),
            values={"page": text},
        )
    return places[0]


def scan_of(state: ItemState, page: str, moment: str) -> Capture | None:
    """The latest scan of a page at a moment, on which its relief can be laid."""
    found = [
        capture
        for capture in state.captures.values()
        if measurable(capture)
        and subject_of(capture) == page
        and (capture.moment or "before") == moment
    ]
    return max(found, key=lambda entry: state.touched.get(entry.id, 0), default=None)


def record_relief(
    studio: Studio,
    item: str,
    page: str,
    moment: str,
    files: Mapping[str, Path],
    params: Mapping[str, str],
    actor: str = "bench",
) -> Recorded:
    """Measure a relief of ``page`` and record it, laid on the page's scan where there is one.

    ``files`` have the roles of the method (``picture01``.., ``flat01``..); a ``grid`` given by
    hand goes before the scan. Nothing is recorded when the measurement fails.

    Raises:
        Refusal: no such page or moment.
        ImageError, ValueError: pictures, lamps or flat sheets that do not fit.
    """
    state = studio.state(item)
    place = page_of(state, page)
    if moment not in MOMENTS:
        says = f"The moment is before or after (treatment), got {moment!r}."
        raise Refusal((Problem("moment", says),), values={"moment": moment})
    kept = [(role, path.name, studio.blobs.put(path)) for role, path in files.items()]
    entries = [Input(role, name, sha256) for role, name, sha256 in kept]
    told = {**params, "moment": moment}
    run, apart = _measured(studio, state, place, entries, told)
    if run.id not in state.runs:
        studio.append(item, None, [Draft(item, "run.recorded", to_body(run))], actor)
    return Recorded(run, apart)


def _measured(
    studio: Studio, state: ItemState, page: str, entries: list[Input], params: dict[str, str]
) -> tuple[Run, str]:
    """The run, on the page's scan when the print of the two agrees; else by itself."""
    scan = scan_of(state, page, params["moment"])
    if scan is None and not any(entry.role == "grid" for entry in entries):
        where = place_words(page)
        apart = f"there is no scan of {where} from {params['moment']} treatment to lay it on"
        return _run(studio, page, entries, params), apart
    if scan is None or any(entry.role == "grid" for entry in entries):
        return _run(studio, page, entries, params), "it lies on the picture given as grid"
    measured = latest_measure(state, scan)
    scale = um_per_px(measured) if measured else None
    more = {} if scale is None else {"grid_um_per_px": f"{scale:.6g}"}
    grid = Input("grid", scan.id, scan.sha256)
    try:
        return _run(studio, page, [*entries, grid], params | more), ""
    except NotLaid as error:
        return _run(studio, page, entries, params), str(error)


def _run(studio: Studio, page: str, entries: list[Input], params: dict[str, str]) -> Run:
    files = {entry.role: studio.blobs.path(entry.sha256) for entry in entries}
    return run_method(METHOD, page, files, tuple(entries), params)
