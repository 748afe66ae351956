"""``quirewell holes``: the staple holes of a sheet in one picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, sentence, text_options
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Run
from quirewell.stages.filenames import LIGHT_BOX, parse
from quirewell.stages.hole_finding import METHOD, as_json
from quirewell.stages.hole_table import read_holes, write_holes
from quirewell.stages.methods import run_method
from quirewell.studio.images import ImageError

_OPTIONS = (
    ("--side", "outer|inner", "The side the picture shows; the inner one is mirrored (outer, or "
     "what the file's name says)."),
    ("--panel", "whole|left|right", "Which half of an opened wrap it shows, with the fold in it "
     "(whole, or what the file's name says)."),
    ("--light", "transmitted|dark|light", "How holes show: a light box below, a dark card or a "
     "light lid behind (told from the picture)."),
    ("--expected", "'Y Y Y Y'", "Where holes should be, in mm from the head; a missing one is "
     "told then."),
    ("--count", "N", "How many holes there should be, two to a staple."),
    ("--wrap", "c|w03", "The sheet, for the rows of the table (what the file's name says)."),
    ("--camera", "scan|photo", "photo for a photograph, as over a light box: made flat by the "
     "sheet's own edges, with a wider band (scan, or what the file's name says)."),
    ("--height-mm", "MM", "Height of the sheet by a steel rule: the scale of a photograph."),
    ("--height-u-mm", "MM", "How well that height was read (0.25)."),
    ("--dpi", "DPI", "Resolution of the scan, where the file says it wrongly or not at all."),
    ("--known-length-mm", "MM", "A length you know in the picture; needs --points."),
    ("--points known_points", "X1,Y1,X2,Y2", "The two points it runs between, in pixels."),
    ("--strip-length-mm", "MM", "The bench strip as you measured it."),
    ("--corners", "'X,Y X,Y X,Y X,Y'", "Corners placed by hand, clockwise from the upper left; - "
     "for one to leave as found. In half a wrap the inner two lie on the fold."),
    ("--ignore", "'X,Y X,Y X,Y ..; ..'", "Polygons to leave out."),
)  # fmt: skip


@click.command()
@click.argument(
    "images", metavar="IMAGE...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@text_options(_OPTIONS)
@click.option("--csv", "wants_csv", is_flag=True, help="Rows of the table of holes, nothing else.")
@JSON
def holes(images: tuple[Path, ...], wants_csv: bool, wants_json: bool, **params: str) -> None:
    """Find the staple holes of a sheet near its fold: place, size, state.

    \b
    Examples:
      quirewell holes w03-outer-left-before.tif --count 4
      quirewell holes c-outer-whole-before.tif --light transmitted --json
      quirewell holes w03-inner-right-before.tif --expected '60 73 187 200'
      quirewell holes w03-outer-whole-before-lightbox.jpg --height-mm 259.5
      quirewell holes *-outer-left-before.tif --count 4 --csv > holes.csv

    x runs from the fold to the right and y from the head edge down, seen from the outer side. Scan
    at 300 dpi or more on a dark card, or photograph the sheet on a light box from straight above,
    bright ground on every side. Take staples out before a scan, and never press a brittle fold
    flat to get one.
    """
    if len(images) > 1 and not wants_csv:
        fail("Several pictures give one table: add --csv, or give one picture.", wants_json)
    runs = [_run(image, params, wants_json) for image in images]
    if wants_csv:
        texts = [next(f.text for f in run.findings if f.quantity == "holes.rows") for run in runs]
        sheets = [sheet for text in texts if text for sheet in read_holes(text)]
        click.echo(write_holes(sheets), nl=False)
    elif wants_json:
        print_json(as_json(runs[0]))
    else:
        click.echo("\n".join(_card(images[0], as_json(runs[0]))))


def _run(image: Path, params: dict[str, str], wants_json: bool) -> Run:
    given = _from_name(image) | {name: text for name, text in params.items() if text}
    try:
        return run_method(METHOD, "image", {"image": image}, params=given)
    except (ImageError, ValueError) as error:
        fail(sentence(error), wants_json)


def _from_name(image: Path) -> dict[str, str]:
    """Sheet, side and panel where the file's name says them."""
    named = parse(image.name)
    if named is None:
        return {}
    sheet, _, side = named.place.partition(".")
    out = {"wrap": sheet} if sheet != "item" else {}
    if side:
        out["side"] = side.split(".")[0]
    if named.view == LIGHT_BOX:
        out |= {"camera": "photo", "light": "transmitted"}
    return out | ({"panel": named.panel} if named.panel in ("left", "right") else {})


def _card(image: Path, found: dict[str, Any]) -> list[str]:
    lines = [
        image.name,
        f"  {'Scale from':<12} {found['scale']}",
        f"  {'Light':<12} {found['light']}",
    ]
    lines.append("")
    for hole in found["holes"]:
        if hole["x_mm"] is None:
            lines.append(f"  hole {hole['number']}  missing   {hole['note']}")
            continue
        lines.append(
            f"  hole {hole['number']}  {hole['state']:<8}  x {hole['x_mm']:+.2f} ± "
            f"{hole['u_x_mm']:.2f}  y {hole['y_mm']:.2f} ± {hole['u_y_mm']:.2f}  "
            f"size {hole['size_mm']:.2f} mm"
        )
        if hole["note"]:
            lines.append(f"          {hole['note']}")
    if not found["holes"]:
        lines.append("  No staple hole was found.")
    lines += paragraphs("Looked at and set aside", found["set_aside"])
    return lines + paragraphs("What to know", found["warnings"])
