from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from paired_pages import blank_paper, plant, printed_page, shoot
from quirewell.demo import scenes
from quirewell.demo.scans import write_scan
from quirewell.record.finding import Finding, Run
from quirewell.science.colour.spaces import linear_from_srgb, srgb_from_linear
from quirewell.stages.comparing import as_json, compare, read_params
from quirewell.stages.methods import run_method
from quirewell.stages.pair_pictures import open_pair
from quirewell.stages.pair_shots import write_alike, write_difference, write_scanned, write_small

DPI = 100
SAMPLES = sorted((Path(__file__).parents[2].parent / "shared" / "samples").glob("*.tif"))


def render_pair(seed: int, dpi: int, **planted: Any) -> Any:
    """A small leaf, so that each test takes about a second."""
    return scenes.render_pair(seed, dpi, width_mm=150.0, height_mm=200.0, **planted)


def render_leaf(seed: int, dpi: int) -> Any:
    return scenes.render_leaf(seed, dpi, width_mm=150.0, height_mm=200.0)


def _files(
    folder: Path, before: np.ndarray, after: np.ndarray, dpi: float = DPI
) -> dict[str, Path]:
    out = {}
    for role, picture in (("before", before), ("after", after)):
        rgb = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=2)
        out[role] = folder / f"{role}.tif"
        write_scan(out[role], rgb, dpi)
    return out


def _found(run: Run) -> dict[str, Finding]:
    return {finding.quantity: finding for finding in run.findings}


def _number(finding: Finding) -> tuple[float, float]:
    assert finding.value is not None
    assert finding.u is not None
    return finding.value, finding.u


def _run(files: dict[str, Path], **params: str) -> Run:
    return run_method("pair.compare", "w01.outer.left", files, params=params)


@pytest.fixture(scope="module")
def demo_pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Path], Any]:
    before, after, truth = render_pair(11, DPI, change_width_pct=0.35, change_height_pct=0.05)
    return _files(tmp_path_factory.mktemp("pair"), before, after), truth


def test_planted_size_and_colour_lie_inside_the_stated_uncertainty(
    demo_pair: tuple[dict[str, Path], Any],
) -> None:
    files, truth = demo_pair
    found = _found(_run(files))
    for quantity, true in (
        ("change.width_pct", truth.change_width_pct),
        ("change.height_pct", truth.change_height_pct),
        ("paper.dE00", truth.paper_dE00),
    ):
        value, u = _number(found[quantity])
        assert abs(value - true) < 2 * u, quantity
    match = {term.name: term.u for term in found["change.width_pct"].terms}["match"]
    assert abs(found["change.width_pct"].value - truth.change_width_pct) < 0.02
    assert match < 0.02


def test_the_whole_uncertainty_is_its_four_terms(
    demo_pair: tuple[dict[str, Path], Any],
) -> None:
    width = _found(_run(demo_pair[0]))["change.width_pct"]
    assert [term.name for term in width.terms] == ["match", "scale", "scanner", "humidity"]
    assert width.u == pytest.approx(math.sqrt(sum(term.u**2 for term in width.terms)))
    assert all(term.basis for term in width.terms)
    assert width.smallest_seen is not None
    assert width.smallest_seen == pytest.approx((2.2414 + 1.6449) * width.u, rel=1e-3)


def test_humidity_readings_narrow_the_answer_and_a_difference_widens_it(
    demo_pair: tuple[dict[str, Path], Any],
) -> None:
    files = demo_pair[0]
    unknown = _found(_run(files))["change.width_pct"].u
    equal = _found(_run(files, rh_before_pct="50", rh_after_pct="50"))["change.width_pct"].u
    apart = _found(_run(files, rh_before_pct="40", rh_after_pct="60"))["change.width_pct"].u
    assert equal < unknown < apart


def test_a_calibrated_scanner_narrows_the_bend_as_it_narrows_the_size(
    demo_pair: tuple[dict[str, Path], Any],
) -> None:
    unknown, known = (
        _found(_run(demo_pair[0], **params))
        for params in ({}, {"scanner_u_um": "50", "scanner_repeat_um": "3"})
    )
    for quantity in ("field.rms_um", "change.width_pct"):
        terms = {term.name: term for term in known[quantity].terms}
        assert terms["scanner"].basis.startswith("calibrated scanner")
        assert known[quantity].u < unknown[quantity].u
        assert known[quantity].value == unknown[quantity].value
    scanner = next(term for term in known["field.rms_um"].terms if term.name == "scanner")
    assert math.sqrt(2) * 3 <= scanner.u <= math.sqrt(2) * math.hypot(3, 50)


def test_params_are_not_seen_by_the_match(demo_pair: tuple[dict[str, Path], Any]) -> None:
    one = _found(_run(demo_pair[0]))
    two = _found(_run(demo_pair[0], margin_pct="0.5", grain="unknown"))
    assert one["change.width_pct"].value == two["change.width_pct"].value
    assert one["paper.dE00"].value == two["paper.dE00"].value


