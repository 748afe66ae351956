"""The centrefold board: a board for the middle of the pamphlet, cut out round the staples.

Drawn at 1:1 from the innermost sheet's holes. A page board goes into the closed fold; its slots
are open towards the fold, so that it fits either way up. A spread board lies on the open centre,
the sheet's inner side up: it is drawn the other way round than holes are recorded.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from quirewell.report.tiled import (
    Drawing,
    Line,
    Notice,
    Part,
    Ring,
    Words,
    cross,
    outline,
    the_sheet,
    tiled_pdf,
)
from quirewell.report.tiling import Box
from quirewell.science.booklet.holes import HoleAt, Sheet

# How far cut lines run past a corner [mm].
_PAST_MM = 2.0
_LIMITS = {
    "margin_mm": (0.0, 60.0, "margin"),
    "fold_mm": (0.0, 20.0, "gap at the fold"),
    "slot_mm": (2.0, 60.0, "width of a slot"),
    "past_mm": (0.5, 40.0, "length of a slot past the legs"),
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """The board asked for [mm]; every default is common practice, no source.

    ``page_mm`` (width, height) where no edges are known or others are wanted; ``margin_mm`` less
    than the page on each side, ``fold_mm`` less at the fold; ``slot_mm`` across a slot, half of it
    on either side of the fold; ``past_mm`` beyond the outermost leg; ``spread``: both pages.
    """

    page_mm: tuple[float, float] | None = None
    margin_mm: float = 3.0
    fold_mm: float = 0.5
    slot_mm: float = 8.0
    past_mm: float = 4.0
    spread: bool = False

    def __post_init__(self) -> None:
        for name, (low, high, says) in _LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"the {says} lies between {low:g} and {high:g} mm, got {value:g}")
        if self.page_mm is not None and not all(40 <= one <= 1000 for one in self.page_mm):
            raise ValueError(
                f"a page is 40 to 1000 mm wide and high, got {self.page_mm[0]:g} x "
                f"{self.page_mm[1]:g} mm"
            )


@dataclass(frozen=True, slots=True)
class Slot:
    """What is cut out round the legs of one staple or of several that lie close [mm]."""

    staples: tuple[int, ...]
    box: Box


@dataclass(frozen=True, slots=True)
class Relief:
    """The board's outline and slots [mm] as it lies, x from the fold, y from the head edge;
    ``holes`` it was drawn from and, in ``notes``, what was taken from elsewhere."""

    board: Box
    slots: tuple[Slot, ...]
    holes: tuple[HoleAt, ...]
    notes: tuple[str, ...]


def relief(sheets: Sequence[Sheet], wanted: Wanted | None = None) -> Relief:
    """The board for sheets given the outermost first.

    Raises:
        ValueError: no holes, no page size, a staple of which too little is known, a slot that
            would leave the board.
    """
    wanted = wanted or Wanted()
    holes, notes = _holes(sheets)
    if wanted.spread:
        holes = [replace(one, x_mm=-(one.x_mm or 0.0)) for one in holes]
    board = _board(sheets, wanted)
    slots = _slots(holes, board, wanted, notes)
    return Relief(board, slots, tuple(holes), tuple(notes))


def _holes(sheets: Sequence[Sheet]) -> tuple[list[HoleAt], list[str]]:
    """The innermost sheet's holes; one missing there from the next sheet outwards that has it."""
    found: dict[int, HoleAt] = {}
    notes = []
    for away, sheet in enumerate(reversed(sheets)):
        for one in sheet.holes:
            if one.state == "missing" or one.x_mm is None or one.number in found:
                continue
            found[one.number] = one
            if away:
                notes.append(
                    f"Hole {one.number} was taken from {the_sheet(sheet.name)}: it is "
                    f"missing in {the_sheet(sheets[-1].name)}."
                )
    if not found:
        raise ValueError("no sheet has a hole that can be used; measure or mark some first")
    return [found[number] for number in sorted(found)], notes


def _board(sheets: Sequence[Sheet], wanted: Wanted) -> Box:
    edges = [one.edges for one in reversed(sheets) if one.edges is not None]

    def known(name: str) -> float | None:
        return next((value for one in edges if (value := getattr(one, name)) is not None), None)

    head, tail = known("head_mm"), known("tail_mm")
    left, right = known("left_mm"), known("right_mm")
    if wanted.page_mm is not None:
        width, height = wanted.page_mm
        head = head or 0.0
        tail, left, right = head + height, -width, width
    if head is None or tail is None or (left is None and right is None):
        raise ValueError(
            "the table does not say how large a page is (left_mm, right_mm, head_mm, tail_mm); "
            "give its width and height, as 184x260"
        )
    left = -right if left is None else left  # type: ignore[operator]
    right = -left if right is None else right
    less = wanted.margin_mm
    if wanted.spread:
        board = Box(-right + less, head + less, -left - less, tail - less)
    else:
        board = Box(wanted.fold_mm, head + less, min(-left, right) - less, tail - less)
    if board.width < 20 or board.height < 20:
        raise ValueError(
            f"a board of {board.width:.0f} x {board.height:.0f} mm is left; ask for less margin, "
            "or look for a wrong edge in the table"
        )
    return board


