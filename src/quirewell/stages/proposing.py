"""Damage that the program proposes: what measurements found on a picture, as regions of the page.

A proposal is never a defect: it counts nowhere until a person accepts it (``drawing_defects``).
Its name says page, moment, kind and place, so that what was answered is not offered again when
the picture is measured anew.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.record.regions import Region, read_region, write_region
from quirewell.record.shapes import MOST_SHAPES, Point, area_px, read_points
from quirewell.science.imaging.stains import SPOT_MM2
from quirewell.stages.correcting import correction_of
from quirewell.stages.drawn import tear_paths
from quirewell.stages.examine import latest_measure, measurable
from quirewell.stages.missing_shapes import missing_shapes
from quirewell.stages.page_frame import PageFrame, framed
from quirewell.stages.region_extent import amount_words, extent_of, middle_of
from quirewell.stages.relief_view import latest_relief
from quirewell.stages.stain_shapes import StainShape, stain_shapes
from quirewell.stages.survey import subject_of
from quirewell.stages.tears_told import CONFIRMED, told_tears

# A thing found again may lie a little off the place it was answered at.
SAME_MM = 5.0
# Fewer small spots than this, or less in all, pass for specks and the mottle of the pulp
# (assumed; clean generated leaves show up to two).
FEWEST_SPOTS = 4
LEAST_STAIN_MM2 = SPOT_MM2
# Where a spot that fades into the paper ends: its area's standard uncertainty as a share (assumed).
SPOTS_U_SHARE = 0.2
# The gap where a tear opens at the edge, at most (assumed).
MOUTH_MM2 = 5.0
# A margin this much yellower than the middle is told as tanned (assumed).
TANNED_DB = 2.0
# A tanned margin reaches unevenly: patches that begin within so many of its depths may be that.
UNEVEN_BANDS = 2.0
_YOURS = "the word is yours: rust, a tideline, soiling, or brown print"


@dataclass(frozen=True, slots=True)
class Proposal:
    """One thing proposed: word, place [mm], how large, how sure and why.

    ``point_u_mm`` is how well its points lie against each other.
    """

    id: str
    page: str
    moment: str
    capture: str
    term: str
    region: Region
    extent: str
    sure: str
    why: str
    point_u_mm: float


def moment_of(capture: Capture) -> str:
    """The moment a picture shows."""
    return capture.moment or "before"


def page_pictures(state: ItemState, page: str, moment: str) -> tuple[Capture, ...]:
    """Pictures that show a page: measured scans first, then other scans, then photographs; the
    latest first among equals."""
    side = page.rpartition(".")[0]
    shown = [
        one
        for one in state.captures.values()
        if moment_of(one) == moment and subject_of(one) in (page, side)
    ]

    def rank(one: Capture) -> tuple[bool, bool, bool, int]:
        measured = measurable(one) and latest_measure(state, one) is not None
        return (not measured, one.view != "scan", subject_of(one) != page,
                -state.touched.get(one.id, 0))  # fmt: skip

    return tuple(sorted(shown, key=rank))


def proposals(state: ItemState, page: str, capture: Capture) -> tuple[Proposal, ...]:
    """What a picture of a page proposes and nobody answered yet, tears first."""
    run = latest_measure(state, capture)
    frame = framed(state, page, capture).frame
    if run is None or frame is None or frame.known == "filled" or not measurable(capture):
        return ()
    made = [
        *_tears(state, run, capture, frame),
        *_losses(run, capture, frame),
        *_creases(state, capture, frame),
        *_stains(run, capture, frame),
        *_tanned(run, capture, frame),
    ]
    return tuple(one for one in made if _on_page(one, frame) and not is_answered(state, one.id))


def proposed(state: ItemState, proposal: str) -> Proposal | None:
    """The proposal of that name; None when it is not open (any more)."""
    page, _, rest = proposal.partition("/")
    moment = rest.partition("/")[0]
    for capture in page_pictures(state, page, moment)[:4]:
        for one in proposals(state, page, capture):
            if one.id == proposal:
                return one
    return None


def is_answered(state: ItemState, proposal: str) -> bool:
    """Whether it was rejected, or accepted and its defect stands; also by an answer to the same
    kind of thing close by."""
    key, at = _key(proposal)
    for name, answer in state.answered.items():
        if answer.answer == "accepted" and answer.defect not in state.defects:
            continue
        other, there = _key(name)
        if other == key and (name == proposal or (at and there and math.dist(at, there) < SAME_MM)):
            return True
    return False


def _key(proposal: str) -> tuple[str, Point | None]:
    key, _, place = proposal.rpartition("/")
    try:
        return key, read_points(place)[0]
    except (ValueError, IndexError):
        return proposal, None


def _made(
    kind: str, capture: Capture, frame: PageFrame, term: str, region: Region, *, extent: str = "",
    sure: str, why: str, u_mm: float, place: bool = True,
) -> Proposal:  # fmt: skip
    """A proposal with its region to a hundredth of a millimetre, as the record keeps it."""
    moment = moment_of(capture)
    kept = read_region(write_region(region))
    assert kept is not None
    x, y = middle_of(kept)
    at = f"{x:.1f},{y:.1f}" if place else "page"
    area = frame.width_mm * frame.height_mm if frame.width_mm and frame.height_mm else None
    said = extent or extent_of(term, kept, u_mm, frame.share_u, area)
    name = f"{frame.page}/{moment}/{kind}/{at}"
    return Proposal(name, frame.page, moment, capture.id, term, kept, said, sure, why, u_mm)


def _tears(state: ItemState, run: Run, capture: Capture, frame: PageFrame) -> list[Proposal]:
    told = told_tears(run, correction_of(state, capture.id))
    paths = tear_paths(run.drawing)
    made = []
    for tear in told.kept:
        length = tear.length
        if tear.number > len(paths) or length.value is None:
            continue
        region = Region("line", (frame.mm(paths[tear.number - 1]),))
        confirmed = tear.said == CONFIRMED
        made.append(
            _made(
                "tear", capture, frame, "tear", region,
                extent=amount_words(length.value, length.u or 0.5, "mm"),
                sure="confirmed by eye on the close-up" if confirmed else "likely; look at it",
                why=f"the dark ground shows in a gap at the {length.note}",
                u_mm=0.3,
            )
        )  # fmt: skip
    return made


def _losses(run: Run, capture: Capture, frame: PageFrame) -> list[Proposal]:
    total = _finding(run, "leaf.loss_mm2")
    mouths = [frame.mm(path[:1])[0] for path in tear_paths(run.drawing)]
    made = []
    for shape in missing_shapes(run, frame):
        if _is_mouth(shape.outline, mouths):
            continue
        extent = ""
        if total is not None and total.value and shape.share is not None:
            u = math.hypot((total.u or 0.0) * shape.share, 0.08 * total.value * shape.share)
            extent = amount_words(total.value * shape.share, u, "mm2")
        made.append(
            _made(
                "loss", capture, frame, "loss", Region("polygon", (shape.outline,)), extent=extent,
                sure="sure where the ground is dark and bare" if shape.share is not None
                else "look at it: it may be dark ink",
                why="the ground shows inside the fitted edges" if shape.share is not None
                else "a spot inside the page has the colour of the ground; the box round it is "
                "drawn, not its rim",
                u_mm=shape.u_mm,
            )
        )  # fmt: skip
    return made


def _is_mouth(outline: tuple[Point, ...], mouths: Sequence[Point]) -> bool:
    """Whether a small gap at an edge is the mouth of a tear that is proposed by itself."""
    if area_px(outline) > MOUTH_MM2:
        return False
    return any(min(math.dist(at, point) for point in outline) < 1.0 for at in mouths)


def _stains(run: Run, capture: Capture, frame: PageFrame) -> list[Proposal]:
    found = stain_shapes(run, frame)
    made = []
    for one in found:
        if one.kind == "tideline":
            region = Region("polygon", (one.outline,))
            why = "a long narrow stretch is browner and darker than the paper on both sides"
            made.append(_stain("tideline", capture, frame, "tideline", region, why))
    large = [one for one in found if one.kind == "stain" and one.area_mm2 >= LEAST_STAIN_MM2]
    band = _tanned_band(run)
    beside = [one for one in large if band and _to_edge(one, frame) < UNEVEN_BANDS * band]
    for one in large:
        if one not in beside:
            region = Region("polygon", (one.outline,))
            why = f"browner and darker than the paper round it; {_YOURS}"
            made.append(_stain("stain", capture, frame, "stain", region, why))
    if beside:
        region = Region("polygon", tuple(one.outline for one in beside[:MOST_SHAPES]))
        count = f"{len(beside)} patches" if len(beside) > 1 else "a patch"
        why = (
            f"{count} in the tanned margin, browner than its fall from the edge explains: "
            f"stains, or a margin tanned unevenly; {_YOURS}"
        )
        made.append(_stain("patches", capture, frame, "stain", region, why, place=False))
    spots = [one for one in found if one.kind == "spot"]
    if len(spots) >= FEWEST_SPOTS:
        made.append(_foxing(spots, capture, frame))
    return made


def _to_edge(one: StainShape, frame: PageFrame) -> float:
    """How near a shape comes to a free edge of its page [mm]; the fold is none."""
    xs, ys = [x for x, _ in one.outline], [y for _, y in one.outline]
    ways = [min(ys)]
    if frame.height_mm:
        ways.append(frame.height_mm - max(ys))
    if not frame.page.endswith("right"):
        ways.append(min(xs))
    if not frame.page.endswith("left") and frame.width_mm:
        ways.append(frame.width_mm - max(xs))
    return min(ways)


def _tanned_band(run: Run) -> float:
    """How far in the margin is told as tanned [mm]; 0 where it is not."""
    more, decay = _finding(run, "tone.margin_db"), _finding(run, "tone.profile.decay_mm")
    if more is None or more.value is None or decay is None or not decay.value:
        return 0.0
    return decay.value if more.value >= max(TANNED_DB, 3 * (more.u or 0.0)) else 0.0


def _stain(
    kind: str, capture: Capture, frame: PageFrame, term: str, region: Region, why: str,
    place: bool = True,
) -> Proposal:  # fmt: skip
    sure = "look at it: brown print may pass for a stain"
    return _made(kind, capture, frame, term, region, sure=sure, why=why, u_mm=0.4, place=place)


def _foxing(spots: Sequence[StainShape], capture: Capture, frame: PageFrame) -> Proposal:
    largest = sorted(spots, key=lambda one: -one.area_mm2)
    region = Region("polygon", tuple(one.outline for one in largest[:MOST_SHAPES]))
    area = sum(one.area_mm2 for one in spots)
    said = [f"{len(spots)} spots"]
    if frame.width_mm and frame.height_mm:
        pct = 100 * area / (frame.width_mm * frame.height_mm)
        said.insert(0, amount_words(pct, SPOTS_U_SHARE * pct, "%"))
    more = len(spots) - MOST_SHAPES
    rest = f"; the {MOST_SHAPES} largest are drawn" if more > 0 else ""
    return _made(
        "foxing", capture, frame, "foxing", region, extent=", ".join(said),
        sure="likely where they are many; specks of print may be among them",
        why=f"{len(spots)} small round spots of {area:.0f} mm2 together are browner than the "
        f"paper{rest}",
        u_mm=0.3, place=False,
    )  # fmt: skip


def _tanned(run: Run, capture: Capture, frame: PageFrame) -> list[Proposal]:
    """A band along the free edges whose paper is clearly yellower than the middle."""
    more, decay = _finding(run, "tone.margin_db"), _finding(run, "tone.profile.decay_mm")
    wide, high, band = frame.width_mm, frame.height_mm, _tanned_band(run)
    if not band or more is None or decay is None or wide is None or high is None:
        return []
    band = min(band, wide / 3, high / 3)
    fold = "right" if frame.page.endswith("left") else "left"
    x0 = 0.0 if fold == "left" else band
    x1 = wide if fold == "right" else wide - band
    outer = [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)]
    inner = [(x0, band), (x1, band), (x1, high - band), (x0, high - band)]
    if fold == "right":
        ring = [outer[1], inner[1], inner[0], inner[3], inner[2], outer[2], outer[3], outer[0]]
    else:
        ring = [outer[0], inner[0], inner[1], inner[2], inner[3], outer[3], outer[2], outer[1]]
    u = decay.u or 2.0
    return [
        _made(
            "tanned", capture, frame, "tanned margin", Region("polygon", (tuple(ring),)),
            extent=f"about {band:.0f} mm all round but the fold",
            sure="measured on the bare paper; where a tanned margin ends is a matter of degree",
            why=f"the margin's b* is {more.value or 0.0:.1f} ± {2 * (more.u or 0.0):.1f} "
            f"above the middle's, falling off over {decay.value:.0f} mm",
            u_mm=u, place=False,
        )
    ]  # fmt: skip


def _creases(state: ItemState, capture: Capture, frame: PageFrame) -> list[Proposal]:
    """Creases that raking light showed, where the relief lies on this very picture."""
    run = latest_relief(state, frame.page, moment_of(capture))
    if run is None or not any(e.role == "grid" and e.ref == capture.id for e in run.inputs):
        return []
    wide = float(run.drawing.get("size_px", "0").split()[0])
    if not wide:
        return []
    larger = capture.width_px / wide
    made = []
    for text in run.drawing.get("creases", "").split(";"):
        path = [(larger * x, larger * y) for x, y in read_points(text)]
        if len(path) < 2:
            continue
        region = Region("line", (frame.mm(path),))
        made.append(
            _made(
                "crease", capture, frame, "crease", region,
                sure="likely; whether it breaks the colour is for the eye",
                why="the surface bends sharply along a line under raking light",
                u_mm=0.4,
            )
        )  # fmt: skip
    return made


def _on_page(one: Proposal, frame: PageFrame) -> bool:
    x, y = middle_of(one.region)
    return -1.0 <= x <= (frame.width_mm or math.inf) + 1.0 and (
        -1.0 <= y <= (frame.height_mm or math.inf) + 1.0
    )


def _finding(run: Run, quantity: str) -> Finding | None:
    return next((entry for entry in run.findings if entry.quantity == quantity), None)
