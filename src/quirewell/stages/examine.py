"""Examine: what the pictures and the eye say of each sheet, before and after.

The views of the stage: one sheet's faces with pictures, measured values and defects. Its
commands stand in ``noting`` and are named here too.
"""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.asking import Asked, ask
from quirewell.stages.correcting import correction_of, fits, standing
from quirewell.stages.naming import page_number, place_words, sheet_of, sheet_pages, sheet_words
from quirewell.stages.noting import (
    estimate_grade,
    lock_margin,
    note_defect,
    note_remaining,
    retract,
)
from quirewell.stages.tears_told import told_findings

__all__ = [
    "SheetView", "defect_views", "estimate_grade", "grade_views", "lock_margin", "note_defect",
    "note_remaining", "picture_view", "retract", "sheet_view", "unmeasured",
]  # fmt: skip

DEFECT_TERMS = (
    "tideline",
    "rusted staple",
    "rust stain",
    "spine split",
    "spine roll",
    "tear",
    "loss",
    "brittle edge",
    "corner crease",
    "fold",
    "foxing",
    "tanned margin",
    "mould",
    "old tape",
    "offset",
    "ink rub",
    "soiling",
    "detached leaf",
    "insect damage",
    "writing",
)
SEVERITIES = ("slight", "moderate", "severe")
MEASURE = "leaf.measure"
MAIN = ("leaf.width_mm", "leaf.height_mm", "leaf.loss_mm2", "tone.L", "tone.yellowness")


@dataclass(frozen=True, slots=True)
class PictureView:
    """One picture: where it belongs, how large, what to be wary of, and its measured values."""

    id: str
    sha256: str
    filename: str
    place: str
    where: str
    moment: str
    panel: str
    view: str
    width_px: int
    height_px: int
    about: str
    warnings: tuple[str, ...]
    outline: str
    findings: tuple[Asked, ...]
    measured: bool
    touched: int
    corrected: bool = False

    @property
    def main(self) -> tuple[Asked, ...]:
        """The values looked at first."""
        return tuple(entry for entry in self.findings if entry.quantity in MAIN)

    @property
    def more(self) -> tuple[Asked, ...]:
        """All other values."""
        return tuple(entry for entry in self.findings if entry.quantity not in MAIN)


@dataclass(frozen=True, slots=True)
class PageView:
    """One face of a sheet: its pictures before and after."""

    place: str
    title: str
    before: tuple[PictureView, ...]
    after: tuple[PictureView, ...]


@dataclass(frozen=True, slots=True)
class DefectView:
    """A defect as noted, with the version that last touched it."""

    id: str
    place: str
    where: str
    term: str
    extent: str
    severity: str
    moment: str
    capture: str
    note: str
    touched: int


@dataclass(frozen=True, slots=True)
class GradeView:
    """The owner's own estimate at one moment; empty fields when there is none."""

    moment: str
    value: str
    words: str
    by: str
    touched: int


@dataclass(frozen=True, slots=True)
class SheetView:
    """All there is on one sheet."""

    sheet: str
    title: str
    pages_words: str
    pages: tuple[PageView, ...]
    defects: tuple[DefectView, ...]
    previous: str
    following: str


def picture_view(state: ItemState, capture: Capture) -> PictureView:
    """One picture with what was measured on it (its latest run)."""
    run = latest_measure(state, capture)
    about = f"{capture.width_px} × {capture.height_px} px, {capture.bits} bit"
    if capture.resolution_dpi:
        about += f", tagged {capture.resolution_dpi:.0f} dpi"
    told = told_findings(run, correction_of(state, capture.id)) if run else ()
    findings = tuple(ask(finding, run, state) for finding in told) if run else ()
    warnings = capture.warnings + (run.warnings if run else ())
    return PictureView(
        capture.id,
        capture.sha256,
        capture.filename,
        capture.place,
        place_words(capture.place),
        capture.moment or "",
        capture.panel,
        capture.view,
        capture.width_px,
        capture.height_px,
        about,
        tuple(dict.fromkeys(warnings)),
        run.drawing.get("outline", "") if run else "",
        findings,
        run is not None and fits(state, run),
        state.touched.get(capture.id, 0),
        correction_of(state, capture.id) is not None,
    )


def latest_measure(state: ItemState, capture: Capture) -> Run | None:
    """The measurement of a picture that holds: made with its correction if any, the last one."""
    found = [
        run
        for run in state.runs.values()
        if run.method == MEASURE and any(entry.ref == capture.id for entry in run.inputs)
    ]
    return max(found, key=lambda run: standing(state, run), default=None)