def _slots(
    holes: Sequence[HoleAt], board: Box, wanted: Wanted, notes: list[str]
) -> tuple[Slot, ...]:
    staples: dict[int, list[HoleAt]] = {}
    for one in holes:
        staples.setdefault(one.staple, []).append(one)
    spans = [abs(_y(two[1]) - _y(two[0])) for two in staples.values() if len(two) == 2]
    found: list[Slot] = []
    for number, legs in sorted(staples.items()):
        low, high = min(map(_y, legs)), max(map(_y, legs))
        if len(legs) == 1:
            if not spans:
                raise ValueError(
                    f"of staple {number} only hole {legs[0].number} is known, and of no other "
                    "staple both; give the other hole, so that the length of the slot is known"
                )
            low, high = low - max(spans), high + max(spans)
            notes.append(
                f"Of staple {number} only hole {legs[0].number} is known: its slot reaches a "
                "staple's length to both sides."
            )
        xs = [one.x_mm or 0.0 for one in legs]
        half = wanted.slot_mm / 2
        if wanted.spread:
            box = Box(min(xs) - half, low - wanted.past_mm, max(xs) + half, high + wanted.past_mm)
        else:
            deep = half + max(abs(x) for x in xs)
            box = Box(board.x0, low - wanted.past_mm, deep, high + wanted.past_mm)
        if box.y0 < board.y0 + 1 or box.y1 > board.y1 - 1 or box.x1 > board.x1 - 1:
            raise ValueError(
                f"the slot of staple {number} ({box.y0:.1f} to {box.y1:.1f} mm from the head, "
                f"{box.x1:.1f} mm from the fold) would leave the board ({board.y0:.1f} to "
                f"{board.y1:.1f} mm, {board.x1:.1f} mm); look at its holes, or ask for less past "
                "the legs"
            )
        if found and box.y0 <= found[-1].box.y1:
            was = found.pop()
            merged = Box(
                min(was.box.x0, box.x0), was.box.y0,
                max(was.box.x1, box.x1), max(was.box.y1, box.y1),
            )  # fmt: skip
            found.append(Slot((*was.staples, number), merged))
        else:
            found.append(Slot((number,), box))
    return tuple(found)


def _y(hole: HoleAt) -> float:
    assert hole.y_mm is not None
    return hole.y_mm


def relief_drawing(made: Relief, wanted: Wanted | None = None) -> Drawing:
    """The board with cut lines, slots and the holes they were drawn round."""
    wanted = wanted or Wanted()
    lines = list(_cuts(made, wanted.spread))
    words = [
        Words(slot.box.x1 + 2.0, (slot.box.y0 + slot.box.y1) / 2, f"cut out: {_named(slot)}")
        for slot in made.slots
    ]
    rings = []
    for hole in made.holes:
        x = hole.x_mm or 0.0
        lines += cross("hair", x, _y(hole), 1.5)
        rings.append(Ring("sight", x, _y(hole), 0.6))
    top, bottom = made.board.y0 - 3 * _PAST_MM, made.board.y1 + 3 * _PAST_MM
    if wanted.spread:
        lines.append(Line("fold", 0.0, top, 0.0, bottom))
    else:  # Only its ends: the board's own edge lies beside it.
        lines.append(Line("fold", 0.0, top, 0.0, made.board.y0))
        lines.append(Line("fold", 0.0, made.board.y1, 0.0, bottom))
    middle = (max(made.board.x0, 0.0) + made.board.x1) / 2
    words += [
        Words(middle, made.board.y0 + 6.0, "↑ head", "middle"),
        Words(6.0, made.board.y0 + 6.0, "this side into the fold" if not wanted.spread else "fold"),
        Words(middle, made.board.y1 - 6.0, "tail", "middle"),
    ]
    box = Box(
        min(made.board.x0, 0.0, *(hole.x_mm or 0.0 for hole in made.holes)), made.board.y0,
        made.board.x1, made.board.y1,
    ).grown(2.5 * _PAST_MM)  # fmt: skip
    return Drawing(
        box, tuple(lines), tuple(rings), tuple(words),
        f"Board {made.board.width:.1f} x {made.board.height:.1f} mm with "
        + " and ".join(
            f"a slot for {_named(slot)} {slot.box.y0:.1f} to {slot.box.y1:.1f} mm from the head"
            for slot in made.slots
        )
        + ".",
        (*(line.box() for line in lines if line.kind != "fold"), *(word.box() for word in words)),
    )  # fmt: skip


