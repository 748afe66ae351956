"""``quirewell compare``: the same page before and after, and what could have been missed."""

from __future__ import annotations

import hashlib
import json
import textwrap
from pathlib import Path

import click

from quirewell.cli.measure import target_in
from quirewell.cli.options import JSON, known_greys, text_options
from quirewell.record.finding import Input, Run
from quirewell.science.imaging.register import NoRegistration
from quirewell.stages.asking import CHANGES, K95, PLUS_MINUS_SAYS, quantity_name, say, signed
from quirewell.stages.comparing import METHOD, as_json, scale_of
from quirewell.stages.comparing_field import layers_json, write_layers
from quirewell.stages.ink_lines import is_ink_verdict
from quirewell.stages.methods import run_method
from quirewell.stages.pair_pictures import (
    lay_pair,
    open_pair,
    picture_of_difference,
    write_png,
)
from quirewell.studio.images import ImageError, as_eight_bit

_PICTURE = click.Path(path_type=Path, dir_okay=False)
_NUMBERS = (
    ("--dpi", "DPI", "Resolution of both scans, where the files say it wrongly or not at all."),
    ("--dpi-before", "DPI", "Resolution of the first scan, where the two differ."),
    ("--dpi-after", "DPI", "Resolution of the second scan."),
    ("--strip-length-mm", "MM", "The bench strip as you measured it, first mark to last."),
    ("--rh-before-pct", "RH", "Humidity of the room at the first scan, in % RH."),
    ("--rh-after-pct", "RH", "Humidity of the room at the second scan, in % RH."),
    ("--margin-pct", "PCT", "Change you decided beforehand not to mind, in %."),
)


@click.command()
@click.argument("before", type=_PICTURE)
@click.argument("after", type=_PICTURE)
@text_options(_NUMBERS)
@click.option(
    "--same-day", is_flag=True, help="Both scans on one day in one room: narrows the humidity term."
)
@click.option("--two-scanners", is_flag=True, help="The two scans come from different scanners.")
@click.option(
    "--grain",
    type=click.Choice(["height", "width", "unknown"]),
    default="height",
    show_default=True,
    help="What the paper's grain runs along; in booklets mostly the spine, which is height.",
)
@click.option(
    "--difference", type=_PICTURE, metavar="PNG", help="Write the picture of the difference here."
)
@click.option(
    "--registered",
    type=_PICTURE,
    metavar="PNG",
    help="Write the second picture laid on the first one here.",
)
@click.option(
    "--layers",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write difference, displacement and strain as pictures into this folder.",
)
@click.option(
    "--target",
    "target_file",
    type=_PICTURE,
    metavar="FILE.json",
    help="A colour target fitted for both scans: what quirewell target fit --json said.",
)
@known_greys
@JSON
def compare(
    before: Path,
    after: Path,
    same_day: bool,
    two_scanners: bool,
    grain: str,
    difference: Path | None,
    registered: Path | None,
    layers: Path | None,
    target_file: Path | None,
    greys: str,
    greys_u: float,
    wants_json: bool,
    **numbers: str,
) -> None:
    """Compare one page BEFORE treatment with the same page AFTER it.

    \b
    Examples:
      quirewell compare w01-outer-left-before.tif w01-outer-left-after.tif
      quirewell compare before.tif after.tif --rh-before-pct 48 --rh-after-pct 52 --json
      quirewell compare before.tif after.tif --margin-pct 0.25 --difference difference.png
      quirewell compare before.tif after.tif --layers maps --json
      quirewell compare before.tif after.tif --greys "21 35.5 50.2 65 79.6 91.8"

    Gives the change of width and height in per cent with its uncertainty, the smallest change
    that would surely have been seen, the colour difference of the bare paper, and of each ink what
    it lost or gained apart from its paper. "Unchanged within x" says how much could have been
    missed: x is a margin set before measuring, or else the smallest change that would surely
    have been seen, where that is 0.5 % or less. Where neither holds and no change was called
    the verdict is "cannot tell", with what it would take.
    """
    params = {name: text.replace(",", ".") for name, text in numbers.items() if text}
    params["grain"] = grain
    params |= {"same_day": "yes"} if same_day else {}
    params |= {"same_scanner": "no"} if two_scanners else {}
    params |= {"greys": f"{greys} | {greys_u:g} | instrument"} if greys.strip() else {}
    files = {"before": before, "after": after}
    try:
        if target_file is not None:
            params["target"] = target_in(target_file)
        inputs = tuple(
            Input(role, path.name, hashlib.sha256(path.read_bytes()).hexdigest())
            for role, path in files.items()
        )
        run = run_method(METHOD, "pair", files, inputs, params)
        written, maps = _write_pictures(files, params, difference, registered, layers)
    except OSError as error:
        raise click.ClickException(
            f"{error.filename or error}: {error.strerror or 'cannot be read or written'}."
        ) from error
    except (ImageError, ValueError) as error:
        raise click.ClickException(f"{error}.".replace("..", ".")) from error
    out = as_json(run)
    out["pictures"] = written
    out["layers"] = layers_json(run, maps)
    click.echo(json.dumps(out, indent=2) if wants_json else _card(run, written | maps))
    if len(written) < sum(path is not None for path in (difference, registered)):
        click.echo("No picture was written: the two could not be laid on each other.", err=True)


