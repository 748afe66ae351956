"""Method target.fit: from a photograph of the target to a line that measuring can use."""

from pathlib import Path

import numpy as np
import pytest
import tifffile

from chart_pictures import shoot
from quirewell.demo.scenes import render_leaf
from quirewell.science.colour.spaces import linear_from_srgb, srgb_from_linear
from quirewell.science.colour.target24 import edition_lab
from quirewell.science.colour.target_use import target_from_text
from quirewell.stages.characterising import BadTarget
from quirewell.stages.methods import run_method

MIX = np.array([[0.8, 0.25, 0.05], [0.1, 0.85, 0.1], [0.02, 0.25, 0.6]])
SIZE = (600, 800)


def saved(path: Path, pixels) -> Path:
    tifffile.imwrite(path, pixels, photometric="rgb")
    return path


@pytest.fixture
def chart(tmp_path) -> Path:
    return saved(tmp_path / "chart.tif", shoot(1, size=SIZE, scale=1.6, mix=MIX).pixels)


def run(files, **params):
    return run_method("target.fit", "target", files, params=params)


def found(run_):
    return {finding.quantity: finding for finding in run_.findings}


def cgats(rows) -> str:
    lines = "\n".join(f"p{n} {' '.join(f'{v:.3f}' for v in row)}" for n, row in enumerate(rows))
    return (
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{lines}\nEND_DATA\n"
    )


def test_a_target_is_fitted_and_its_quality_stated(chart):
    made = found(run({"chart": chart}, edition="after-2014"))
    assert made["target.dE00_mean"].value < 0.2 < made["target.delivered_dE00"].value
    assert made["target.dE00_max"].value >= made["target.dE00_p90"].value
    assert made["target.patches"].value == 24
    assert 0.05 < made["target.noise_L"].value < 0.6
    use = target_from_text(made["target.use"].text)
    true = np.array([[0.5, 0.4, 0.3]])
    from quirewell.science.colour.spaces import lab_from_linear

    assert use.predict(0.9 * true @ MIX.T) == pytest.approx(lab_from_linear(true), abs=0.3)


def test_the_edition_has_to_be_said(chart):
    with pytest.raises(BadTarget, match="which edition"):
        run({"chart": chart})
    with pytest.raises(BadTarget, match="edition is"):
        run({"chart": chart}, edition="1976")


def test_ones_own_file_wins_in_any_order_of_its_rows(chart, tmp_path):
    rows = edition_lab("after-2014")[np.random.default_rng(3).permutation(24)]
    file = tmp_path / "mine.txt"
    file.write_text(cgats(rows))
    made = found(run({"chart": chart, "reference": file}))
    assert made["target.dE00_mean"].value < 0.2
    assert "your own" in made["target.reference"].text


def test_the_wrong_edition_fits_worse(chart):
    right, wrong = (
        found(run({"chart": chart}, edition=edition))["target.dE00_mean"].value
        for edition in ("after-2014", "before-2014")
    )
    assert wrong > right + 0.3


def test_measured_papers_are_taken_from_their_places(tmp_path):
    shot = shoot(2, size=SIZE, scale=1.5, mix=MIX, clutter=False)
    tones = np.array([[84.0, 1.0, 9.0], [76.0, 4.0, 20.0]])
    from quirewell.science.colour.spaces import linear_from_lab

    pixels = shot.pixels.copy()
    for x, tone in zip((10, 60), tones, strict=True):
        light = 0.9 * linear_from_lab(tone) @ MIX.T
        pixels[10:50, x : x + 40] = np.round(255 * srgb_from_linear(light))
    file = tmp_path / "papers.txt"
    file.write_text(cgats(tones))
    files = {"chart": saved(tmp_path / "c.tif", pixels), "paper": file}
    made = found(run(files, edition="after-2014", paper_at="12,12,30,30; 62,12,30,30"))
    assert made["target.papers_dE00"].value < 0.5
    with pytest.raises(BadTarget, match="2 readings and 1 places"):
        run(files, edition="after-2014", paper_at="12,12,30,30")
    with pytest.raises(BadTarget, match="both"):
        run(files, edition="after-2014")
    with pytest.raises(BadTarget, match="inside the picture"):
        run(files, edition="after-2014", paper_at="12,12,30,30;790,12,30,30")


def test_a_chart_half_in_shadow_gets_no_fit(tmp_path):
    shade = np.ones(SIZE)
    shade[:, SIZE[1] // 2 :] = 0.55
    shot = shoot(3, size=SIZE, scale=1.6, mix=MIX, shade=shade)
    made = run({"chart": saved(tmp_path / "c.tif", shot.pixels)}, edition="after-2014")
    assert [finding.quantity for finding in made.findings] == ["target.verdict"]
    assert made.findings[0].text.startswith("no fit: The right half of the target is in shadow: ")
    assert made.findings[0].text.endswith("light it evenly and take it again.")
    assert made.drawing["patches_px"].count(";") == 23


def test_a_flat_field_of_another_size_is_refused(chart, tmp_path):
    flat = saved(tmp_path / "flat.tif", np.full((100, 100, 3), 200, np.uint8))
    with pytest.raises(BadTarget, match="100 x 100"):
        run({"chart": chart, "flat": flat}, edition="after-2014")


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"colour": "x"}, "no parameter"),
        ({"corners": "1,2,3"}, "pixel numbers"),
        ({"corners": "1,2,3,4,5,6,7,8," * 2 + "1"}, "pixel numbers"),
        ({"corners": "1,2,3,4,5,6,7,nan"}, "pixel numbers"),
        ({"model": "spline"}, "chosen, linear or root"),
    ],
)
def test_bad_parameters_are_told_so(chart, params, says):
    with pytest.raises(BadTarget, match=says):
        run({"chart": chart}, edition="after-2014", **params)


def test_a_leaf_is_measured_through_the_target(tmp_path, chart):
    """A scanner with colours of its own: as delivered far off, through the target right."""
    pixels, truth = render_leaf(2, 75, width_mm=150.0, height_mm=200.0)
    seen = 0.9 * linear_from_srgb(pixels / 255.0) @ MIX.T
    leaf = saved(tmp_path / "leaf.tif", np.round(255 * srgb_from_linear(seen)).astype(np.uint8))
    straight = saved(tmp_path / "straight.tif", pixels)
    use = found(run({"chart": chart}, edition="after-2014"))["target.use"].text
    true, plain, through = (
        found(run_method("leaf.measure", "image", {"image": file}, params={"dpi": "75"} | extra))
        for file, extra in ((straight, {}), (leaf, {}), (leaf, {"target": use}))
    )
    for name in ("tone.L", "tone.a", "tone.b", "tone.margin_L", "tone.margin_b"):
        assert through[name].value == pytest.approx(true[name].value, abs=0.6)
        assert through[name].u < plain[name].u
    assert abs(plain["tone.b"].value - true["tone.b"].value) > 2.0
    assert through["tone.yellowness"].value == pytest.approx(true["tone.yellowness"].value, abs=2)
    assert true["tone.L"].value == pytest.approx(truth.tone_median[0], abs=2 * true["tone.L"].u)