def test_the_same_call_gives_the_same_numbers(demo_pair: tuple[dict[str, Path], Any]) -> None:
    assert _run(demo_pair[0]) == _run(demo_pair[0])


def test_json_nests_what_the_command_line_promises(
    demo_pair: tuple[dict[str, Path], Any],
) -> None:
    out = as_json(_run(demo_pair[0]))
    assert set(out["change"]["width_pct"]) >= {"value", "u", "unit", "terms", "low90", "high90"}
    assert set(out["change"]["width_pct"]["terms"]) == {"match", "scale", "scanner", "humidity"}
    assert out["change"]["smallest_detectable_pct"]["unit"] == "%"
    smallest = out["change"]["smallest_detectable_match_pct"]["value"]
    assert 0 < smallest < out["change"]["smallest_detectable_pct"]["value"]
    assert out["registration"]["residual_um"]["unit"] == "um"
    assert out["verdict"].split()[0] in ("changed", "unchanged", "cannot")


def test_the_same_file_twice_is_unchanged_and_asked_about(tmp_path: Path) -> None:
    before, _, _ = render_pair(12, DPI)
    run = _run(_files(tmp_path, before, before))
    found = _found(run)
    assert found["verdict"].text.startswith("unchanged within")
    assert found["change.width_pct"].value == pytest.approx(0.0, abs=1e-5)
    assert found["change.width_pct"].u > 0.01
    assert found["paper.dE00"].value == pytest.approx(0.0, abs=1e-9)
    assert any("given twice" in says for says in run.warnings)


def test_a_large_change_is_called_and_a_margin_can_be_proved(tmp_path: Path) -> None:
    before, after, _ = render_pair(13, DPI, change_width_pct=1.2, change_height_pct=0.0)
    files = _files(tmp_path, before, after)
    assert _found(_run(files))["verdict"].text.startswith("changed (width)")
    assert _found(_run(files, margin_pct="2"))["verdict"].text.startswith("unchanged within 2 %")


def test_two_pages_cannot_be_compared_and_no_number_is_given(tmp_path: Path) -> None:
    files = _files(tmp_path, render_leaf(14, DPI)[0], render_leaf(15, DPI)[0])
    run = _run(files)
    assert [finding.quantity for finding in run.findings] == ["verdict"]
    assert run.findings[0].text.startswith("cannot tell")
    assert as_json(run)["change"]["width_pct"] is None


def test_a_blank_leaf_is_compared_by_its_outline_with_a_wide_band(tmp_path: Path) -> None:
    rng = np.random.default_rng(16)
    pictures = []
    for grown in (0, 4):
        picture = np.full((700, 560), 30.0)
        picture[100:600, 80 : 440 + grown] = 190.0
        pictures.append(np.clip(picture + rng.normal(0, 2, picture.shape), 0, 255).astype(np.uint8))
    found = _found(_run(_files(tmp_path, *pictures)))
    value, u = _number(found["change.width_pct"])
    assert abs(value - 100 * 4 / 360) < 2 * u + 0.3
    assert {term.name: term.basis for term in found["change.width_pct"].terms}["match"].startswith(
        "outlines"
    )


def test_an_upside_down_leaf_is_named_and_its_scanner_term_widened(tmp_path: Path) -> None:
    before, after, truth = render_pair(17, DPI, strip=False)
    upright = _found(_run(_files(tmp_path, before, after)))
    turned = _run(_files(tmp_path, before, np.ascontiguousarray(after[::-1, ::-1])))
    assert any("upside down" in says for says in turned.warnings)
    width = _found(turned)["change.width_pct"]
    assert width.value == pytest.approx(truth.change_width_pct, abs=2 * width.u)
    assert width.u > upright["change.width_pct"].u


def test_a_mirrored_scan_is_refused_by_name(tmp_path: Path) -> None:
    before, after, _ = render_pair(18, DPI, strip=False)
    run = _run(_files(tmp_path, before, np.ascontiguousarray(after[:, ::-1])))
    assert "mirror image" in _found(run)["verdict"].text


def test_a_wrong_resolution_is_noticed(tmp_path: Path) -> None:
    before, after, _ = render_pair(19, DPI, strip=False)
    run = _run(_files(tmp_path, before, after), dpi_after="150")
    assert any("one of the resolutions stated is wrong" in says for says in run.warnings)


def _dimmed(pixels: Any, share: float) -> Any:
    light = share * linear_from_srgb(pixels / 255)
    return np.round(255 * srgb_from_linear(light)).astype(np.uint8)


