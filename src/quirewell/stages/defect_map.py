"""The view of a page's damage: its picture, what was noted on it, and what is proposed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from quirewell.record.nouns import Capture, Defect, ItemState
from quirewell.record.regions import Region, read_region
from quirewell.record.shapes import MOST_POINTS, write_points
from quirewell.stages.drawn import Layer, Mark
from quirewell.stages.examine import known_sheets
from quirewell.stages.naming import page_number, sheet_words
from quirewell.stages.page_frame import PageFrame, framed, page_size
from quirewell.stages.proposing import Proposal, page_pictures, proposals

HALVES = (("outer", "left"), ("outer", "right"), ("inner", "left"), ("inner", "right"))
MOMENTS = ("before", "after")
TORN = ("tear", "spine split", "staple pull", "detached leaf")
MISSING = ("loss", "insect damage", "missing leaf", "clipped coupon", "brittle edge")
CREASED = ("crease", "colour-breaking crease", "corner crease", "fold", "stress line", "cockling")
STAINED = ("tideline", "foxing", "rust stain", "stain", "tanned margin", "mould")
SURFACE = ("soiling", "ink rub", "abrasion", "offset", "ghosting", "fading")
ADDED = ("writing", "old tape", "stamp", "label remains", "earlier mend")
# Layer, its name, how it is drawn (the style sheet has the line by the key), its words.
GROUPS: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("torn", "Tears and splits", "a thick line", TORN),
    ("missing", "Missing", "hatched, a thin rim", MISSING),
    ("creased", "Creases and folds", "dash and dot", CREASED),
    ("stained", "Stains", "a row of dots", STAINED),
    ("surface", "Surface", "short dashes", SURFACE),
    ("added", "Added by others", "long dashes", ADDED),
)
OTHER = ("other", "In your own word", "a thin double line")
PROPOSED = ("proposed", "Proposed", "long and short dashes, lettered; counted nowhere")
TERMS = tuple(term for *_, terms in GROUPS for term in terms)
KINDS = (
    ("line", "Line", "a tear, a crease, an edge"),
    ("polygon", "Area", "a loss, a stain"),
    ("point", "Point", "a spot, a hole, a place"),
)


@dataclass(frozen=True, slots=True)
class Choice:
    """One page of the sheet at one moment, with the number of defects and proposals on it."""

    name: str
    path: str
    now: bool
    says: str


@dataclass(frozen=True, slots=True)
class Marked:
    """A defect of the page as listed: ``label`` as written beside it in the picture."""

    id: str
    label: str
    term: str
    severity: str
    extent: str
    where: str
    placed: str
    note: str
    proposed: bool
    touched: int


@dataclass(frozen=True, slots=True)
class Offered:
    """A proposal as listed, with the letter it has in the picture."""

    id: str
    label: str
    term: str
    extent: str
    where: str
    sure: str
    why: str
    touched: int


@dataclass(frozen=True, slots=True)
class Rejected:
    """A proposal said to be none: what, where, and the note."""

    id: str
    says: str
    note: str


@dataclass(frozen=True, slots=True)
class DamageView:
    """Everything the page shows. ``frame`` is nine numbers, pixels to millimetres, or empty;
    ``values`` fill the form."""

    sheet: str
    page: str
    moment: str
    title: str
    choices: tuple[Choice, ...]
    picture: Capture | None
    pictures: tuple[tuple[str, str], ...]
    frame: str
    size: tuple[float, float] | None
    says: str
    layers: tuple[Layer, ...]
    marked: tuple[Marked, ...]
    offered: tuple[Offered, ...]
    rejected: tuple[Rejected, ...]
    values: Mapping[str, str]
    editing: str
    touched: int


def damage_view(
    state: ItemState,
    sheet: str,
    side: str,
    half: str,
    moment: str,
    *,
    picture: str = "",
    edit: str = "",
    typed: Mapping[str, str] | None = None,
) -> DamageView:
    """The damage of one page at one moment; ``edit`` names a defect or a proposal whose values
    begin the form, ``typed`` what was sent and not taken.

    Raises:
        KeyError: no such sheet, page, moment or picture.
    """
    if sheet not in known_sheets(state) or (side, half) not in HALVES or moment not in MOMENTS:
        raise KeyError(sheet)
    page = f"{sheet}.{side}.{half}"
    shown = page_pictures(state, page, moment)
    capture = next((one for one in shown if one.id == picture), shown[0] if shown else None)
    if picture and (capture is None or capture.id != picture):
        raise KeyError(picture)
    found = framed(state, page, capture) if capture else None
    frame = found.frame if found else None
    open_ones = proposals(state, page, capture) if capture else ()
    noted = _noted(state, page, moment)
    values = {**_begun(state, noted, open_ones, edit), **(typed or {})}
    record = values.get("id", "") or values.get("proposal", "")
    return DamageView(
        sheet,
        page,
        moment,
        page_title(state, page),
        _choices(state, sheet, page, moment),
        capture,
        tuple((one.id, one.filename) for one in shown),
        " ".join(f"{one:.12g}" for one in frame.to_mm) if frame else "",
        _size(state, frame),
        found.says if found else _no_picture(state, moment),
        _layers(noted, open_ones, frame),
        tuple(_marked(state, one, number) for number, one in enumerate(noted, 1)),
        tuple(_offered(state, one, number) for number, one in enumerate(open_ones)),
        _rejected(state, page, moment),
        values,
        _editing(record, noted, open_ones),
        state.touched.get(record, 0),
    )


def damage_path(state_id: str, page: str, moment: str) -> str:
    """Address of a page's damage."""
    sheet, side, half = page.split(".")
    return f"/item/{state_id}/examine/{sheet}/damage/{side}/{half}/{moment}"


