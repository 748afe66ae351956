"""Examine: what the pictures and the eye say of each sheet, before and after.

Commands note defects, the owner's own estimate, what is still wrong, and margins; views give
the pages of one sheet with pictures, measured values and defects.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from quirewell.record import nouns
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, Defect, ItemState
from quirewell.stages.asking import Asked, ask
from quirewell.stages.naming import page_number, place_words, sheet_of, sheet_pages, sheet_words
from quirewell.stages.refusal import Problem, Refusal

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
    findings = tuple(ask(finding, run, state) for finding in run.findings) if run else ()
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
        run is not None,
        state.touched.get(capture.id, 0),
    )


def latest_measure(state: ItemState, capture: Capture) -> Run | None:
    """The last recorded measurement of a picture, or None."""
    found = [
        run
        for run in state.runs.values()
        if run.method == MEASURE and any(entry.ref == capture.id for entry in run.inputs)
    ]
    return max(found, key=lambda run: state.touched.get(run.id, 0), default=None)


def measurable(capture: Capture) -> bool:
    """Whether a picture is a scan of a sheet, which the measuring method can take."""
    return bool(sheet_of(capture.place)) and capture.view == "scan"


def unmeasured(state: ItemState) -> tuple[Capture, ...]:
    """Scans of sheets that have no measurement yet, in the order they came in."""
    return tuple(
        capture
        for capture in state.captures.values()
        if measurable(capture) and latest_measure(state, capture) is None
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


# --- commands ---------------------------------------------------------------------------


def note_defect(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Note a defect, or change the one whose ``id`` the form carries.

    Raises:
        Refusal: no term, or a place that is not on the object.
    """
    term = form.get("term", "").strip() or form.get("other_term", "").strip()
    if not term:
        raise _refuse(form, "term", "Choose or write a word for the defect.")
    known = form.get("id", "")
    if known and known not in state.defects:
        raise _refuse(form, "term", "This defect was set aside meanwhile; note it anew.")
    capture = form.get("capture", "")
    if capture and capture not in state.captures:
        raise _refuse(form, "capture", "That picture is not in this item; choose another or none.")
    return _draft(
        state,
        form,
        "defect.noted",
        Defect,
        id=known or f"defect-{state.version + 1}",
        place=form.get("place", "") or "item",
        term=term,
        extent=form.get("extent", ""),
        severity=form.get("severity") or "moderate",
        moment=form.get("moment") or "before",
        capture=capture,
        note=form.get("note", ""),
    )


def estimate_grade(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """The owner's own estimate before or after, as a number, words, or both.

    Raises:
        Refusal: neither number nor words, or a number off the ten-point scale.
    """
    value = decimal_or_none(form, "value")
    if value is None and not form.get("words", "").strip():
        raise _refuse(form, "value", "Give a number from 0.5 to 10, or a few words, or both.")
    return _draft(
        state,
        form,
        "grade.estimated",
        nouns.GradeEstimate,
        moment=form.get("moment") or "before",
        value=value,
        words=form.get("words", ""),
        by=form.get("by", ""),
    )


def note_remaining(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """What is still wrong after treatment.

    Raises:
        Refusal: no words.
    """
    words = form.get("words", "").strip()
    if not words:
        raise _refuse(form, "words", "Say in a few words what is still wrong.")
    return _draft(
        state,
        form,
        "remaining.noted",
        nouns.Remaining,
        id=form.get("id") or f"remaining-{state.version + 1}",
        place=form.get("place", "") or "item",
        words=words,
    )


def retract(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Set a defect or a remaining fault aside; it stays in the journal.

    Raises:
        Refusal: there is no such record.
    """
    known = form.get("id", "")
    if known not in state.defects and known not in state.remaining:
        raise _refuse(form, "id", "That record is already set aside.")
    return _draft(
        state, form, "record.retracted", nouns.Retract, id=known, reason=form.get("reason", "")
    )


def lock_margin(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Lock an equivalence margin before measuring; it cannot be moved afterwards.

    Raises:
        Refusal: no number, not above zero, or locked already.
    """
    quantity = form.get("quantity") or "change.width_pct"
    if f"margin.{quantity}" in state.margins:
        raise _refuse(form, "value", "This margin is locked already and cannot be moved.")
    value = decimal_or_none(form, "value")
    if value is None or value <= 0:
        raise _refuse(form, "value", "Give the largest change you would still call none, above 0.")
    return _draft(
        state,
        form,
        "margin.locked",
        nouns.Margin,
        quantity=quantity,
        value=value,
        unit=form.get("unit") or "%",
        reason=form.get("reason", ""),
    )


def decimal_or_none(form: Mapping[str, str], name: str) -> Decimal | None:
    """The number in a field as typed (a comma counts as a point); None when left empty.

    Raises:
        Refusal: when it is not a number.
    """
    text = form.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        number = Decimal(text)
    except InvalidOperation as error:
        raise _refuse(form, name, f"{form[name]!r} is not a number; write it as 7.5.") from error
    if not number.is_finite():
        raise _refuse(form, name, f"{form[name]!r} is not a number; write it as 7.5.")
    return number


def _draft(
    state: ItemState, form: Mapping[str, str], kind: str, noun: type, **values: Any
) -> tuple[Draft, ...]:
    try:
        body = to_body(noun(**values))
        made: Any = from_body(noun, body)
        if getattr(made, "place", ""):
            nouns.check_place(made.place)
    except ValueError as error:
        raise _refuse(form, "place" if "place" in str(error) else "value", f"{error}.") from error
    return (Draft(state.id, kind, body),)


def _refuse(form: Mapping[str, str], field: str, says: str) -> Refusal:
    return Refusal((Problem(field, says),), values=dict(form))