def test_a_dimmer_lamp_is_seen_by_the_strip_and_taken_out(tmp_path: Path) -> None:
    before, after, _ = render_pair(20, DPI)
    plain = _found(_run(_files(tmp_path, before, after)))["paper.dL"]
    run = _run(_files(tmp_path, before, _dimmed(after, 0.94)))
    assert any("lit differently" in says for says in run.warnings)
    corrected = _found(run)["paper.dL"]
    assert corrected.value == pytest.approx(plain.value, abs=0.4)
    assert corrected.u > plain.u


def test_no_colour_verdict_when_the_scanner_changed_its_exposure(tmp_path: Path) -> None:
    before, after, _ = render_pair(20, DPI)
    run = _run(_files(tmp_path, before, _dimmed(after, 0.85)))
    found = _found(run)
    assert found["paper.dE00"].value is None and "withheld" in found["paper.dE00"].text
    assert "paper.dL" not in found and "change.width_pct" in found
    assert any("automatic exposure" in says for says in run.warnings)


def test_without_the_strip_the_colours_band_is_wider(tmp_path: Path) -> None:
    u = []
    for strip in (True, False):
        before, after, _ = render_pair(21, DPI, strip=strip)
        u.append(_found(_run(_files(tmp_path, before, after)))["paper.dL"].u)
    assert u[1] > 1.2 * u[0]


def test_the_difference_and_the_curtain_are_pictures_of_the_first_ones_shape(
    tmp_path: Path, demo_pair: tuple[dict[str, Path], Any]
) -> None:
    write_difference(demo_pair[0], {}, {}, tmp_path / "difference.png", longest_px=600)
    for name, write in (("after", write_alike), ("scanned", write_scanned)):
        write(demo_pair[0], {}, {}, tmp_path / f"{name}.png", longest_px=600)
    difference = cv2.imread(str(tmp_path / "difference.png"))
    after = cv2.imread(str(tmp_path / "after.png"))
    before = open_pair(demo_pair[0], {}).before.grey
    assert max(after.shape) == 600
    assert after.shape[0] / after.shape[1] == pytest.approx(
        before.shape[0] / before.shape[1], rel=0.01
    )
    assert difference.shape[0] > after.shape[0]
    assert cv2.imread(str(tmp_path / "scanned.png")).shape == after.shape
    write_small(demo_pair[0], {}, _run(demo_pair[0]).drawing, tmp_path / "small")
    small = {path.stem: cv2.imread(str(path)) for path in (tmp_path / "small").iterdir()}
    assert set(small) == {"before", "after", "difference"}
    assert len({picture.shape for picture in small.values()}) == 1
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"panle": "left"}, "knows no parameter 'panle'"),
        ({"dpi": "9"}, "dpi must lie between 50 and 4800"),
        ({"margin_pct": "much"}, "margin_pct must be a number"),
        ({"rh_before_pct": "nan"}, "rh_before_pct must be a number"),
        ({"grain": "diagonal"}, "grain must be height, width or unknown"),
        ({"same_day": "maybe"}, "same_day must be yes or no"),
        ({"strip_length_mm": "16"}, "between 100 and 220 mm"),
    ],
)
def test_a_bad_parameter_is_refused_with_a_sentence(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_params(params)


def _own_page() -> np.ndarray:
    rng = np.random.default_rng(21)
    return shoot(rng, printed_page(rng, (840, 640)))


@pytest.mark.parametrize("source", [None, *SAMPLES], ids=lambda s: s.stem if s else "own page")
def test_a_known_change_planted_on_a_scan_is_found(source: Path | None, tmp_path: Path) -> None:
    if source is None:
        grey, dpi = _own_page(), 100.0
    else:
        grey = cv2.imread(str(source), cv2.IMREAD_GRAYSCALE)
        grey, dpi = cv2.resize(grey, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA), 120.0
    truth = plant(grey.shape, 0.004, -0.001, rotation_deg=0.4, shift=(6.3, -4.4))
    after = cv2.warpAffine(
        grey.astype(np.float32), truth.affine, grey.shape[::-1], flags=cv2.INTER_LANCZOS4,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    after = 0.9 * after + 22 + np.random.default_rng(1).normal(0, 1.5, after.shape)
    found = _found(
        _run(_files(tmp_path, grey, np.clip(np.round(after), 0, 255).astype(np.uint8), dpi))
    )
    assert found["change.width_pct"].value == pytest.approx(0.4, abs=0.01)
    assert found["change.height_pct"].value == pytest.approx(-0.1, abs=0.01)


def test_blank_textured_paper_without_ground_is_matched_or_honestly_not(tmp_path: Path) -> None:
    rng = np.random.default_rng(22)
    before, after = (shoot(rng, blank_paper(rng, (500, 400), texture=0)) for _ in range(2))
    run = _run(_files(tmp_path, before, after))
    assert _found(run)["verdict"].text.startswith("cannot tell: the first picture has too little")


def test_the_method_names_itself() -> None:
    assert (compare.__doc__ or "").startswith("Change of size and of paper colour")