def first_page(state: ItemState, sheet: str) -> tuple[str, str]:
    """The page and moment shown first: the first that has a picture, outer right before others
    (the page that is read first).

    Raises:
        KeyError: no such sheet.
    """
    if sheet not in known_sheets(state):
        raise KeyError(sheet)
    order = [f"{sheet}.outer.right", *(f"{sheet}.{side}.{half}" for side, half in HALVES)]
    for moment in MOMENTS:
        for page in order:
            if page_pictures(state, page, moment):
                return page, moment
    return order[0], "before"


def page_title(state: ItemState, page: str) -> str:
    """A page in words, with its number where the gathering gives one."""
    number = page_number(page, state.gathering) if state.gathering else None
    sheet, side, half = page.split(".")
    named = f"{sheet_words(sheet)}, {side} side, {half}"
    return f"{named} (page {number})" if number is not None else named


def group_of(term: str) -> str:
    """The layer a term is drawn in."""
    word = term.strip().lower()
    return next((key for key, *_, terms in GROUPS if word in terms), OTHER[0])


def region_words(region: Region) -> str:
    """Where a region lies, in millimetres from the upper left corner of the page."""
    points = [point for shape in region.shapes for point in shape]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    if len(points) == 1:
        return f"{xs[0]:.0f} mm from the left, {ys[0]:.0f} mm down"
    return f"{_span(min(xs), max(xs))} from the left, {_span(min(ys), max(ys))} down"


def _span(low: float, high: float) -> str:
    if round(low) == round(high):
        return f"{max(low, 0):.0f} mm"
    return f"{max(low, 0):.0f} to {high:.0f} mm"


def _noted(state: ItemState, page: str, moment: str) -> list[Defect]:
    """Defects of the page at the moment, those with a place first, as they were noted."""
    mine = [one for one in state.defects.values() if one.place == page and one.moment == moment]
    return sorted(mine, key=lambda one: not one.region)


def _begun(
    state: ItemState, noted: list[Defect], open_ones: tuple[Proposal, ...], edit: str
) -> dict[str, str]:
    for one in noted:
        if one.id == edit:
            kind, _, points = one.region.partition(" ")
            listed = one.term in TERMS
            return {
                "id": one.id, "kind": kind, "points": points, "extent": one.extent,
                "term": one.term if listed else "", "other_term": "" if listed else one.term,
                "severity": one.severity, "note": one.note,
            }  # fmt: skip
    for prop in open_ones:
        if prop.id == edit:
            points = "; ".join(
                " ".join(f"{x:g},{y:g}" for x, y in shape) for shape in prop.region.shapes
            )
            listed = prop.term in TERMS
            return {
                "proposal": prop.id, "kind": prop.region.kind, "points": points,
                "term": prop.term if listed else "", "other_term": "" if listed else prop.term,
            }  # fmt: skip
    return {}


