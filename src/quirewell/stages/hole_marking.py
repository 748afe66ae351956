"""Staple holes of each sheet: found in its scan, typed, or set right by dragging.

What a person set holds over what was found. Fields of the form: ``x.1``, ``y.1`` [mm], ``u.1``,
``size.1``, ``state.1`` for hole 1, and so on; a row without x and y is no hole, unless its state
says it is missing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.record.rejoining import HOLE_STATES, Hole, Holes
from quirewell.record.shapes import read_points
from quirewell.stages.hole_finding import METHOD
from quirewell.stages.hole_pictures import expected_holes
from quirewell.stages.hole_table import read_holes
from quirewell.stages.naming import sheet_words
from quirewell.stages.refusal import Problem, Refusal

STATES = tuple((state, state) for state in HOLE_STATES)
MOST_HOLES = 18
# A steel rule in half millimetres, read at the fold (or the edge) and at the hole: twice
# 0.5 / sqrt(12) in squares [jcgm100, 4.3.7].
RULE_U_MM = "0.2"
_FIELDS = ("x", "y", "u", "size", "state")


@dataclass(frozen=True, slots=True)
class HoleRow:
    """A row of a sheet's form: texts as typed or as found, and where it is in the picture."""

    number: int
    x: str
    y: str
    u: str
    size: str
    state: str


@dataclass(frozen=True, slots=True)
class HolesView:
    """A sheet's holes for its page: ``frame`` takes pixels of the picture to the sheet's frame
    [mm] as six numbers a b c d e f (x = a px + b py + c, y = d px + e py + f), empty where no
    picture was searched; ``by_hand`` when a person set them."""

    place: str
    name: str
    rows: tuple[HoleRow, ...]
    by_hand: bool
    known: bool
    touched: int
    capture: Capture | None
    run: Run | None
    frame: str
    warnings: tuple[str, ...]
    band: tuple[tuple[float, float], ...]


def view(state: ItemState, place: str) -> HolesView:
    """A sheet's holes: as a person set them, else as they were found in its newest scan."""
    held = state.holes.get(f"holes.{place}")
    run = found_in(state, place)
    capture = state.captures.get(run.inputs[0].ref) if run else None
    holes = held.holes if held else ()
    by_number = {hole.number: hole for hole in holes}
    count = max(expected_holes(state), *by_number, 0)
    begun = "" if capture else RULE_U_MM
    rows = tuple(_row(number, by_number.get(number), begun) for number in range(1, count + 1))
    drawing = run.drawing if run else {}
    return HolesView(
        place, sheet_words(place), rows, bool(held) and not (held and held.run), held is not None,
        state.touched.get(f"holes.{place}", 0), capture, run, drawing.get("frame", ""),
        run.warnings if run else (), tuple(read_points(drawing.get("band", ""))),
    )  # fmt: skip


def _row(number: int, hole: Hole | None, begun_u: str) -> HoleRow:
    if hole is None:
        return HoleRow(number, "", "", begun_u, "", "clean")
    return HoleRow(
        number, _text(hole.x_mm), _text(hole.y_mm), _text(hole.u_mm), _text(hole.size_mm),
        hole.state,
    )  # fmt: skip


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}".rstrip("0").rstrip(".")


def found_in(state: ItemState, place: str) -> Run | None:
    """The newest search for holes in a picture of a sheet; None where none was searched."""
    mine = [run for run in state.runs.values() if run.method == METHOD and run.subject == place]
    return max(mine, key=lambda run: state.touched.get(run.id, 0), default=None)