def needs_measuring(state: ItemState, capture: Capture) -> bool:
    """Whether a picture has no measurement, or none made with the correction that holds now."""
    run = latest_measure(state, capture)
    return run is None or not fits(state, run)


def um_per_px(run: Run) -> float | None:
    """Size of a pixel [um] as a measurement found it; None when nothing gave a scale."""
    return next((f.value for f in run.findings if f.quantity == "scale.um_per_px"), None)


def measurable(capture: Capture) -> bool:
    """Whether a picture is a scan of a sheet, which the measuring method can take."""
    return bool(sheet_of(capture.place)) and capture.view == "scan"


def unmeasured(state: ItemState) -> tuple[Capture, ...]:
    """Scans of sheets with no measurement as corrected now, in the order they came in."""
    return tuple(
        capture
        for capture in state.captures.values()
        if measurable(capture) and needs_measuring(state, capture)
    )


def face_of(capture: Capture) -> str:
    """The face of the sheet a picture shows: "w03.outer", or the sheet when not said."""
    return ".".join(capture.place.split(".")[:2])


def sheet_view(state: ItemState, sheet: str) -> SheetView:
    """The page of one sheet.

    Raises:
        KeyError: when the gathering has no such sheet and no picture names it.
    """
    sheets = known_sheets(state)
    if sheet not in sheets:
        raise KeyError(sheet)
    position = sheets.index(sheet)
    captures = [entry for entry in state.captures.values() if sheet_of(entry.place) == sheet]
    faces = {f"{sheet}.outer": "Outer side", f"{sheet}.inner": "Inner side", sheet: "The sheet"}
    pages = tuple(
        PageView(
            face,
            _face_title(title, face, state),
            _pictures(state, captures, face, "before"),
            _pictures(state, captures, face, "after"),
        )
        for face, title in faces.items()
        if face != sheet or any(face_of(entry) == sheet for entry in captures)
    )
    gathering = state.gathering
    return SheetView(
        sheet,
        sheet_words(sheet),
        sheet_pages(sheet, gathering) if gathering and sheet in gathering.sheets() else "",
        pages,
        defect_views(state, sheet),
        sheets[position - 1] if position else "",
        sheets[position + 1] if position + 1 < len(sheets) else "",
    )


def _face_title(title: str, face: str, state: ItemState) -> str:
    if state.gathering is None:
        return title
    numbers = [page_number(f"{face}.{panel}", state.gathering) for panel in ("left", "right")]
    if None in numbers:
        return title
    return f"{title}: page {numbers[0]} left, page {numbers[1]} right"


def _pictures(
    state: ItemState, captures: list[Capture], face: str, moment: str
) -> tuple[PictureView, ...]:
    wanted = [
        entry
        for entry in captures
        if face_of(entry) == face and (entry.moment or "before") == moment
    ]
    order = ("left", "whole", "right")
    wanted.sort(key=lambda entry: (order.index(panel_of(entry)), entry.id))
    return tuple(picture_view(state, entry) for entry in wanted)


def panel_of(capture: Capture) -> str:
    """Panel a picture shows: its own, or the one its place ends in."""
    parts = capture.place.split(".")
    return parts[2] if len(parts) == 3 else capture.panel


def known_sheets(state: ItemState) -> tuple[str, ...]:
    """Sheets of the gathering and, before it is described, those that pictures name."""
    named = {sheet_of(capture.place) for capture in state.captures.values()} - {""}
    described = state.gathering.sheets() if state.gathering else ()
    return described + tuple(sorted(named - set(described)))


def defect_views(state: ItemState, sheet: str = "") -> tuple[DefectView, ...]:
    """Defects on one sheet, or all of them."""
    return tuple(
        DefectView(
            entry.id,
            entry.place,
            place_words(entry.place),
            entry.term,
            entry.extent,
            entry.severity,
            entry.moment,
            entry.capture,
            entry.note,
            state.touched.get(entry.id, 0),
        )
        for entry in state.defects.values()
        if not sheet or sheet_of(entry.place) == sheet
    )


def grade_views(state: ItemState) -> tuple[GradeView, ...]:
    """The estimates before and after."""
    views = []
    for moment in ("before", "after"):
        key = f"grade.{moment}"
        held = state.grades.get(key)
        value = "" if held is None or held.value is None else str(held.value)
        words, by = (held.words, held.by) if held else ("", "")
        views.append(GradeView(moment, value, words, by, state.touched.get(key, 0)))
    return tuple(views)
