"""Corrections by hand: corners, painted-out parts and the kind of ground steer the measurement."""

import cv2
import numpy as np
import pytest
import tifffile

from quirewell.demo.scenes import render_leaf
from quirewell.stages.measuring_said import BadParameter, read_said
from quirewell.stages.methods import run_method


@pytest.fixture(scope="module")
def scene():
    return render_leaf(21, 100, losses=())


def measured(pixels, folder, **params):
    path = folder / "leaf.tif"
    tifffile.imwrite(path, pixels, photometric="rgb")
    known = {"strip_length_mm": "160", "strip_length_u_mm": "0.02"}
    run = run_method("leaf.measure", "w1.outer.left", {"image": path}, params=known | params)
    return run, {finding.quantity: finding for finding in run.findings}


def words(corners):
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in corners)


def test_corners_placed_by_hand_are_believed_and_their_pointing_stands_in_the_budget(
    scene, tmp_path
):
    pixels, truth = scene
    corners = np.array(truth.corners_px)
    moved = corners + np.array([[0, 0], [8, 0], [8, 0], [0, 0]])
    run, found = measured(pixels, tmp_path, corners=words(moved))
    width = found["leaf.width_mm"]
    assert width.value == pytest.approx(truth.width_mm + 8 * truth.um_per_px_x / 1000, abs=0.05)
    pointed = next(term for term in width.terms if term.name == "pointed")
    assert pointed.u == pytest.approx(truth.um_per_px_x / 1000, rel=0.01)
    assert "hand" in pointed.basis
    assert any("4 of the 4 corners were placed by hand" in says for says in run.warnings)


def test_one_corner_given_moves_its_two_edges_only(scene, tmp_path):
    pixels, truth = scene
    x, y = truth.corners_px[2]
    run, _ = measured(pixels, tmp_path, corners=f"- - {x + 6:.2f},{y + 4:.2f} -")
    drawn = np.array([[float(v) for v in p.split(",")] for p in run.drawing["outline"].split()])
    assert drawn[2] == pytest.approx([x + 6, y + 4], abs=0.06)
    assert drawn[[0, 1, 3]] == pytest.approx(np.array(truth.corners_px)[[0, 1, 3]], abs=0.25)


def test_a_hand_painted_out_is_no_missing_paper_and_does_not_move_the_edge(scene, tmp_path):
    pixels, truth = scene
    corners = np.array(truth.corners_px)
    x, y = (0.5 * (corners[1] + corners[2])).round().astype(int)
    hand = pixels.copy()
    cv2.ellipse(hand, (int(x) + 40, int(y)), (120, 40), 0, 0, 360, (205, 150, 125), -1, cv2.LINE_AA)
    ring = cv2.ellipse2Poly((int(x) + 40, int(y)), (130, 50), 0, 0, 360, 12)
    run, found = measured(hand, tmp_path, ignore=" ".join(f"{a},{b}" for a, b in ring))
    assert found["leaf.width_mm"].value == pytest.approx(truth.width_mm, abs=0.06)
    assert found["leaf.loss_mm2"].value < 1.0
    assert any("1 part of the picture was painted out" in says for says in run.warnings)


def test_the_ground_that_was_named_is_the_one_looked_for(tmp_path):
    pixels, truth = render_leaf(4, 100, ground="white", losses=())
    _, right = measured(pixels, tmp_path, ground="light")
    assert right["leaf.width_mm"].value == pytest.approx(truth.width_mm, abs=0.08)
    run, wrong = measured(pixels, tmp_path, ground="dark")
    assert "leaf.width_mm" not in wrong or wrong["leaf.width_mm"].value is None
    assert any("No ground shows" in says or "looks otherwise" in says for says in run.warnings)


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"corners": "1,2 3,4"}, "four points"),
        ({"corners": "1,2 3,4 5,6 x,7"}, "two pixel numbers"),
        ({"corners": "0,0 nan,0 9,9 0,9"}, "two pixel numbers"),
        ({"corners": "0,0 0,9 9,9 9,0"}, "clockwise"),
        ({"corners": "0,0 90,0 20,20 0,90"}, "without dents"),
        ({"ignore": "1,2 3,4"}, "3 to 2000 points"),
        ({"ignore": "1,2 3,4 5"}, "two pixel numbers"),
        ({"ignore": ";".join(["0,0 9,0 9,9"] * 41)}, "at most 40"),
        ({"ground": "grey"}, "dark or light"),
    ],
)
def test_corrections_that_make_no_sense_are_refused_in_a_sentence(params, says):
    with pytest.raises(BadParameter, match=says):
        read_said(params)


def test_corrections_off_the_picture_are_refused(scene, tmp_path):
    with pytest.raises(BadParameter, match="outside the picture of"):
        measured(scene[0], tmp_path, corners="9000,9000 - - -")
    with pytest.raises(BadParameter, match="wholly outside"):
        measured(scene[0], tmp_path, ignore="9000,10 9100,10 9100,90")
