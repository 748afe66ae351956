"""Setting a measurement right by hand: corners, parts left out, the ground, proposed tears.

A correction is an event; the next measurement takes it as parameters, and the run that was
made without it stays in the record. Undone, the earlier run speaks again.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, Correction, ItemState
from quirewell.record.shapes import (
    Point,
    area_px,
    read_corners,
    read_points,
    read_shapes,
    write_corners,
    write_points,
    write_shapes,
)
from quirewell.stages.refusal import no

METHOD, COMPARE = "leaf.measure", "pair.compare"
# What of a correction the method takes; which tears are none is said of its findings.
PARAMS = ("corners", "ignore", "ground")
COMPARE_PARAMS = ("ignore_before", "ignore_after")
CORNERS = ("Upper left", "Upper right", "Lower right", "Lower left")
GROUNDS = (
    ("", "as found"),
    ("dark", "dark: the leaf lies on something darker than its paper"),
    ("light", "light: the leaf lies on something lighter than its paper"),
)
TEAR = "tear "
# A corner may lie a little outside the picture when the paper runs out of it.
_OUTSIDE_PX = 200.0
_MOST_LEFT_OUT = 0.7


def key_of(capture: str) -> str:
    """Id of the correction of a picture."""
    return f"correction.{capture}"


def correction_of(state: ItemState, capture: str) -> Correction | None:
    """What a person set right on a picture, or None."""
    return state.corrections.get(key_of(capture))


def correction_params(state: ItemState, capture: str) -> dict[str, str]:
    """The correction of a picture as the measuring method takes it; empty when there is none."""
    held = correction_of(state, capture)
    if held is None:
        return {}
    return {name: text for name in PARAMS if (text := getattr(held, name))}


def compare_correction(state: ItemState, captures: Mapping[str, str]) -> dict[str, str]:
    """What was painted out of the pictures of a pair (ids by role), as the comparison takes it."""
    found = {}
    for role, capture in captures.items():
        held = correction_of(state, capture)
        if held is not None and held.ignore:
            found[f"ignore_{role}"] = held.ignore
    return found


def fits(state: ItemState, run: Run) -> bool:
    """Whether a run was made with the correction that holds now (or with none, as now)."""
    captures = {entry.role: entry.ref for entry in run.inputs}
    if run.method == METHOD:
        wanted = correction_params(state, captures.get("image", ""))
        names: tuple[str, ...] = PARAMS
    elif run.method == COMPARE:
        names, wanted = COMPARE_PARAMS, compare_correction(state, captures)
    else:
        return True
    return all(run.params.get(name, "") == wanted.get(name, "") for name in names)


def standing(state: ItemState, run: Run) -> tuple[bool, int]:
    """Sorting key of runs: those made with the correction that holds last, then the latest."""
    return fits(state, run), state.touched.get(run.id, 0)


def correct_measuring(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Set right what was measured on ``capture``.

    Form fields: ``corner_1`` to ``corner_4`` as "across, down" in pixels, empty for one that may
    stay as found; ``ignore``; ``ground``; ``note``; "tear x,y" for each tear proposed: "yes",
    "no" or "".

    Raises:
        Refusal: no such picture, or corners and parts that cannot be.
    """
    capture = state.captures.get(form.get("capture", ""))
    if capture is None:
        raise no(form, "capture", "That picture is not in this item (any more).")
    corners = _corners(state, form, capture)
    ground = form.get("ground", "")
    if ground not in ("", "dark", "light"):
        raise no(form, "ground", f"The ground is dark or light, got {ground!r}.")
    answers = {
        name.removeprefix(TEAR): said for name, said in form.items() if name.startswith(TEAR)
    }
    try:
        noun = Correction(
            capture.id,
            write_corners(corners),
            write_shapes(_left_out(form, capture)),
            ground,  # type: ignore[arg-type]
            tuple(at for at, said in answers.items() if said == "no"),
            tuple(at for at, said in answers.items() if said == "yes"),
            form.get("note", "").strip()[:400],
        )
    except ValueError as error:
        raise no(form, "ignore", f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    if noun == (correction_of(state, capture.id) or Correction(capture.id)):
        raise no(form, "corner_1", "Nothing was changed, so there is nothing to measure again.")
    return (Draft(state.id, "measuring.corrected", to_body(noun)),)


def form_of(held: Correction) -> dict[str, str]:
    """A correction as its form shows it, by field."""
    fields = {"capture": held.capture}
    for number, point in enumerate(read_corners(held.corners), 1):
        fields[f"corner_{number}"] = corner_text(point) if point else ""
    said = dict.fromkeys(held.no_tears, "no") | dict.fromkeys(held.tears, "yes")
    return {
        **fields,
        "ignore": held.ignore,
        "ground": held.ground,
        "note": held.note,
        **{f"{TEAR}{at}": answer for at, answer in said.items()},
    }


def corner_text(point: Point) -> str:
    """A corner as a person reads it: "120.5, 84"."""
    return write_points((point,)).replace(",", ", ")


def corrected_words(held: Correction) -> tuple[str, ...]:
    """What was set right, in words."""
    parts = len(read_shapes(held.ignore))
    said = []
    corners = [name for name, at in zip(CORNERS, read_corners(held.corners), strict=False) if at]
    if corners:
        names = " and ".join([", ".join(corners[:-1]), corners[-1]] if corners[1:] else corners)
        said.append(f"{names.lower()} corner{'s' * (len(corners) > 1)} set by hand")
    if parts:
        said.append(f"{parts} {'part' if parts == 1 else 'parts'} of the picture left out")
    if held.ground:
        said.append(f"the ground was said to be {held.ground}")
    if held.no_tears:
        count = len(held.no_tears)
        said.append(f"{count} {'line' if count == 1 else 'lines'} said to be no tear")
    if held.tears:
        said.append(f"{len(held.tears)} {'tear' if len(held.tears) == 1 else 'tears'} confirmed")
    return tuple(said or ["everything is as it was found"])


def found_corners(state: ItemState, capture: str) -> tuple[Point, ...]:
    """Corners of the leaf as the measurement without a correction found them; maybe none."""
    runs = [
        run
        for run in state.runs.values()
        if run.method == METHOD and any(entry.ref == capture for entry in run.inputs)
    ]
    bare = [run for run in runs if not any(run.params.get(name) for name in PARAMS)]
    latest = max(bare or runs, key=lambda run: state.touched.get(run.id, 0), default=None)
    return read_points(latest.drawing.get("outline", "")) if latest else ()


def _corners(
    state: ItemState, form: Mapping[str, str], capture: Capture
) -> tuple[Point | None, ...]:
    fields = [f"corner_{number}" for number in range(1, 5)]
    given = tuple(
        _corner(form, field, name, capture) for field, name in zip(fields, CORNERS, strict=True)
    )
    there = found_corners(state, capture.id) or (None,) * 4
    whole = tuple(one or other for one, other in zip(given, there, strict=True))
    points = tuple(point for point in whole if point is not None)
    if any(given) and len(points) == 4 and not _convex(points):
        moved = fields[next(at for at, point in enumerate(given) if point)]
        raise no(
            form,
            moved,
            "The four corners do not go round a leaf clockwise from the upper left (they lie on "
            "a line, or two of them changed places). Put them back in their order.",
        )
    return given


def _corner(form: Mapping[str, str], field: str, name: str, capture: Capture) -> Point | None:
    text = form.get(field, "").strip()
    if not text:
        return None
    try:
        x, y = (float(part) for part in text.replace(";", " ").replace(",", " ").split())
    except ValueError:
        says = f"{name} corner: write pixels across and down, as in 120.5, 84; got {text!r}."
        raise no(form, field, says) from None
    sides = ((x, capture.width_px), (y, capture.height_px))
    if not all(-_OUTSIDE_PX <= value <= side + _OUTSIDE_PX for value, side in sides):
        raise no(
            form,
            field,
            f"{name} corner: {text} lies far outside the picture, which is {capture.width_px} "
            f"pixels wide and {capture.height_px} high.",
        )
    return x, y


def _convex(points: tuple[Point, ...]) -> bool:
    """Whether four points go round clockwise (y down) without a crossing or a dent."""
    round_once = (*points, *points[:2])
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(round_once)]
    turns = [one[0] * two[1] - one[1] * two[0] for one, two in pairwise(steps)]
    upper_left_first = points[0][0] + points[0][1] < points[2][0] + points[2][1]
    return min(turns) > 0 and area_px(points) >= 100.0 and upper_left_first


def _left_out(form: Mapping[str, str], capture: Capture) -> tuple[tuple[Point, ...], ...]:
    try:
        shapes = read_shapes(form.get("ignore", ""))
    except ValueError as error:
        raise no(form, "ignore", f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    within = tuple(tuple(_clip(point, capture) for point in shape) for shape in shapes)
    share = sum(area_px(shape) for shape in within) / (capture.width_px * capture.height_px)
    if share > _MOST_LEFT_OUT:
        raise no(
            form,
            "ignore",
            f"{100 * share:.0f} % of the picture would be left out, which leaves too little to "
            "measure. Take a part back, or scan the leaf again.",
        )
    return within


def _clip(point: Point, capture: Capture) -> Point:
    x, y = point
    return min(max(x, 0.0), float(capture.width_px)), min(max(y, 0.0), float(capture.height_px))
