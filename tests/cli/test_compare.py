"""``quirewell compare`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result

from paired_pages import plant, printed_page, shoot
from quirewell.cli.compare import compare
from quirewell.demo import scenes
from quirewell.demo.scans import write_scan
from quirewell.science.colour.spaces import lab_from_srgb
from quirewell.science.imaging.strip import GREYS


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("scans")
    rng = np.random.default_rng(41)
    page = printed_page(rng, (520, 400))
    truth = plant((520, 400), 0.008, 0.0)
    pictures = shoot(rng, page), shoot(rng, page, truth.affine, gain=0.95, lift=10)
    paths = folder / "before.tif", folder / "after.tif"
    for path, picture in zip(paths, pictures, strict=True):
        write_scan(path, np.repeat(picture[..., None], 3, axis=2), 100)
    return paths


def _call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(compare, [str(part) for part in arguments])


def test_json_is_all_there_is_on_standard_output(scans: tuple[Path, Path]) -> None:
    result = _call(*scans, "--json", "--rh-before-pct", "48,5", "--rh-after-pct", "50")
    out = json.loads(result.stdout)
    assert result.exit_code == 0
    assert out["change"]["width_pct"]["value"] == pytest.approx(0.8, abs=0.02)
    assert set(out["change"]["width_pct"]["terms"]) == {"match", "scale", "scanner", "humidity"}
    smallest = out["change"]["smallest_detectable_pct"]
    assert smallest["value"] > 0 and (smallest["u"], smallest["low90"]) == (None, None)
    assert out["registration"]["points"]["u"] == 0
    assert out["registration"]["residual_um"]["value"] < 100
    assert out["verdict"].startswith("changed (width)")
    assert out["params"]["rh_before_pct"] == "48.5"
    assert len(out["inputs"]["before"]["sha256"]) == 64
    assert isinstance(out["warnings"], list)


def test_the_card_gives_the_budget_and_the_verdict(scans: tuple[Path, Path]) -> None:
    said = _call(*scans).stdout
    for words in ("width", "match", "humidity", "surely seen from", "Verdict: changed"):
        assert words in said


def test_pictures_are_written_where_asked(scans: tuple[Path, Path], tmp_path: Path) -> None:
    difference, registered = tmp_path / "d.png", tmp_path / "r.png"
    plain = json.loads(_call(*scans, "--json").stdout)
    result = _call(*scans, "--json", "--difference", difference, "--registered", registered)
    out = json.loads(result.stdout)
    assert out["change"] == plain["change"]
    assert out["pictures"] == {"difference": str(difference), "registered": str(registered)}
    assert cv2.imread(str(registered)).shape == (520, 400, 3)
    assert cv2.imread(str(difference)).shape[0] > 520


def test_no_picture_is_written_of_two_different_pages(
    scans: tuple[Path, Path], tmp_path: Path
) -> None:
    other = tmp_path / "other.tif"
    rng = np.random.default_rng(42)
    picture = shoot(rng, printed_page(rng, (520, 400)))
    write_scan(other, np.repeat(picture[..., None], 3, axis=2), 100)
    result = _call(scans[0], other, "--json", "--difference", tmp_path / "d.png")
    out = json.loads(result.stdout)
    assert result.exit_code == 0
    assert out["change"]["width_pct"] is None
    assert out["verdict"].startswith("cannot tell")
    assert not (tmp_path / "d.png").exists()
    assert "No picture was written" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--margin-pct", "-1"), "margin must be above 0 %"),
        (("--dpi", "3"), "dpi must lie between 50 and 4800"),
        (("--rh-before-pct", "120", "--rh-after-pct", "50"), "between 0 and 100 % RH"),
    ],
)
def test_a_bad_option_is_refused_with_a_sentence(
    scans: tuple[Path, Path], arguments: tuple[str, ...], says: str
) -> None:
    result = _call(*scans, *arguments)
    assert result.exit_code == 1
    assert says in result.stderr
    assert "Traceback" not in result.output


def test_a_file_that_is_missing_or_no_picture_is_named(
    scans: tuple[Path, Path], tmp_path: Path
) -> None:
    assert "none.tif: No such file" in _call(scans[0], tmp_path / "none.tif").stderr
    words = tmp_path / "words.tif"
    words.write_text("not a picture", encoding="utf-8")
    result = _call(scans[0], words)
    assert result.exit_code == 1
    assert "words.tif is not a picture" in result.stderr


def test_known_greys_tell_each_scans_exposure(tmp_path: Path) -> None:
    before, after, _ = scenes.render_pair(31, 100, width_mm=150.0, height_mm=200.0)
    for role, picture in (("before", before), ("after", after)):
        write_scan(tmp_path / f"{role}.tif", picture, 100)
    pair = tmp_path / "before.tif", tmp_path / "after.tif"
    drawn = lab_from_srgb(np.repeat(np.array(GREYS)[:, None] / 255.0, 3, axis=1))[:, 0]
    greys = " ".join(f"{value:.2f}" for value in drawn)
    out = json.loads(_call(*pair, "--greys", greys, "--json").stdout)
    assert abs(out["exposure"]["before_dL"]["value"]) < 1.0
    assert "greys before, L*" in _call(*pair, "--greys", greys).stdout


def test_greys_that_are_none_are_refused_with_an_example(scans: tuple[Path, Path]) -> None:
    result = _call(*scans, "--greys", "white")
    assert result.exit_code != 0
    assert "six lightnesses" in result.output
