"""``quirewell relief`` from files."""

from __future__ import annotations

import json
import re
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner, Result
from numpy.typing import NDArray

from bead_scene import bead_scene
from quirewell.cli.main import main
from quirewell.demo.raked_sheet import rake_sheet, ring
from quirewell.science.colour.spaces import srgb_from_linear
from quirewell.science.imaging.lamps import Lamp
from quirewell.studio.studio import Studio
from raked_studio import ITEM, page_studio, raking_files

AZIMUTHS = (20, 110, 200, 290)


def write(path: Path, light: NDArray[np.float32], dpi: float | None = 101.6) -> str:
    grey = np.round(srgb_from_linear(np.clip(light, 0, 1)) * 65535).astype(np.uint16)
    tags = {} if dpi is None else {"resolution": (dpi, dpi), "resolutionunit": "INCH"}
    rgb = np.repeat(grey[..., None], 3, axis=2)
    tifffile.imwrite(path, rgb, photometric="rgb", **tags)  # type: ignore[arg-type]
    return str(path)


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("raked")
    sheet = rake_sheet(1, ring(4, 25, 20.0), lamp_mm=600)
    for index in range(4):
        write(folder / f"p{index}.tif", sheet.images[index])
        write(folder / f"f{index}.tif", sheet.flats[index])
    lines = "\n".join(f"{azimuth}, 25" for azimuth in AZIMUTHS)
    (folder / "lights.csv").write_text(lines, encoding="utf-8")
    return folder


def called(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["relief", *arguments])


def pictures(folder: Path, *which: int) -> list[str]:
    return [str(folder / f"p{index}.tif") for index in which]


def flats(folder: Path) -> list[str]:
    return [word for index in range(4) for word in ("--flat", str(folder / f"f{index}.tif"))]


def test_four_lamps_with_flat_sheets_give_creases_and_cockle(shots: Path, tmp_path: Path) -> None:
    lights = str(shots / "lights.csv")
    options = [*flats(shots), "-o", str(tmp_path), "--json"]
    result = called(*pictures(shots, 0, 1, 2, 3), lights, *options)
    assert result.exit_code == 0, result.output
    out = json.loads(result.stdout)
    crease, cockle = out["relief"]["crease_mm"], out["relief"]["cockle_rms_um"]
    assert crease["value"] == pytest.approx(66, abs=2 * crease["u"])
    assert cockle["value"] == pytest.approx(128.7, abs=2 * cockle["u"])
    assert any("cool" in says for says in out["warnings"])
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "albedo.png", "creases.png", "height.png", "slope.png",
    ]  # fmt: skip


def test_without_flat_sheets_height_and_cockle_are_withheld(shots: Path, tmp_path: Path) -> None:
    words = [*pictures(shots, 0, 1, 2, 3), str(shots / "lights.csv")]
    out = json.loads(called(*words, "-o", str(tmp_path), "--json").stdout)
    assert out["relief"]["cockle_rms_um"] is None and out["relief"]["slope_rms_deg"] is None
    assert out["relief"]["crease_mm"]["value"] > 50
    assert "withheld" in out["verdict"] and not (tmp_path / "height.png").exists()


def test_two_lamps_give_a_slope_picture_and_say_so(shots: Path, tmp_path: Path) -> None:
    lights = tmp_path / "two.csv"
    lights.write_text("20,25\n200,25\n", encoding="utf-8")
    result = called(*pictures(shots, 0, 2), str(lights), "-o", str(tmp_path / "out"))
    assert result.exit_code == 0 and "picture of slope only" in result.output
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["slope.png"]
    lights.write_text("20,25\n60,25\n", encoding="utf-8")
    assert "opposite sides" in called(*pictures(shots, 0, 2), str(lights)).output


def test_a_second_time_is_laid_on_the_first_times_grid(shots: Path, tmp_path: Path) -> None:
    first = tmp_path / "first"
    words = [*flats(shots), "-o", str(first)]
    assert called(*pictures(shots, 0, 1, 2, 3), str(shots / "lights.csv"), *words).exit_code == 0
    moved = []
    for index in range(4):
        shot = tifffile.imread(shots / f"p{index}.tif")
        pushed = np.full_like(shot, int(np.median(shot)))
        pushed[6:, 4:] = shot[:-6, :-4]
        path = tmp_path / f"m{index}.tif"
        tifffile.imwrite(path, pushed, photometric="rgb", resolution=(101.6, 101.6))
        moved.append(str(path))
    grid = ["--grid", str(first / "albedo.png"), "-o", str(tmp_path / "second")]
    result = called(*moved, str(shots / "lights.csv"), *grid)
    assert result.exit_code == 0, result.output
    one, two = (cv2.imread(str(part / "albedo.png"), 0) for part in (first, tmp_path / "second"))
    assert one.shape == two.shape
    inner = (slice(60, -60), slice(60, -60))
    assert np.corrcoef(one[inner].ravel(), two[inner].ravel())[0, 1] > 0.9