def mark_holes(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Keep a sheet's holes as a person set them.

    Raises:
        Refusal: no such sheet, a number that is none, a hole far off any sheet.
    """
    place = form.get("place", "")
    if state.gathering is None or place not in state.gathering.sheets():
        says = f"This item has no sheet {place!r}."
        raise Refusal((Problem("place", says),), values=dict(form))
    holes, problems = [], []
    for number in range(1, MOST_HOLES + 1):
        texts = {name: form.get(f"{name}.{number}", "").strip() for name in _FIELDS}
        missing = texts["state"] == "missing"
        if not (texts["x"] or texts["y"] or missing):
            continue
        try:
            holes.append(_hole(number, texts))
        except ValueError as error:
            problems.append(Problem(f"x.{number}", f"Hole {number}: {error}."))
    if problems:
        raise Refusal(tuple(problems), values=dict(form))
    if not holes:
        says = "Give at least one hole, in millimetres from the fold and from the head edge."
        raise Refusal((Problem("x.1", says),), values=dict(form))
    capture = form.get("capture", "")
    held = state.holes.get(f"holes.{place}")
    made = Holes(
        place, tuple(holes), capture if capture in state.captures else "", "",
        form.get("note", "").strip(),
    )  # fmt: skip
    return () if held == made else (Draft(state.id, "holes.marked", to_body(made)),)


def _hole(number: int, texts: Mapping[str, str]) -> Hole:
    if texts["state"] == "missing":
        return Hole(number, None, None, state="missing")
    body: dict[str, Any] = {"number": str(number), "state": texts["state"] or "clean"}
    for name, field, least, most in (
        ("x", "x_mm", -20.0, 20.0), ("y", "y_mm", 0.0, 600.0), ("u", "u_mm", 0.0, 5.0),
        ("size", "size_mm", 0.0, 20.0),
    ):  # fmt: skip
        text = texts[name].replace(",", ".").replace("\u2212", "-")
        if not text:
            continue
        try:
            value = float(text)
        except ValueError as error:
            raise ValueError(f"{texts[name]!r} is not a number of millimetres") from error
        if not least <= value <= most:
            raise ValueError(
                f"{field.removesuffix('_mm')} lies between {least:g} and {most:g} mm, got {text}"
            )
        body[field] = text
    return from_body(Hole, body)


def found(state: ItemState, body: dict[str, Any]) -> tuple[Draft, ...]:
    """Events that a finished search leaves: its run, and the holes where no person set them."""
    run = from_body(Run, body)
    drafts = [] if run.id in state.runs else [Draft(state.id, "run.recorded", body)]
    held = state.holes.get(f"holes.{run.subject}")
    holes = holes_of(run)
    if holes and (held is None or held.run):
        made = Holes(run.subject, holes, run.inputs[0].ref, run.id)
        if made != held:
            drafts.append(Draft(state.id, "holes.marked", to_body(made)))
    return tuple(drafts)


def holes_of(run: Run) -> tuple[Hole, ...]:
    """Holes of a search."""
    text = next((one.text for one in run.findings if one.quantity == "holes.rows"), "")
    if not text:
        return ()
    return tuple(
        Hole(one.number, one.x_mm, one.y_mm, one.u_mm, one.size_mm, one.state)
        for sheet in read_holes(text)
        for one in sheet.holes
    )


@dataclass(frozen=True, slots=True)
class SheetHoles:
    """A sheet's line in the list: what is known of its holes."""

    place: str
    name: str
    says: str


def listed(state: ItemState) -> tuple[SheetHoles, ...]:
    """Every sheet with what is known of its holes."""
    if state.gathering is None:
        return ()
    return tuple(
        SheetHoles(place, sheet_words(place), _says(state, place))
        for place in state.gathering.sheets()
    )


def _says(state: ItemState, place: str) -> str:
    held = state.holes.get(f"holes.{place}")
    if held is None:
        return "searched, none found" if found_in(state, place) else "not marked"
    by = "found in its picture" if held.run else "set by hand"
    counts = {
        one: sum(hole.state == one for hole in held.holes) for one in HOLE_STATES if one != "clean"
    }
    odd = [f"{count} {one}" for one, count in counts.items() if count]
    said = f"{len(held.holes)} hole{'s' * (len(held.holes) != 1)}, {by}"
    return f"{said}: {', '.join(odd)}" if odd else said


def starts(shown: HolesView) -> dict[int, tuple[float, float]]:
    """Where a ring begins in the picture [px] whose hole is not known: evenly one under another
    along what was searched, else along the middle of the picture."""
    numbers = [row.number for row in shown.rows]
    if len(shown.band) == 4:
        a, b, c, d = shown.band
        ends = max(
            ((_middle(a, b), _middle(c, d)), (_middle(b, c), _middle(d, a))),
            key=lambda pair: math.dist(*pair),
        )
    elif shown.capture is not None:
        x = shown.capture.width_px / 2
        ends = ((x, 0.0), (x, float(shown.capture.height_px)))
    else:
        return dict.fromkeys(numbers, (0.0, 0.0))
    top, bottom = sorted(ends, key=lambda end: end[1])
    shares = [place / (len(numbers) + 1) for place in range(1, len(numbers) + 1)]
    return {
        number: (top[0] + share * (bottom[0] - top[0]), top[1] + share * (bottom[1] - top[1]))
        for number, share in zip(numbers, shares, strict=True)
    }


def _middle(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return (one[0] + other[0]) / 2, (one[1] + other[1]) / 2
