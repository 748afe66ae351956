"""``quirewell measure``: one leaf in one picture."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, text_options
from quirewell.cli.output import PLUS_MINUS_SAYS, fail, nest, paragraphs, print_json, table
from quirewell.record.finding import Run
from quirewell.record.nouns import Correction
from quirewell.record.shapes import write_points
from quirewell.stages.correcting import correction_of
from quirewell.stages.measuring import METHOD, narrower
from quirewell.stages.measuring_said import BadParameter
from quirewell.stages.methods import run_method
from quirewell.stages.results import show
from quirewell.stages.survey import measure_params
from quirewell.stages.tears_told import ToldTears, told_findings, told_tears
from quirewell.studio.blobs import hash_file
from quirewell.studio.faults import StudioError
from quirewell.studio.images import ImageError
from quirewell.studio.studio import Studio

_NUMBERS = (
    ("--dpi", "DPI", "Resolution of the scan, where the file says it wrongly or not at all."),
    ("--dpi-u-pct", "PCT", "How sure the resolution is: standard uncertainty in % (0.2)."),
    ("--known-length-mm", "MM", "A length you know in the picture; needs --points."),
    ("--known-length-u-mm", "MM", "Its standard uncertainty (0.1)."),
    ("--points known_points", "X1,Y1,X2,Y2",
     "The two points it runs between, in pixels from upper left."),
    ("--strip-length-mm", "MM", "The bench strip as you measured it: left edge of the first mark "
     "to left edge of the last (160 as drawn)."),
    ("--strip-length-u-mm", "MM", "Standard uncertainty of that (0.1 once measured)."),
    ("--scanner-u-um", "UM", "How true your scanner draws a length across the sheet: standard "
     "uncertainty in um, where you checked it."),
)  # fmt: skip
_PROMISED = (
    "leaf.width_mm", "leaf.height_mm", "leaf.loss_mm2", "tone.L", "tone.a", "tone.b",
    "scale.um_per_px", "leaf.squareness_deg", "tone.profile.decay_mm", "tone.yellowness",
    "stains.area_pct",
)  # fmt: skip
_SHOWN = (
    "leaf.width_mm", "leaf.height_mm", "leaf.width_px", "leaf.height_px", "leaf.squareness_deg",
    "leaf.loss_mm2", "leaf.area_mm2", "tone.L", "tone.a", "tone.b", "tone.yellowness", "tone.step",
    "tone.profile.decay_mm", "tone.margin_db", "stains.area_pct", "scale.um_per_px",
)  # fmt: skip


@click.command()
@click.argument("image", type=click.Path(path_type=Path))
@text_options(_NUMBERS)
@click.option(
    "--panel",
    default="whole",
    show_default=True,
    metavar="whole|left|right",
    help="Which half of an opened wrap the scan shows, with the fold in it.",
)
@click.option(
    "--ground",
    default="",
    metavar="dark|light",
    help="What lies behind the leaf: darker or lighter than its paper.",
)
@click.option(
    "--corners",
    default="",
    metavar="'X,Y X,Y X,Y X,Y'",
    help="Corners placed by hand, clockwise from the upper left; - for one to leave as found.",
)
@click.option(
    "--ignore",
    default="",
    metavar="'X,Y X,Y X,Y ..; ..'",
    help="Polygons to leave out, such as a hand in the picture.",
)
@click.option(
    "--no-tear",
    "no_tears",
    multiple=True,
    metavar="X,Y",
    help="A proposed tear that is none, by the point it begins at (from_px in the JSON).",
)
@click.option(
    "--studio",
    "studio_folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    metavar="DIR",
    help="A studio that holds this picture: what it knows of it, and what a person set right on "
    "it there, holds here too.",
)
@click.option(
    "--item",
    default="",
    metavar="TITLE_OR_ID",
    help="The item, where the studio has the picture in more than one.",
)
@JSON
@click.option(
    "--target",
    "target_file",
    type=click.Path(path_type=Path),
    default=None,
    metavar="FILE.json",
    help="A colour target fitted for this scanner or camera, setting and light: what quirewell "
    "target fit --json said.",
)
@click.option(
    "--card",
    "card_file",
    type=click.Path(path_type=Path),
    default=None,
    metavar="FILE.json",
    help="Your own ladder of paper tones: what quirewell target card --json said.",
)
def measure(
    image: Path,
    wants_json: bool,
    target_file: Path | None,
    card_file: Path | None,
    no_tears: tuple[str, ...],
    studio_folder: Path | None,
    item: str,
    **params: str,
) -> None:
    """Measure one leaf: width, height, squareness, missing area, paper tone.

    \b
    Examples:
      quirewell measure w03-outer-left-before.tif --panel left
      quirewell measure leaf.tif --strip-length-mm 159.8 --json
      quirewell measure leaf.jpg --known-length-mm 150 --points 210,3300,1982,3304
      quirewell measure w03-outer-left-before.tif --studio larkmoor --json

    The scale is taken from the bench strip in the picture, else from a known length, else from
    the resolution you state, else from the file's own tag, which is the least sure. Lay the leaf
    on dark card with a centimetre showing all round. Never press a brittle or rolled item under
    the lid, and never lay damp paper on the glass.
    """
    given = {name: value for name, value in params.items() if value}
    try:
        if target_file is not None:
            given["target"] = target_in(target_file)
        if card_file is not None:
            given |= _card_in(card_file)
        known = _known(image, studio_folder, item)
        held = replace(known.held, no_tears=known.held.no_tears + no_tears)
        run = run_method(METHOD, "image", {"image": image}, params=known.params | given)
    except (ImageError, BadParameter, StudioError, ValueError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    told = told_tears(run, held)
    run = replace(run, findings=told_findings(run, held))
    if wants_json:
        print_json(_complete(nest(run), told))
    else:
        click.echo("\n".join(_card(image, run, told)))


@dataclass(frozen=True, slots=True)
class _Known:
    """What a studio knows of a picture: parameters of its measurement, and its correction."""

    params: dict[str, str] = field(default_factory=dict)
    held: Correction = field(default_factory=lambda: Correction("image"))


def _known(image: Path, folder: Path | None, item: str) -> _Known:
    """What the studio in ``folder`` knows of the picture with these bytes.

    Raises:
        BadParameter: the studio has no such picture, or has it in several items.
        StudioError: there is no studio, or no such item.
    """
    if folder is None:
        if item:
            raise BadParameter("--item names an item of a studio: give --studio DIR with it")
        return _Known()
    try:
        sha256 = hash_file(image)
    except OSError as error:
        raise BadParameter(f"{image}: {error.strerror}") from None
    with Studio.open(folder) as studio:
        named = [studio.find(item) or item] if item else [one.id for one in studio.items()]
        states = [studio.state(name) for name in named]
        found = [(s, c) for s in states for c in s.captures.values() if c.sha256 == sha256]
        if not found:
            raise BadParameter(f"{image.name} is not among the pictures of {item or folder}")
        if len(found) > 1:
            where = ", ".join(dict.fromkeys(s.id for s, _ in found))
            raise BadParameter(f"{image.name} is in {folder} more than once ({where}): name one "
                               "with --item, or leave --studio out")  # fmt: skip
        state, capture = found[0]
        held = correction_of(state, capture.id) or Correction(capture.id)
        return _Known(measure_params(state, capture, studio.bench()), held)


def target_in(path: Path) -> str:
    """The line a fitted target is used by, from what ``quirewell target fit --json`` said.

    Raises:
        BadParameter: when the file holds no fitted target; a sentence.
    """
    used = _said_in(path).get("target")
    used = used.get("use") if isinstance(used, dict) else None
    if not isinstance(used, str):
        raise BadParameter(
            f"{path.name} holds no fitted target; give what quirewell target fit IMAGE CHART "
            "--json said"
        )
    return used


def _card_in(path: Path) -> dict[str, str]:
    said = _said_in(path)
    found = {"card": said.get("card"), "card_by": said.get("by")}
    if not all(isinstance(text, str) for text in found.values()):
        raise BadParameter(
            f"{path.name} holds no tone card; give what quirewell target card SOURCE --json said"
        )
    return {name: str(text) for name, text in found.items()}


def _said_in(path: Path) -> dict[str, Any]:
    """What a command wrote as JSON; nothing when it is no such file."""
    try:
        text = path.read_text(encoding="utf-8") if path.stat().st_size < 1_000_000 else ""
        said = json.loads(text)
    except OSError as error:
        raise BadParameter(f"{path}: {error.strerror}") from None
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _complete(said: dict[str, Any], told: ToldTears) -> dict[str, Any]:
    """The promised keys are always there; what could not be measured is null.

    Tears a person said are none are left out of ``leaf.tears`` and counted beside it.
    """
    for name in _PROMISED:
        *above, last = name.split(".")
        place = said
        for part in above:
            place = place.setdefault(part, {})
        place.setdefault(last, None)
    proposed = said["leaf"].pop("tears", {})
    said["leaf"]["tears"] = [
        proposed[str(tear.number)]
        | {"said": tear.said, "from_px": list(tear.start) if tear.start else None}
        for tear in sorted(told.kept, key=lambda tear: tear.number)
    ]
    said["leaf"]["tears_set_aside"] = None if told.seen is None else len(told.aside)
    return said


def _card(image: Path, run: Run, told: ToldTears) -> list[str]:
    by_name = {finding.quantity: finding for finding in run.findings}
    source = by_name["scale.source"]
    lines = [f"{image.name}", f"  {'Scale from':<38} {source.note or source.text}"]
    lines += table(by_name[name] for name in _SHOWN if name in by_name)
    lines += ["", f"  {PLUS_MINUS_SAYS}."]
    cure = narrower(run.findings)
    if cure:
        lines += paragraphs("What would narrow the size most", [cure])
    if told.seen is not None:
        lines += paragraphs("Tears", [*_tear_lines(told), f"{told.seen.text}."])
    if "stains.seen" in by_name:
        lines += paragraphs("Stains", [f"{by_name['stains.seen'].text}."])
    return lines + paragraphs("What to know", run.warnings)


def _tear_lines(told: ToldTears) -> list[str]:
    """Each tear told, longest first: its length, where it is, and the point it begins at."""
    lines = []
    for tear in told.kept:
        at = f"; begins at {write_points((tear.start,))} px" if tear.start else ""
        lines.append(f"{show(tear.length.measured())}: {tear.length.note}{at}")
    return lines