def _named(slot: Slot) -> str:
    numbers = " and ".join(map(str, slot.staples))
    return f"staple{'s' if len(slot.staples) > 1 else ''} {numbers}"


def _cuts(made: Relief, spread: bool) -> Iterator[Line]:
    """The lines to cut along: the outline, past its corners, and every slot."""
    board = made.board
    for y in (board.y0, board.y1):
        yield Line("cut", board.x0 - _PAST_MM, y, board.x1 + _PAST_MM, y)
    yield Line("cut", board.x1, board.y0 - _PAST_MM, board.x1, board.y1 + _PAST_MM)
    if spread:
        yield Line("cut", board.x0, board.y0 - _PAST_MM, board.x0, board.y1 + _PAST_MM)
        for slot in made.slots:
            yield from outline("cut", slot.box)
        return
    at = board.y0 - _PAST_MM
    for slot in made.slots:
        box = slot.box
        yield Line("cut", board.x0, at, board.x0, box.y0)
        yield Line("cut", board.x0, box.y0, box.x1, box.y0)
        yield Line("cut", box.x1, box.y0, box.x1, box.y1)
        yield Line("cut", box.x1, box.y1, board.x0, box.y1)
        at = box.y1
    yield Line("cut", board.x0, at, board.x0, board.y1 + _PAST_MM)


def relief_board_sheet(
    sheets: Sequence[Sheet],
    title: str,
    paper: str = "a4",
    wanted: Wanted | None = None,
    wire_mm: float = 0.5,
) -> bytes:
    """The board's template as PDF: a page that says how to use it, then one to every tile, at 1:1.

    Raises:
        ValueError: see :func:`relief`; a paper not known, too many pages, a wire that is none.
        ReportError: the typesetter refused.
    """
    wanted = wanted or Wanted()
    if not 0.1 <= wire_mm <= 2:
        raise ValueError(f"a staple's wire is 0.1 to 2 mm thick, got {wire_mm:g}")
    made = relief(sheets, wanted)
    return tiled_pdf(relief_drawing(made, wanted), _notice(made, wanted, title, wire_mm), paper)


def _notice(made: Relief, wanted: Wanted, title: str, wire_mm: float) -> Notice:
    if wanted.spread:
        lead = (
            "A board to lie on the open centre of the pamphlet, both pages, with slots over the "
            "staples' legs, so that they are not pressed into the paper. Drawn as it lies, printed "
            "side up, the front half on the left."
        )
    else:
        lead = (
            "A board to stand in the centrefold of the closed pamphlet, cut out at the fold round "
            "the staples' legs, so that they are not pressed into the paper. It fits either way "
            "round; its head end stays at the head."
        )
    said = (
        f"Margins ({wanted.margin_mm:g} mm, at the fold {wanted.fold_mm:g} mm), the slots' "
        f"{wanted.slot_mm:g} mm across the fold and {wanted.past_mm:g} mm past the legs are common "
        "practice, no source."
    )
    return Notice(
        "Centrefold board",
        title,
        lead,
        (
            "Try the board before any weight: slide it in and look that no leg touches it. A leg "
            "pressed through a leaf tears it.",
            "Cut far from the item; brush off crumbs and smooth the cut edges before the board "
            "goes in.",
            "Clean, dry board free of acid only; the paper over a slot lies hollow, so no weight "
            "or heat is put on that place.",
        ),
        (
            "A blade cuts fingers: a sharp blade, a steel rule with a guard, a cutting mat, many "
            "light strokes, the other hand never before the blade.",
        ),
        (
            Part(
                "Cutting the board",
                (
                    "Tape the checked pages to the board. The dash-dotted line is the fold, no "
                    "cut.",
                    "Cut the ends of the slots first, then along them, then the outline. Round "
                    "the corners a little.",
                    f"Thickness: a leg bent flat stands at least one wire, {wire_mm:g} mm, off "
                    "the paper. Measure the tallest leg and take board at least that thick, or "
                    "lay thinner boards together (common practice, no source).",
                    "Legs bent outwards, away from each other, need slots longer by the length "
                    "of a leg: ask for more past the legs.",
                    said,
                    *made.notes,
                ),
            ),
            Part(
                "The slots",
                columns=("Staple", "from the head", "from the fold"),
                rows=tuple(
                    (
                        " and ".join(map(str, slot.staples)),
                        f"{slot.box.y0:.1f} to {slot.box.y1:.1f} mm",
                        f"{-slot.box.x0:.1f} mm left to {slot.box.x1:.1f} mm right"
                        if wanted.spread
                        else f"{slot.box.x1:.1f} mm deep",
                    )
                    for slot in made.slots
                ),
            ),
            Part(
                "The board",
                columns=("Board", "size"),
                rows=(
                    ("across", f"{made.board.width:.1f} mm"),
                    ("head to tail", f"{made.board.height:.1f} mm"),
                ),
            ),
        ),
        "Cut along full lines only.",
    )