def _editing(record: str, noted: list[Defect], open_ones: tuple[Proposal, ...]) -> str:
    """What the form changes, in words; empty for a new defect."""
    for number, one in enumerate(noted, 1):
        if one.id == record:
            return f"Change {number}: {one.term}"
    for number, prop in enumerate(open_ones):
        if prop.id == record:
            return f"Correct {_letter(number)}, proposed as {prop.term}"
    return ""


def _layers(
    noted: list[Defect], open_ones: tuple[Proposal, ...], frame: PageFrame | None
) -> tuple[Layer, ...]:
    if frame is None:
        return ()
    marks: dict[str, list[Mark]] = {}
    for number, one in enumerate(noted, 1):
        region = read_region(one.region)
        if region is not None:
            marks.setdefault(group_of(one.term), []).extend(_marks(region, frame, str(number)))
    offered: list[Mark] = []
    for at, prop in enumerate(open_ones):
        offered += _marks(prop.region, frame, _letter(at))
    made = [
        Layer(f"damage-{key}", name, says, tuple(marks.get(key, ())))
        for key, name, says in (*((key, name, says) for key, name, says, _ in GROUPS), OTHER)
    ]
    key, name, says = PROPOSED
    made.append(Layer(f"damage-{key}", name, says, tuple(offered)))
    return tuple(layer for layer in made if layer.marks)


def _marks(region: Region, frame: PageFrame, label: str) -> list[Mark]:
    shape = {"point": "spot", "line": "polyline", "polygon": "polygon"}[region.kind]
    return [
        Mark(shape, write_points(frame.px(points[:MOST_POINTS])), label if not at else "")
        for at, points in enumerate(region.shapes)
    ]


def _marked(state: ItemState, one: Defect, number: int) -> Marked:
    region = read_region(one.region)
    placed = f"each point to ± {2 * one.u_mm:.1f} mm" if region and one.u_mm else ""
    return Marked(
        one.id, str(number), one.term, one.severity, one.extent,
        region_words(region) if region else "no place drawn", placed, one.note,
        bool(one.proposal), state.touched.get(one.id, 0),
    )  # fmt: skip


def _offered(state: ItemState, one: Proposal, number: int) -> Offered:
    return Offered(
        one.id, _letter(number), one.term, one.extent, region_words(one.region), one.sure, one.why,
        state.touched.get(one.id, 0),
    )  # fmt: skip


def _rejected(state: ItemState, page: str, moment: str) -> tuple[Rejected, ...]:
    begins = f"{page}/{moment}/"
    out = []
    for name, answer in state.answered.items():
        if answer.answer == "rejected" and name.startswith(begins):
            kind, _, at = name.removeprefix(begins).partition("/")
            where = "" if at == "page" else f" at {at.replace(',', ', ')} mm"
            out.append(Rejected(name, f"{kind}{where}", answer.note))
    return tuple(out)


def _choices(state: ItemState, sheet: str, page: str, moment: str) -> tuple[Choice, ...]:
    out = []
    for when in MOMENTS:
        for side, half in HALVES:
            one = f"{sheet}.{side}.{half}"
            count = len(_noted(state, one, when))
            seen = bool(page_pictures(state, one, when))
            if when == "after" and not (seen or count or one == page):
                continue
            says = f"{count} noted" if count else "" if seen else "no picture"
            number = page_number(one, state.gathering) if state.gathering else None
            name = f"{side}, {half}" + (f" (page {number})" if number is not None else "")
            out.append(
                Choice(
                    f"{name}, {when}", damage_path(state.id, one, when),
                    (one, when) == (page, moment), says,
                )
            )  # fmt: skip
    return tuple(out)


def _size(state: ItemState, frame: PageFrame | None) -> tuple[float, float] | None:
    width, height = page_size(state.gathering)
    if frame is not None:
        width, height = frame.width_mm or width, frame.height_mm or height
    return (round(width, 1), round(height, 1)) if width and height else None


def _no_picture(state: ItemState, moment: str) -> str:
    return (
        f"There is no picture of this page from {moment} treatment. Note places read off with a "
        "steel rule from its upper left corner, or take in a scan with the bench strip beside it."
    )


def _letter(number: int) -> str:
    """A, B .. Z, A2, B2 .."""
    again = number // 26
    return chr(65 + number % 26) + (str(again + 1) if again else "")