def _write_pictures(
    files: dict[str, Path],
    params: dict[str, str],
    difference: Path | None,
    registered: Path | None,
    layers: Path | None,
) -> tuple[dict[str, str], dict[str, str]]:
    if difference is None and registered is None and layers is None:
        return {}, {}
    pair = open_pair(files, params)
    written: dict[str, str] = {}
    if isinstance(pair.match, NoRegistration):
        return written, {}
    if difference is not None:
        write_png(difference, picture_of_difference(pair))
        written["difference"] = str(difference)
    if registered is not None:
        write_png(registered, as_eight_bit(lay_pair(pair, 2400).after))
        written["registered"] = str(registered)
    return written, {} if layers is None else write_layers(pair, scale_of(pair, params), layers)


_ROWS = (
    ("change.width_pct", "width", 3),
    ("change.height_pct", "height", 3),
    ("change.smallest_detectable_pct", "surely seen from", 3),
    ("change.smallest_detectable_match_pct", "  by match alone", 3),
    ("paper.dE00", "paper, CIEDE2000", 2),
    ("paper.dL", "paper, L*", 2),
    ("paper.da", "paper, a*", 2),
    ("paper.db", "paper, b*", 2),
    ("paper.raw_dL", "as scanned, L*", 2),
    ("light.dL", "  of that, light", 2),
    ("scanner.dL", "  of that, scanner", 2),
    ("exposure.before_dL", "greys before, L*", 2),
    ("exposure.after_dL", "greys after, L*", 2),
    ("field.rms_um", "bend, rms", 1),
    ("registration.residual_um", "pictures agree to", 1),
)


def _card(run: Run, written: dict[str, str]) -> str:
    found = {finding.quantity: finding for finding in run.findings}
    lines = ["BEFORE AND AFTER", ""]
    for quantity, name, digits in _ROWS:
        finding = found.get(quantity)
        if finding is not None and finding.value is not None:
            unit = "" if finding.unit == "1" else f" {finding.unit}"
            sign = "+" if quantity in CHANGES else ""
            spread = f" \u00b1 {K95 * finding.u:.{digits}f}" if finding.u else ""
            lines.append(f"  {name:<18} {finding.value:{sign}.{digits}f}{spread}{unit}")
            for term in finding.terms:
                lines.append(f"    u of {term.name:<12} {term.u:.{digits}f}{unit}  {term.basis}")
    lines += ["", f"  {PLUS_MINUS_SAYS}; u is one standard uncertainty."]
    lines += ["", *textwrap.wrap("Verdict: " + found["verdict"].text, 88)]
    inks = [finding.text for finding in run.findings if is_ink_verdict(finding.quantity)]
    lines += ["", "Inks, the paper's own change taken out (CIEDE2000):"] if inks else []
    for says in inks:
        lines += textwrap.wrap(says, 88, initial_indent="  ", subsequent_indent="    ")
    for finding in run.findings:
        if ".cover." in finding.quantity and finding.value is not None:
            change = signed(finding.quantity, say(finding.value, finding.u, finding.unit))
            says = f"{quantity_name(finding.quantity)}: {change}"
            lines += textwrap.wrap(says, 88, initial_indent="  ", subsequent_indent="    ")
    for says in run.warnings:
        lines += ["", *textwrap.wrap(says, 88, initial_indent="! ", subsequent_indent="  ")]
    lines += [f"Wrote {path}" for path in written.values()]
    return "\n".join(lines)
