"""What is proposed on pages with planted damage, nothing on clean ones, and what answers do."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from drawn_pages import PAGE, capture, state, write
from quirewell.demo.outline import Loss
from quirewell.demo.scenes import BEFORE, render_leaf
from quirewell.demo.tears import Tear
from quirewell.demo.tone import Ageing
from quirewell.record.apply import apply, noun_of
from quirewell.record.dealing import Answered
from quirewell.record.event import Event
from quirewell.record.finding import Input
from quirewell.science.colour.spaces import (
    lab_from_linear,
    light_of,
    linear_from_lab,
    srgb_from_linear,
)
from quirewell.stages.drawing_defects import accept, note_drawn, reject, set_aside
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.methods import run_method
from quirewell.stages.page_frame import framed
from quirewell.stages.proposing import proposals, proposed
from quirewell.stages.refusal import Refusal

DPI = 150
PX_MM = 25.4 / DPI
ONE = capture(panel="whole", place=PAGE)
# Evenly brown paper: no margin, no tideline.
EVEN = Ageing(BEFORE.centre, BEFORE.centre)
# A corner of 14 mm gone at the lower right, a chip in the fore-edge.
LOSSES = (Loss("corner", "right", width_mm=14.0, depth_mm=12.0), Loss("chip", "left", 90.0,
          width_mm=9.0, depth_mm=5.0))  # fmt: skip
TEARS = (Tear("head", 60.0, 12.0, 0.7, 0.2), Tear("left", 180.0, 7.0, 0.7, 0.2))


def measured(tmp_path, pixels, dpi=DPI):
    path = write(tmp_path / "leaf.tif", pixels, dpi)
    given = (Input("image", "cap-1", "ab" * 32),)
    run = run_method("leaf.measure", PAGE, {"image": path}, given, {"dpi": str(dpi)})
    return state(ONE, runs=(run,)), run


def browned(pixels, shapes, dL=9.0, db=7.0):
    """The picture with ellipses ((x, y), (a, b)) [px] browned."""
    mask = np.zeros(pixels.shape[:2], np.float32)
    for middle, axes in shapes:
        cv2.ellipse(mask, middle, axes, 20, 0, 360, 1.0, -1, cv2.LINE_AA)
    lab = lab_from_linear(light_of(pixels))
    lab += mask[..., None] * np.array([-dL, 0.25 * dL, db])
    light = np.clip(linear_from_lab(lab), 0, 1)
    return np.clip(255 * srgb_from_linear(light) + 0.5, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def torn(tmp_path_factory):
    pixels, truth = render_leaf(
        5, DPI, strip=False, losses=LOSSES, tears=TEARS, printed=False, ageing=EVEN,
        scale_error=0.0, skew_deg=0.4,
    )  # fmt: skip
    now, run = measured(tmp_path_factory.mktemp("torn"), pixels)
    return now, run, truth


@pytest.fixture(scope="module")
def spotted(tmp_path_factory):
    pixels, _ = render_leaf(
        6, DPI, strip=False, losses=(), printed=False, ageing=EVEN, scale_error=0.0
    )
    rng = np.random.default_rng(2)
    spots = [((int(x), int(y)), (7, 6)) for x, y in rng.uniform((200, 250), (850, 700), (9, 2))]
    blotch = [((520, 1050), (95, 60))]
    line = [((330 + 8 * n, 1300 + round(6 * math.sin(n / 4))), (9, 9)) for n in range(55)]
    now, _ = measured(tmp_path_factory.mktemp("spotted"), browned(pixels, spots + blotch + line))
    return now, spots, blotch


@pytest.mark.parametrize("seed", [6, 7, 8, 11])
def test_a_clean_page_has_nothing_proposed(tmp_path, seed):
    pixels, _ = render_leaf(seed, 120, strip=False, losses=(), printed=False, ageing=EVEN)
    now, _ = measured(tmp_path, pixels, 120)
    assert [(one.term, one.extent) for one in proposals(now, PAGE, ONE)] == []


@pytest.mark.parametrize("seed", [1, 2])
def test_a_clean_printed_page_has_nothing_missing_nor_torn(tmp_path, seed):
    pixels, _ = render_leaf(seed, 120, strip=False, losses=(), ageing=EVEN)
    now, _ = measured(tmp_path, pixels, 120)
    terms = [one.term for one in proposals(now, PAGE, ONE)]
    assert not {"tear", "loss", "tanned margin", "tideline"} & set(terms)


def test_planted_losses_are_found_where_they_are_and_as_large(torn):
    now, _, truth = torn
    found = [one for one in proposals(now, PAGE, ONE) if one.term == "loss"]
    assert len(found) == 2
    total = sum(float(one.extent.split(" ")[0]) for one in found)
    assert total == pytest.approx(truth.loss_mm2, abs=0.05 * truth.loss_mm2 + 2)
    corner, chip = found
    xs = [x for x, _ in corner.region.shapes[0]]
    ys = [y for _, y in corner.region.shapes[0]]
    assert max(xs) == pytest.approx(truth.width_mm, abs=1.0)
    assert max(ys) == pytest.approx(truth.height_mm, abs=1.0)
    # The outline agrees with the measured total, and each stated area with its outline.
    for one in found:
        value, wide = (float(part.split(" ")[0]) for part in one.extent.split(" ± "))
        assert abs(one.region.area_mm2 - value) < wide
    # Edges run clockwise: the left one from the foot up.
    middle = np.mean(chip.region.shapes[0], axis=0)
    assert middle[1] == pytest.approx(truth.height_mm - 90.0, abs=2.0)
    assert 0 < middle[0] < 5.0


def test_planted_tears_lie_within_their_stated_uncertainty(torn):
    now, _, truth = torn
    tears = [one for one in proposals(now, PAGE, ONE) if one.term == "tear"]
    assert len(tears) == 2
    for tear, planted in zip(tears, TEARS, strict=True):
        value, wide = (float(part.split(" ")[0]) for part in tear.extent.split(" ± "))
        assert abs(value - planted.length_mm) < wide
        mouth = tear.region.shapes[0][0]
        along = mouth[0] if planted.edge == "head" else truth.height_mm - mouth[1]
        off = mouth[1] if planted.edge == "head" else mouth[0]
        frame = framed(now, PAGE, ONE).frame
        u = math.hypot(tear.point_u_mm, frame.u_mm([mouth]))
        assert abs(along - planted.at_mm) < max(2 * u, 1.0)
        assert abs(off) < 1.0


def test_spots_are_one_proposal_and_a_blotch_lies_where_it_was_put(spotted):
    now, spots, blotch = spotted
    found = {one.term: one for one in proposals(now, PAGE, ONE)}
    assert set(found) == {"foxing", "stain", "tideline"}
    foxing = found["foxing"]
    assert foxing.extent.endswith("9 spots") and len(foxing.region.shapes) == 9
    frame = framed(now, PAGE, ONE).frame
    (x, y), (a, b) = blotch[0]
    middle = np.mean(found["stain"].region.shapes[0], axis=0)
    assert math.dist(middle, frame.mm([(x, y)])[0]) < 1.0
    area = math.pi * a * b * PX_MM**2
    assert found["stain"].region.area_mm2 == pytest.approx(area, rel=0.12)
    planted = [frame.mm([at])[0] for at, _ in spots]
    for shape in foxing.region.shapes:
        near = min(math.dist(np.mean(shape, axis=0), at) for at in planted)
        assert near < 0.8


def test_a_tanned_margin_is_proposed_by_its_measured_colour(tmp_path):
    pixels, _ = render_leaf(
        6, 120, strip=False, losses=(), printed=False, ageing=Ageing(BEFORE.centre, BEFORE.edge)
    )
    now, _ = measured(tmp_path, pixels, 120)
    patches, margin = proposals(now, PAGE, ONE)
    assert margin.term == "tanned margin" and "b*" in margin.why
    # Its planted reach is uneven: what sticks out of it is told as perhaps no more than that.
    assert patches.id.endswith("patches/page") and "tanned unevenly" in patches.why


# --- answers ----------------------------------------------------------------------------------


def after(now, drafts):
    """The state after drafts."""
    for draft in drafts:
        event = Event(now.version + 1, now.id, now.version + 1, draft.kind, draft.body, "", "", "",
                      "", "")  # fmt: skip
        now = apply(now, event)
    return now


def test_accepted_it_is_a_defect_and_not_offered_again(torn):
    now, *_ = torn
    first = proposals(now, PAGE, ONE)[0]
    assert damage_table(now) == "" and not now.defects  # counted nowhere before
    drafts = accept(now, {"proposal": first.id})
    assert [draft.kind for draft in drafts] == ["proposal.answered", "defect.noted"]
    then = after(now, drafts)
    (made,) = then.defects.values()
    assert made.term == "tear" and made.proposal == first.id and made.extent == first.extent
    assert made.u_mm < 0.6 and "tear" in damage_table(then)
    assert first.id not in [one.id for one in proposals(then, PAGE, ONE)]
    assert then.answered[first.id].defect == made.id
    with pytest.raises(Refusal):
        accept(then, {"proposal": first.id})
    # Undone, the defect is not there, and it is offered again.
    undone = replace(then, defects={})
    assert first.id in [one.id for one in proposals(undone, PAGE, ONE)]
    # Set aside as none, it is not.
    aside = after(then, set_aside(then, {"id": made.id}))
    assert first.id not in [one.id for one in proposals(aside, PAGE, ONE)]


def test_corrected_it_is_accepted_with_the_new_outline_and_its_own_extent(torn):
    now, *_ = torn
    loss = next(one for one in proposals(now, PAGE, ONE) if one.term == "loss")
    form = {"proposal": loss.id, "page": PAGE, "moment": "before", "capture": "cap-1",
            "term": "corner crease", "kind": "line", "points": "150,230 160,240"}  # fmt: skip
    drafts = note_drawn(now, form)
    made = noun_of(drafts[1].kind, drafts[1].body)
    assert (made.term, made.region) == ("corner crease", "line 150,230 160,240")
    assert made.extent.startswith("14.1 mm") and made.proposal == loss.id


def test_rejected_it_keeps_the_note_and_stays_away_though_found_again_close_by(torn):
    now, *_ = torn
    tear = proposals(now, PAGE, ONE)[0]
    then = after(now, reject(now, {"proposal": tear.id, "note": "a fold in the print"}))
    assert then.answered[tear.id].note == "a fold in the print"
    key, _, at = tear.id.rpartition("/")
    x, y = (float(part) for part in at.split(","))
    moved = {f"{key}/{x + 2:.1f},{y - 1:.1f}": Answered("p", "rejected")}
    assert proposed(replace(now, answered=moved), tear.id) is None
    far = {f"{key}/{x + 30:.1f},{y:.1f}": Answered("p", "rejected")}
    assert proposed(replace(now, answered=far), tear.id) is not None
    assert proposed(now, "nonsense") is None and proposed(now, f"{PAGE}/before/tear/x") is None
