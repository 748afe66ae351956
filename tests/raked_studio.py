"""Raking pictures of one page as files, and a studio that holds the page's scan, for tests."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from quirewell.demo.raked_sheet import RakedSheet, rake_sheet, ring
from quirewell.science.colour.spaces import srgb_from_linear
from quirewell.stages import survey
from quirewell.stages.overview import open_item
from quirewell.stages.relief_recording import record_relief
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"
PAGE = "w01.outer.left"
DPI = 101.6
LAMPS = 4
AZIMUTHS = tuple(20.0 + 90.0 * index for index in range(LAMPS))
Light = NDArray[np.float32]


def write(path: Path, light: Light, dpi: float | None = DPI) -> Path:
    """Linear light as a TIFF of 16 bits."""
    grey = np.round(srgb_from_linear(np.clip(light, 0, 1)) * 65535).astype(np.uint16)
    tags = {} if dpi is None else {"resolution": (dpi, dpi), "resolutionunit": "INCH"}
    rgb = np.repeat(grey[..., None], 3, axis=2)
    tifffile.imwrite(path, rgb, photometric="rgb", **tags)  # type: ignore[arg-type]
    return path


def raked(seed: int = 1, cockle_um: float = 130.0) -> tuple[RakedSheet, Light]:
    """A sheet under four lamps, and the same sheet lit from straight above, as a scan sees it."""
    lights = np.vstack([ring(LAMPS, 25, 20.0), [[0.0, 0.0, 1.0]]])
    drawn = rake_sheet(seed, lights, lamp_mm=600, cockle_um=cockle_um)
    return drawn, np.asarray(drawn.images[-1], np.float32)


def turned(light: Light, degrees: float, scale: float = 1.0) -> Light:
    """A picture as a camera sees it that stands turned: its content goes clockwise."""
    height, width = light.shape
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -degrees, scale)
    return np.asarray(cv2.warpAffine(light, matrix, (width, height), flags=cv2.INTER_CUBIC),
                      np.float32)  # fmt: skip


def raking_files(
    folder: Path,
    degrees: float = 0.0,
    scale: float = 1.0,
    seed: int = 1,
    cockle_um: float = 130.0,
) -> Path:
    """``p0.tif`` .., ``f0.tif`` .., ``scan.tif`` and ``lights.csv``, the camera turned."""
    folder.mkdir(exist_ok=True)
    drawn, scan = raked(seed, cockle_um)
    for index in range(LAMPS):
        write(folder / f"p{index}.tif", turned(drawn.images[index], degrees, scale), DPI * scale)
        write(folder / f"f{index}.tif", turned(drawn.flats[index], degrees, scale), DPI * scale)
    write(folder / "scan.tif", 0.9 * scan)
    lines = [f"{(azimuth + degrees) % 360:g}, 25" for azimuth in AZIMUTHS]
    (folder / "lights.csv").write_text("\n".join(lines), encoding="utf-8")
    return folder


def roles(folder: Path) -> dict[str, Path]:
    """Files of :func:`raking_files` by the roles of the method."""
    return {
        **{f"picture{index + 1:02d}": folder / f"p{index}.tif" for index in range(LAMPS)},
        **{f"flat{index + 1:02d}": folder / f"f{index}.tif" for index in range(LAMPS)},
    }


def treated_studio(folder: Path) -> Studio:
    """A studio with a page scanned and lit before and after it was pressed, and compared."""
    before = raking_files(folder / "before", degrees=8.0, scale=0.9)
    after = raking_files(folder / "after", degrees=-5.0, scale=0.9, cockle_um=50.0)
    write(after / "scan.tif", turned(0.9 * raked(1, 50.0)[1], 0.6))
    studio = page_studio(folder / "studio", before / "scan.tif")
    take_in(studio, ITEM, [Source("w01-outer-left-after.tif", after / "scan.tif")])
    for call in survey.to_compare(studio.state(ITEM), studio.blobs.path):
        body = survey.carry_out(*call.arguments)
        studio.append(ITEM, None, survey.recorded(studio.state(ITEM), body))
    for moment, shots in (("before", before), ("after", after)):
        params = {"lamps": (shots / "lights.csv").read_text(encoding="utf-8")}
        kept = record_relief(studio, ITEM, PAGE, moment, roles(shots), params)
        assert not kept.apart, kept.apart
    return studio


def page_studio(folder: Path, scan: Path | None, moment: str = "before") -> Studio:
    """A studio with one item of two wraps, and the scan of one page of it."""
    studio = Studio.create(folder, "Larkmoor paper bench")
    studio.append(ITEM, 0, open_item(ITEM, {"title": "Copperbeck Garden Annual", "wraps": "2"}))
    if scan is not None:
        take_in(studio, ITEM, [Source(f"w01-outer-left-{moment}.tif", scan)])
    return studio
