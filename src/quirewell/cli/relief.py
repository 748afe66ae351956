"""``quirewell relief``: creases and cockle from raking light (more instruments)."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import click

from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Input, Run
from quirewell.stages.methods import run_method
from quirewell.stages.pair_pictures import write_png
from quirewell.stages.relieving import METHOD, pictures_of, solve
from quirewell.stages.results import show
from quirewell.studio.images import ImageError

_FILE = click.Path(path_type=Path, dir_okay=False)
_MOST_BYTES = 50_000


@click.command()
@click.argument("images", nargs=-1, required=True, type=_FILE)
@click.argument("lights", type=_FILE)
@click.option(
    "--flat",
    "flats",
    multiple=True,
    type=_FILE,
    metavar="IMAGE",
    help="A flat white sheet under the same lamp; once for each picture, in the same order.",
)
@click.option("--dpi", default="", metavar="DPI", help="Resolution of the pictures on the sheet.")
@click.option(
    "--lamp-u-deg",
    default="",
    metavar="DEG",
    help="How sure the lamps' angles are: standard uncertainty in degrees (2).",
)
@click.option(
    "--grid",
    type=_FILE,
    metavar="IMAGE",
    help="Lay everything on this earlier picture of the sheet (albedo.png of the first time).",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write slope, creases, height and albedo as pictures here.",
)
@click.option("--json", "wants_json", is_flag=True, help="JSON on standard output, nothing else.")
def relief(
    images: tuple[Path, ...],
    lights: Path,
    flats: tuple[Path, ...],
    dpi: str,
    lamp_u_deg: str,
    grid: Path | None,
    output: Path | None,
    wants_json: bool,
) -> None:
    """Measure creases and cockle from IMAGES, each lit from another side.

    \b
    Examples:
      quirewell relief left.tif right.tif two-lamps.csv -o slope
      quirewell relief a.tif b.tif c.tif d.tif lights.csv --flat fa.tif --flat fb.tif
        --flat fc.tif --flat fd.tif --dpi 150 -o relief --json

    LIGHTS is a small text: for each picture a line "azimuth, elevation" in degrees, azimuth
    clockwise from the head of the picture. Or TOML with a [sphere] of x, y and radius in pixels:
    a glossy black bead in the pictures then shows where each lamp stood.

    Two lamps and a slope picture are the easy way. Camera and sheet must not move between the
    pictures, exposure must be fixed. Keep lamps cool and brief on brittle paper.
    """
    try:
        if lights.stat().st_size > _MOST_BYTES:
            raise ValueError("the lights file is too long: it holds a line of two numbers a lamp")
        params = {"lamps": lights.read_bytes().decode("utf-8", "replace")}
        params |= {"dpi": dpi.replace(",", ".")} if dpi else {}
        params |= {"lamp_u_deg": lamp_u_deg.replace(",", ".")} if lamp_u_deg else {}
        files = {f"picture{number:02d}": path for number, path in enumerate(images, 1)}
        files |= {f"flat{number:02d}": path for number, path in enumerate(flats, 1)}
        files |= {"grid": grid} if grid else {}
        inputs = tuple(
            Input(role, path.name, hashlib.sha256(path.read_bytes()).hexdigest())
            for role, path in files.items()
        )
        run = run_method(METHOD, "sheet", files, inputs, params)
        written = _write(files, params, output)
    except OSError as error:
        what = error.strerror or "cannot be read or written"
        fail(f"{error.filename or error}: {what}.", wants_json)
    except (ImageError, ValueError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    out = as_json(run) | {"pictures": written}
    if wants_json:
        print_json(out)
    else:
        click.echo(_card(run, written))


def _write(files: dict[str, Path], params: dict[str, str], folder: Path | None) -> dict[str, str]:
    if folder is None:
        return {}
    folder.mkdir(parents=True, exist_ok=True)
    written = {}
    for name, picture in pictures_of(solve(files, params)).items():
        write_png(folder / f"{name}.png", picture)
        written[name] = str(folder / f"{name}.png")
    return written


def as_json(run: Run) -> dict[str, Any]:
    """A relief as JSON: ``relief.<what>`` with u and unit, null where it is withheld."""
    numbers: dict[str, Any] = {"crease_mm": None, "slope_rms_deg": None, "cockle_rms_um": None}
    for finding in run.findings:
        if finding.value is not None:
            numbers[finding.quantity.removeprefix("relief.")] = finding.measured().as_json()
    return {
        "relief": numbers,
        "verdict": next(f.text for f in run.findings if f.quantity == "relief.verdict"),
        "warnings": list(run.warnings),
        "inputs": {entry.role: {"name": entry.ref, "sha256": entry.sha256} for entry in run.inputs},
        "params": dict(run.params),
        "method": f"{run.method}@{run.version}",
    }


def _card(run: Run, written: dict[str, str]) -> str:
    lines = ["RELIEF", ""]
    for finding in run.findings:
        if finding.value is not None:
            name = finding.quantity.removeprefix("relief.").rsplit("_", 1)[0].replace("_", " ")
            lines.append(f"  {name:<12} {show(finding.measured())}")
    told = [finding.text for finding in run.findings if finding.text]
    told += [warning for warning in run.warnings if warning not in told]
    lines += paragraphs("What to know", told)
    return "\n".join([*lines, *(f"Wrote {path}" for path in written.values())])
