"""``leaf.measure``: findings with budgets, in the order of scales, with shapes to draw."""

import math

import numpy as np
import pytest
import tifffile

from quirewell.demo.scenes import render_leaf
from quirewell.record.codec import from_body, to_body
from quirewell.record.finding import Run
from quirewell.stages.measuring import narrower
from quirewell.stages.measuring_asked import BadParameter, read_params
from quirewell.stages.methods import run_method
from quirewell.studio.images import ImageError


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    pixels, truth = render_leaf(21, 100)
    path = tmp_path_factory.mktemp("scan") / "leaf.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2)
    return path, truth


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    """A leaf without a strip, tagged 72 dpi."""
    pixels, truth = render_leaf(22, 100, strip=False)
    path = tmp_path_factory.mktemp("bare") / "leaf.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(72, 72), resolutionunit=2)
    return path, truth


def measured(path, **params):
    run = run_method("leaf.measure", "w1.outer.left", {"image": path}, params=params)
    return run, {finding.quantity: finding for finding in run.findings}


@pytest.fixture(scope="module")
def whole(scan):
    return measured(scan[0], strip_length_mm="160.0", strip_length_u_mm="0.02", scanner_u_um="20")


def test_planted_size_loss_and_tone_lie_within_three_u(scan, whole):
    _, truth = scan
    _, found = whole
    for quantity, value in (
        ("leaf.width_mm", truth.width_mm),
        ("leaf.height_mm", truth.height_mm),
        ("leaf.squareness_deg", truth.corner_deg - 90.0),
        ("leaf.loss_mm2", truth.loss_mm2),
        ("scale.um_per_px", truth.um_per_px_x),
        ("tone.L", truth.tone_median[0]),
        ("tone.a", truth.tone_median[1]),
        ("tone.b", truth.tone_median[2]),
        ("tone.centre_L", truth.tone_centre[0]),
        ("tone.margin_L", truth.tone_margin[0]),
        ("tone.margin_b", truth.tone_margin[2]),
    ):
        finding = found[quantity]
        assert abs(finding.value - value) <= 3 * finding.u, quantity


def test_margin_tone_is_right_to_half_a_unit(scan, whole):
    _, truth = scan
    _, found = whole
    for index, name in enumerate("Lab"):
        assert found[f"tone.margin_{name}"].value == pytest.approx(
            truth.tone_margin[index], abs=0.5
        )


def test_every_number_has_an_uncertainty_made_of_its_terms(whole):
    run, _ = whole
    for finding in run.findings:
        if finding.value is not None:
            assert finding.u > 0 and finding.terms, finding.quantity
            total = math.sqrt(sum(term.u**2 for term in finding.terms))
            assert finding.u == pytest.approx(total, rel=1e-9)
            assert all(term.basis for term in finding.terms)


def test_loss_says_the_smallest_piece_it_would_have_seen(whole):
    _, found = whole
    assert found["leaf.loss_mm2"].smallest_seen == 1.0


def test_scale_comes_from_the_strip_before_anything_else(scan, whole):
    _, found = whole
    assert found["scale.source"].text == "strip"
    _, other = measured(scan[0], dpi="104", known_length_mm="100", known_points="0,0,500,0")
    assert other["scale.source"].text == "strip"


def test_an_unmeasured_strip_is_trusted_to_its_printer_only(scan):
    run, found = measured(scan[0])
    assert found["leaf.width_mm"].u == pytest.approx(0.003 * found["leaf.width_mm"].value, rel=0.15)
    assert "steel rule" in narrower(run.findings)
    assert any("taken as printed" in says for says in run.warnings)


def test_scales_that_disagree_are_named(scan):
    run, _ = measured(scan[0], dpi="104", strip_length_mm="160", strip_length_u_mm="0.02")
    assert any("stated dpi is" in says and "off the strip" in says for says in run.warnings)


def test_a_known_length_comes_before_a_stated_resolution(bare):
    path, truth = bare
    corners = np.array(truth.corners_px)
    points = ",".join(str(v) for v in (*corners[0], *corners[1]))
    _, found = measured(
        path, dpi="100", known_length_mm=f"{truth.width_mm:.3f}", known_length_u_mm="0.05",
        known_points=points,
    )  # fmt: skip
    assert found["scale.source"].text == "known length"
    width = found["leaf.width_mm"]
    assert abs(width.value - truth.width_mm) <= 2 * width.u
    assert width.u < 0.35


def test_stated_resolution_is_used_and_a_placeholder_tag_never_is(bare):
    path, truth = bare
    _, found = measured(path, dpi="100", dpi_u_pct="0.5")
    assert found["scale.source"].text == "stated dpi"
    assert abs(found["leaf.width_mm"].value - truth.width_mm) <= 3 * found["leaf.width_mm"].u
    run, nothing = measured(path)
    assert nothing["scale.source"].text == "none"
    assert "leaf.width_mm" not in nothing and "leaf.loss_mm2" not in nothing
    width_px = truth.width_mm * 1000 / truth.um_per_px_x
    assert nothing["leaf.width_px"].value == pytest.approx(width_px, abs=0.5)
    assert any("sizes are in pixels only" in says for says in run.warnings)