def test_the_lamps_may_be_read_from_a_glossy_bead(tmp_path: Path) -> None:
    rows, columns = np.mgrid[:200, :240]
    nx, ny = (columns - 60.0) / 40, (60.0 - rows) / 40
    inside = nx**2 + ny**2 < 1
    nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1))
    files = []
    for index, light in enumerate(ring(4, 35)):
        back = 2 * nz * (nx * light[0] + ny * light[1] + nz * light[2]) - light[2]
        shot = np.where(inside, 0.02 + np.clip(back, 0, 1) ** 300, 0.5 * light[2])
        files.append(write(tmp_path / f"b{index}.tif", shot.astype(np.float32)))
    lights = tmp_path / "lights.toml"
    lights.write_text("[sphere]\nx = 60\ny = 60\nradius = 40\n", encoding="utf-8")
    result = called(*files, str(lights), "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["relief"]["crease_mm"] is not None


@pytest.mark.parametrize(
    ("lights", "which", "says"),
    [
        ("20,25\n110,25\n200,25\n", (0, 1, 2, 3), "4 pictures and 3 lamps"),
        ("20,25\n20,26\n200,25\n290,25\n", (0, 1, 2, 3), "same side"),
        ("20,25\n", (0,), "two pictures or more"),
        ("0,10\n0,45\n0,80\n", (0, 1, 2), "one plane"),
        ("\x00\x01\n", (0, 1), "line 1"),
    ],
)
def test_what_does_not_fit_is_said_in_a_sentence(
    shots: Path, tmp_path: Path, lights: str, which: tuple[int, ...], says: str
) -> None:
    path = tmp_path / "lights.csv"
    path.write_text(lights, encoding="utf-8")
    result = called(*pictures(shots, *which), str(path))
    assert result.exit_code != 0 and says in result.output


def test_pictures_of_differing_sizes_no_scale_and_long_files_are_refused(
    shots: Path, tmp_path: Path
) -> None:
    small = [write(tmp_path / f"s{i}.tif", np.full((90, 90 + i), 0.4, np.float32)) for i in (0, 1)]
    two = tmp_path / "two.csv"
    two.write_text("0,25\n180,25\n", encoding="utf-8")
    assert "one size" in called(*small, str(two)).output
    bare = [write(tmp_path / f"n{i}.tif", np.full((90, 90), 0.4, np.float32), None) for i in (0, 1)]
    assert "state the dpi" in called(*bare, str(two)).output
    assert called(*bare, str(two), "--dpi", "abc").exit_code != 0
    assert called(*bare, str(two), "--dpi", "150").exit_code == 0
    two.write_text("0,25\n" * 20_000, encoding="utf-8")
    assert "too long" in called(*small, str(two)).output
    assert "No such file" in called(*bare, str(tmp_path / "none.csv")).output


def test_a_relief_is_kept_in_a_studio_and_lies_on_the_scan(tmp_path: Path) -> None:
    folder = raking_files(tmp_path / "raked", degrees=8.0, scale=0.9)
    page_studio(tmp_path / "studio", folder / "scan.tif").close()
    words = [*pictures(folder, 0, 1, 2, 3), str(folder / "lights.csv"), *flats(folder)]
    where = ["--studio", str(tmp_path / "studio"), "--item", "copperbeck garden annual"]
    result = called(*words, *where, "--page", "1.outer.left", "--json")
    assert result.exit_code == 0, result.output
    kept = json.loads(result.stdout)["recorded"]
    assert (kept["page"], kept["moment"], kept["on_scan"]) == ("w01.outer.left", "before", True)
    with Studio.open(tmp_path / "studio") as studio:
        assert kept["run"] in studio.state(ITEM).runs
    said = called(*words, *where, "--page", "w02.outer.left", "--moment", "after")
    assert said.exit_code == 0
    assert "wrap 2, outer side, left" in said.stdout and "shown by itself" in said.stdout


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--item", "annual"], "--studio DIR"),
        (["--studio", "{}"], "--item and --page"),
        (["--studio", "{}", "--item", "nobody", "--page", "w01.outer.left"], "no item"),
        (["--studio", "{}", "--item", ITEM, "--page", "w01"], "Name one page"),
        (["--studio", "{}", "--item", ITEM, "--page", "w07.outer.left"], "wraps 1 to 2"),
        (["--studio", "nowhere", "--item", "a", "--page", "w01.outer.left"], "no studio"),
    ],
)
def test_what_is_wrongly_said_of_the_record_is_a_sentence(
    shots: Path, tmp_path: Path, options: list[str], says: str
) -> None:
    page_studio(tmp_path / "studio", None).close()
    options = [word.format(tmp_path / "studio") for word in options]
    result = called(*pictures(shots, 0, 1, 2, 3), str(shots / "lights.csv"), *options)
    assert result.exit_code == 2 and says in result.stderr, result.output
    assert "Traceback" not in result.output


def test_the_sphere_finds_itself_and_the_lamps_are_told(tmp_path: Path) -> None:
    lamps = [Lamp(float(azimuth), 30.0) for azimuth in AZIMUTHS]
    for index, shot in enumerate(bead_scene(2, lamps, [(450.3, 200.7, 32.0)])):
        write(tmp_path / f"p{index}.tif", shot)
    result = called(*pictures(tmp_path, 0, 1, 2, 3), "sphere", "--json")
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)["lamps"]
    numbers = [float(part) for part in re.findall(r"[\d.]+(?= ±)", said)]
    assert numbers[:3] == pytest.approx([450.3, 200.7, 32.0], abs=0.2)
    stands = said.split("elevation ")[1].split(" degrees")[0]
    found = [part.split(", ") for part in stands.split("; ")]
    for (azimuth, elevation), lamp in zip(found, lamps, strict=True):
        assert abs(float(azimuth) - lamp.azimuth_deg) <= 3
        assert abs(float(elevation) - lamp.elevation_deg) <= 2


def test_where_no_sphere_is_found_it_is_a_sentence(shots: Path) -> None:
    result = called(*pictures(shots, 0, 1, 2, 3), "sphere")
    assert result.exit_code == 2 and "no glossy sphere was found" in result.stderr
