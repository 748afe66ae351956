"""``quirewell target``: a colour target fitted, and an instrument's readings."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import Any

import click

from quirewell.cli.measure import target_in
from quirewell.cli.options import JSON
from quirewell.cli.output import fail, nest, paragraphs, print_json
from quirewell.record.finding import Run
from quirewell.science.colour.cgats import BadColourFile
from quirewell.science.colour.spectra import R457_STANDING, WHITENESS_STANDING
from quirewell.science.colour.target24 import EDITIONS
from quirewell.science.colour.target_use import target_from_text
from quirewell.science.colour.tolerances import STANDING, beside
from quirewell.science.colour.tone_card import card_text
from quirewell.stages.characterising import METHOD, BadTarget, read_text
from quirewell.stages.instrument import Reading, readings_in, reconcile
from quirewell.stages.methods import run_method
from quirewell.stages.tone_cards import card_from_scan, card_from_text
from quirewell.studio.images import ImageError

_SHOWN = (
    ("dE00_mean", "colour, mean difference"),
    ("dE00_p90", "colour, 90th percentile"),
    ("dE00_max", "colour, largest difference"),
    ("dE00_left_out", "patches predicted from the others"),
    ("neutrals_dE00", "  neutrals alone"),
    ("papers_dE00", "  measured papers alone"),
    ("delivered_dE00", "the picture as it came"),
    ("tone_dL", "tone, largest error of L*"),
    ("white_dab", "white balance, in a*b*"),
    ("noise_L", "noise, spread of L*"),
    ("light_pct", "fall of the light, %"),
    ("u_L", "a paper's L* may be wrong by, u"),
    ("u_a", "a paper's a* may be wrong by, u"),
    ("u_b", "a paper's b* may be wrong by, u"),
)


@click.group()
def target() -> None:
    """Fit a colour target, or read an instrument's file.

    \b
    Example:
      quirewell target fit photo.tif after-2014 --json > target.json
      quirewell measure leaf.tif --target target.json
    """


@target.command("fit")
@click.argument("image", type=click.Path(path_type=Path))
@click.argument("chart", metavar="CHART")
@click.option(
    "--corners",
    default="",
    metavar="X1,Y1,..,X4,Y4",
    help="Middles of the target's four corner patches in pixels, in any order, where it is not "
    "found by itself.",
)
@click.option(
    "--flat",
    type=click.Path(path_type=Path),
    default=None,
    help="A plain white sheet taken in the same place and light: evens out the light.",
)
@click.option(
    "--paper",
    type=click.Path(path_type=Path),
    default=None,
    metavar="CGATS",
    help="An instrument's readings of papers that lie in the picture; needs --paper-at.",
)
@click.option(
    "--paper-at",
    default="",
    metavar="X,Y,W,H;..",
    help="Where each of those papers lies in the picture, in the order of the file.",
)
@JSON
def fit(
    image: Path, chart: str, corners: str, flat: Path | None, paper: Path | None, paper_at: str,
    wants_json: bool,
) -> None:  # fmt: skip
    """Fit the 24-patch target in IMAGE; CHART is its edition or its own measured file.

    \b
    Examples:
      quirewell target fit photo.tif after-2014
      quirewell target fit scan.tif my-target.txt --json > target.json
      quirewell target fit photo.tif before-2014 --corners 300,210,1480,220,1475,990,295,980

    The edition is before-2014 or after-2014 (made before or after November 2014: look on its
    back); a file of CGATS text measured on your own copy is better. Light the target evenly,
    keep it out of the glare, and lay it beside the leaf.
    """
    files: dict[str, Path] = {"chart": image}
    params = {"corners": corners, "paper_at": paper_at}
    if chart in EDITIONS:
        params["edition"] = chart
    elif Path(chart).is_file():
        files["reference"] = Path(chart)
    else:
        fail(
            f"CHART is {' or '.join(EDITIONS)}, or a file measured on your own target; {chart!r} "
            "is neither.",
            wants_json,
        )
    files |= {name: path for name, path in (("flat", flat), ("paper", paper)) if path}
    params = {name: text for name, text in params.items() if text}
    try:
        run = run_method(METHOD, "target", files, params=params)
    except OSError as error:
        fail(f"{error.filename}: {error.strerror}.", wants_json)
    except (ImageError, BadTarget, BadColourFile, ValueError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    said = _with_matrix(run)
    if wants_json:
        print_json(said)
    else:
        click.echo("\n".join(_card(image, said)))


def _with_matrix(run: Run) -> dict[str, Any]:
    """The run as JSON, with the matrix in rows and the published tolerances beside it."""
    said = nest(run)
    found = said["target"]
    found.setdefault("use", None)
    found["matrix"] = None
    if found["use"]:
        numbers = [float(word) for word in found["use"].split("|")[1].split()]
        wide = len(numbers) // 3
        found["matrix"] = [numbers[at : at + wide] for at in range(0, len(numbers), wide)]
    figures = {
        f"target.{name}": entry["value"]
        for name, entry in found.items()
        if isinstance(entry, dict) and entry.get("value") is not None
    }
    said["tolerances"] = beside(figures)
    return said


def _card(image: Path, said: dict[str, Any]) -> list[str]:
    found = said["target"]
    lines = [image.name, ""]
    if found["matrix"] is None:
        lines += textwrap.wrap(found["verdict"], 88)
        return lines + paragraphs("What to know", said["warnings"])
    lines += [f"  {'model':<36} {found['model']}"]
    lines += textwrap.wrap(f"  reference: {found['reference']}", 88, subsequent_indent="    ")
    for name, says in _SHOWN:
        if name in found:
            lines.append(f"  {says:<36} {found[name]['value']:.2f}")
    lines += ["", "Matrix, light to XYZ under D50"]
    lines += ["  " + " ".join(f"{value:9.5f}" for value in row) for row in found["matrix"]]
    lines += ["", "Beside published tolerances"]
    for row in said["tolerances"]:
        limits = " / ".join(f"{limit:g}" for limit in row["limits"].values())
        lines.append(
            f"  {row['says']:<38} {row['value']:5.2f}  {row['guideline']}: {limits} "
            f"-> {row['meets']}"
        )
    lines += textwrap.wrap(f"Standing: {STANDING}.", 88)
    return lines + paragraphs("What to know", said["warnings"])


@target.command("read")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--against",
    type=click.Path(path_type=Path),
    default=None,
    metavar="FILE.json",
    help="What quirewell measure --json said of the same paper: do both agree?",
)
@JSON
def read(file: Path, against: Path | None, wants_json: bool) -> None:
    """Read an instrument's CGATS text: CIELAB, yellowness, and R457 from spectra.

    \b
    Example:
      quirewell measure leaf.tif --json > leaf.json
      quirewell target read readings.txt --against leaf.json
    """
    try:
        readings = readings_in(read_text(file))
        tone = _tone_in(against) if against else None
    except OSError as error:
        fail(f"{error.filename}: {error.strerror}.", wants_json)
    except (BadColourFile, ValueError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    rows = [_row(reading, tone) for reading in readings]
    if wants_json:
        print_json({"readings": rows, "standing": {"r457": R457_STANDING,
                                                   "whiteness": WHITENESS_STANDING}})  # fmt: skip
        return
    for row in rows:
        click.echo("\n".join(_said(row)))


@target.command("card")
@click.argument("source", type=click.Path(path_type=Path))
@click.option(
    "--at",
    default="",
    metavar="X,Y,W,H;..",
    help="Where each paper of the card lies in a scan of it, in order, in pixels.",
)
@click.option(
    "--target",
    "target_file",
    type=click.Path(path_type=Path),
    default=None,
    metavar="FILE.json",
    help="A colour target fitted for that scan.",
)
@JSON
def card(source: Path, at: str, target_file: Path | None, wants_json: bool) -> None:
    """Measure your own ladder of paper tones once, from a scan or from readings.

    \b
    Examples:
      quirewell target card card.tif --at "40,60,200,200;280,60,200,200" --json > card.json
      quirewell target card readings.txt --json > card.json
      quirewell measure leaf.tif --card card.json

    SOURCE is a scan (with --at), CGATS text of an instrument, or lines of a name and L* a* b*.
    Any number of steps, in the order of the ladder. A leaf's tone is then given as a step with
    the probability of each.
    """
    try:
        if at:
            used = target_from_text(target_in(target_file)) if target_file else None
            steps, by = card_from_scan(source, at, used), "scan"
        else:
            steps, by = card_from_text(source), "instrument"
    except OSError as error:
        fail(f"{error.filename}: {error.strerror}.", wants_json)
    except (ImageError, ValueError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    if wants_json:
        rows = [{"name": step.name, "lab": dict(zip("Lab", step.lab, strict=True))}
                for step in steps]  # fmt: skip
        print_json({"card": card_text(steps), "by": by, "steps": rows})
        return
    for step in steps:
        click.echo(f"  {step.name:<12} {step.lab[0]:7.2f} {step.lab[1]:7.2f} {step.lab[2]:7.2f}")


def _tone_in(path: Path) -> tuple[tuple[float, ...], tuple[float, ...]]:
    if path.stat().st_size > 20_000_000:
        raise ValueError(f"{path.name} is too large to be what quirewell measure --json said")
    try:
        tone = json.loads(path.read_text(encoding="utf-8"))["tone"]
        values = tuple(float(tone[name]["value"]) for name in "Lab")
        spread = tuple(float(tone[name]["u"]) for name in "Lab")
    except (UnicodeDecodeError, json.JSONDecodeError, KeyError, TypeError, ValueError):
        raise ValueError(
            f"{path.name} holds no paper tone: give what quirewell measure --json said"
        ) from None
    return values, spread


def _row(
    reading: Reading, tone: tuple[tuple[float, ...], tuple[float, ...]] | None
) -> dict[str, Any]:
    out: dict[str, Any] = {
        "name": reading.name,
        "lab": dict(zip("Lab", reading.lab, strict=True)),
        "yellowness": {"value": reading.yellowness, "seen_by": reading.seen_by},
        "r457_pct": reading.brightness_r457,
        "whiteness": None,
        "note": reading.note,
    }
    if reading.whiteness is not None:
        good = reading.whiteness.valid
        out["whiteness"] = reading.whiteness.whiteness if good else None
        out["whiteness_says"] = reading.whiteness.says
    if tone is not None:
        values, spread = tone
        found = reconcile(
            reading.lab, (values[0], values[1], values[2]), (spread[0], spread[1], spread[2])
        )
        out["against"] = {
            "difference": dict(zip("Lab", found.difference, strict=True)),
            "u": dict(zip("Lab", found.u, strict=True)),
            "dE00": found.de00,
            "agree": found.agree,
            "says": found.says,
        }
    return out


def _said(row: dict[str, Any]) -> list[str]:
    lab = row["lab"]
    lines = [
        row["name"],
        f"  CIELAB D50          {lab['L']:.2f} {lab['a']:.2f} {lab['b']:.2f}",
        f"  yellowness E313     {row['yellowness']['value']:.1f} ({row['yellowness']['seen_by']})",
    ]
    if row["r457_pct"] is not None:
        lines.append(f"  R457 brightness     {row['r457_pct']:.1f} %")
    if row["whiteness"] is not None:
        lines.append(f"  CIE whiteness       {row['whiteness']:.1f}")
    more = [row.get("whiteness_says", "") if row["whiteness"] is None else "", row["note"]]
    if "against" in row:
        more.append(row["against"]["says"])
    for says in filter(None, more):
        lines += textwrap.wrap(says, 88, initial_indent="  ", subsequent_indent="  ")
    return lines