def test_the_tag_alone_is_a_last_resort_and_says_so(tmp_path):
    pixels, _ = render_leaf(22, 100, strip=False)
    path = tmp_path / "tagged.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2)
    run, found = measured(path)
    assert found["scale.source"].text == "resolution tag"
    terms = {term.name: term.u for term in found["leaf.width_mm"].terms}
    assert terms["scale"] == pytest.approx(0.005 * found["leaf.width_mm"].value, rel=1e-6)
    assert terms["scanner"] == pytest.approx(0.24 / math.sqrt(3), rel=1e-6)
    assert any("only the file's resolution tag" in says for says in run.warnings)


def test_outline_is_drawn_where_the_leaf_is(scan, whole):
    _, truth = scan
    run, _ = whole
    points = [tuple(map(float, p.split(","))) for p in run.drawing["outline"].split()]
    assert np.array(points) == pytest.approx(np.array(truth.corners_px), abs=0.2)
    assert run.drawing["edges"] == "head right foot left"
    for name in ("paper", "strip", "tone"):
        assert run.drawing[name]


def test_half_a_wrap_draws_its_fold(tmp_path):
    from quirewell.demo.scans import DrawnSheet, sheet_plan

    pixels, truth = DrawnSheet(sheet_plan("w05", 1936), 100, 1936).panel(
        "outer", "left", "before", "dark"
    )
    path = tmp_path / "w05-outer-left-before.tif"
    tifffile.imwrite(path, pixels, photometric="rgb")
    length = truth.strip.length_mm
    run, found = measured(path, panel="left", strip_length_mm=f"{length}", strip_length_u_mm="0.02")
    assert abs(found["leaf.width_mm"].value - truth.width_mm) <= 2 * found["leaf.width_mm"].u
    assert abs(found["leaf.loss_mm2"].value - truth.loss_mm2) <= 2.5 * found["leaf.loss_mm2"].u
    assert "fold" in found["leaf.width_mm"].note
    top = tuple(map(float, run.drawing["fold"].split()[0].split(",")))
    assert top == pytest.approx(truth.corners_px[1], abs=0.5)


def test_sizes_that_run_out_of_the_picture_are_words_not_numbers(scan, tmp_path):
    path, _ = scan
    cut = tmp_path / "cut.tif"
    pixels = tifffile.imread(path)
    tifffile.imwrite(cut, np.ascontiguousarray(pixels[:, :600]), photometric="rgb")
    run, found = measured(cut, dpi="100")
    assert found["leaf.width_mm"].value is None
    assert found["leaf.width_mm"].text.startswith("at least")
    assert found["leaf.height_mm"].value is not None
    assert "leaf.area_mm2" not in found
    assert any("right edge" in says for says in run.warnings)


def test_grey_scans_give_lightness_only(scan, tmp_path):
    path = tmp_path / "grey.tif"
    tifffile.imwrite(path, tifffile.imread(scan[0])[..., 1], photometric="minisblack")
    run, found = measured(path)
    assert "tone.L" in found and "tone.b" not in found and "tone.yellowness" not in found
    assert any("no a*, b*" in says for says in run.warnings)


def test_burnt_out_and_blurred_scans_are_named(scan, tmp_path):
    import cv2

    pixels = tifffile.imread(scan[0])
    bright = np.clip(pixels.astype(float) * 1.5, 0, 255).astype(np.uint8)
    path = tmp_path / "bright.tif"
    tifffile.imwrite(path, bright, photometric="rgb")
    assert any("burnt out" in says for says in measured(path)[0].warnings)
    soft = tmp_path / "soft.tif"
    tifffile.imwrite(soft, cv2.GaussianBlur(pixels, (0, 0), 2.5), photometric="rgb")
    assert any("soft" in says for says in measured(soft)[0].warnings)


def test_the_same_call_gives_the_same_run_and_it_survives_the_journal(scan, whole):
    run, _ = whole
    again, _ = measured(
        scan[0], strip_length_mm="160.0", strip_length_u_mm="0.02", scanner_u_um="20"
    )
    assert again == run
    assert from_body(Run, to_body(run)) == run


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"panel": "middle"}, "whole, left or right"),
        ({"dpi": "3"}, "between 40 and 4800 dpi"),
        ({"dpi": "many"}, "must be a number in dpi"),
        ({"dpi": "nan"}, "between 40 and 4800"),
        ({"known_length_mm": "100"}, "both"),
        ({"known_points": "1,2,3"}, "four pixel numbers"),
        ({"known_length_mm": "9", "known_points": "1,2,3,4"}, "pixels apart"),
        ({"ground": "red"}, "dark or light"),
        ({"colour": "red"}, "knows no parameter"),
        ({"strip_length_mm": "16"}, "between 144 and 176 mm"),
    ],
)
def test_bad_parameters_are_refused_in_a_sentence(bare, params, says):
    with pytest.raises(BadParameter, match=says):
        measured(bare[0], **params)


def test_empty_parameters_count_as_not_given():
    assert read_params({"dpi": "", "panel": ""}) == read_params({})


def test_files_that_are_no_pictures_are_refused(tmp_path):
    bad = tmp_path / "bad.tif"
    bad.write_bytes(b"nothing")
    with pytest.raises(ImageError, match="not a picture"):
        measured(bad)
