"""``quirewell relief``: creases and cockle from raking light (more instruments)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Input, Run
from quirewell.stages.lamp_text import FIND
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words
from quirewell.stages.pair_pictures import write_png
from quirewell.stages.refusal import Refusal
from quirewell.stages.relief_recording import Recorded, record_relief
from quirewell.stages.relieving import METHOD, pictures_of, solve
from quirewell.stages.results import show
from quirewell.studio.blobs import hash_file
from quirewell.studio.faults import StudioError
from quirewell.studio.images import ImageError
from quirewell.studio.studio import Studio

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
@click.option(
    "--studio",
    "studio_folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    metavar="DIR",
    help="Keep the relief in this studio, with its pictures; needs --item and --page.",
)
@click.option("--item", default="", metavar="TITLE_OR_ID", help="The item it belongs to.")
@click.option(
    "--page", default="", metavar="PLACE", help="The page that was lit, as w03.outer.left."
)
@click.option(
    "--moment",
    default="before",
    show_default=True,
    type=click.Choice(["before", "after"]),
    help="Whether it was lit before or after treatment.",
)
@JSON
def relief(
    images: tuple[Path, ...],
    lights: Path,
    flats: tuple[Path, ...],
    dpi: str,
    lamp_u_deg: str,
    grid: Path | None,
    output: Path | None,
    studio_folder: Path | None,
    item: str,
    page: str,
    moment: str,
    wants_json: bool,
) -> None:
    """Measure creases and cockle from IMAGES, each lit from another side.

    \b
    Examples:
      quirewell relief left.tif right.tif two-lamps.csv -o slope
      quirewell relief a.tif b.tif c.tif d.tif lights.csv --flat fa.tif --flat fb.tif
        --flat fc.tif --flat fd.tif --dpi 150 -o relief --json
      quirewell relief a.tif b.tif c.tif d.tif sphere --dpi 150
      quirewell relief *.tif lights.csv --studio larkmoor --item annual
        --page w03.outer.left --moment after

    LIGHTS is a small text: for each picture a line "azimuth, elevation" in degrees, azimuth
    clockwise from the head of the picture. Or the word sphere: a glossy black bead lying in all
    pictures, on something lighter, is found by itself and shows where each lamp stood. Or TOML
    with a [sphere] of x, y and radius in pixels, where it is not found.

    Two lamps and a slope picture are the easy way. Camera and sheet must not move between the
    pictures, exposure must be fixed. Keep lamps cool and brief on brittle paper.
    """
    try:
        params = {"lamps": _lights_text(lights)}
        params |= {"dpi": dpi.replace(",", ".")} if dpi else {}
        params |= {"lamp_u_deg": lamp_u_deg.replace(",", ".")} if lamp_u_deg else {}
        files = {f"picture{number:02d}": path for number, path in enumerate(images, 1)}
        files |= {f"flat{number:02d}": path for number, path in enumerate(flats, 1)}
        files |= {"grid": grid} if grid else {}
        if studio_folder is None:
            if item or page:
                raise ValueError("--item and --page say where it is kept: give --studio DIR too")
            recorded = None
            inputs = tuple(Input(role, path.name, hash_file(path)) for role, path in files.items())
            run = run_method(METHOD, "sheet", files, inputs, params)
        else:
            recorded = _record(studio_folder, item, page, moment, files, params)
            run = recorded.run
        written = _write(files, params, output)
    except Refusal as refusal:
        fail(str(refusal), wants_json)
    except OSError as error:
        what = error.strerror or "cannot be read or written"
        fail(f"{error.filename or error}: {what}.", wants_json)
    except (ImageError, StudioError, ValueError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    if wants_json:
        kept = {} if recorded is None else {"recorded": _kept_json(recorded)}
        print_json(as_json(run) | {"pictures": written} | kept)
    else:
        click.echo(_card(run, written))
        if recorded is not None:
            click.echo(_kept_words(recorded))


def _lights_text(lights: Path) -> str:
    """What the lights file says; the word "sphere" alone needs no file.

    Raises:
        OSError, ValueError: no such file, or one that is too long.
    """
    if str(lights) == FIND and not lights.exists():
        return FIND
    if lights.stat().st_size > _MOST_BYTES:
        raise ValueError("the lights file is too long: it holds a line of two numbers a lamp")
    return lights.read_bytes().decode("utf-8", "replace")


def _record(
    folder: Path, item: str, page: str, moment: str, files: dict[str, Path], params: dict[str, str]
) -> Recorded:
    """Keep the pictures and the run in a studio.

    Raises:
        Refusal, StudioError, ImageError, ValueError: what was given does not fit; a sentence.
    """
    if not item or not page:
        raise ValueError("--studio keeps a relief of one page: name it by --item and --page")
    with Studio.open(folder) as studio:
        return record_relief(studio, studio.find(item) or item, page, moment, files, params)


def _kept_json(recorded: Recorded) -> dict[str, Any]:
    run = recorded.run
    return {
        "run": run.id,
        "page": run.subject,
        "moment": run.params["moment"],
        "on_scan": not recorded.apart,
        "why_apart": recorded.apart or None,
    }


def _kept_words(recorded: Recorded) -> str:
    where = place_words(recorded.run.subject)
    says = f"Kept in the record of {where}, {recorded.run.params['moment']} treatment"
    if not recorded.apart:
        return f"{says}; it lies on the scan, as a layer of its close-up."
    return f"{says}; it is shown by itself: {recorded.apart}".removesuffix(".") + "."


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
        "lamps": next((f.text for f in run.findings if f.quantity == "relief.lamps"), None),
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
