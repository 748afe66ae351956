"""``quirewell scanner``: what the bench knows of its strip and its scanner."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from quirewell.cli.options import JSON, text_options
from quirewell.cli.output import fail, nest, paragraphs, print_json, table
from quirewell.jobs.runner import Runner
from quirewell.record.finding import Run
from quirewell.stages import bench as stage
from quirewell.stages.calibrating import METHOD
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import STUDIO, Studio

_FOLDER = click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False), help="The studio it is kept in.",
)  # fmt: skip
_TEXTS = (
    ("--strip-length-mm", "MM", "The strip as you measured it; else as the studio knows it."),
    ("--strip-length-u-mm", "MM", "Standard uncertainty of that (0.1 once measured)."),
    ("--board", "'7x10 20 mm'",
     "A chequered board was scanned: squares across x down, side of one."),
    ("--board-u-pct", "PCT", "Standard uncertainty of its squares in % (0.3, as printed)."),
    ("--rule-length-mm", "MM", "A rule was scanned: the length between two of its lines."),
    ("--rule-length-u-mm", "MM", "Standard uncertainty of that (0.1)."),
    ("--rule-points", "'X1,Y1,X2,Y2; ..'", "Those two lines in pixels, for each scan in order."),
    ("--dpi", "DPI", "Resolution of the scans, where the files do not say it."),
)  # fmt: skip


@click.group()
def scanner() -> None:
    """The bench's own tools: its strip measured once, its scanner calibrated once.

    What is entered here is used for every scan measured afterwards.
    """


@scanner.command()
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--studio", "folder", default=None, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep the calibration in this studio; without it the numbers are only shown.",
)  # fmt: skip
@click.option("--name", default="", metavar="NAME", help="The scanner, where no file names it.")
@click.option(
    "--untagged", is_flag=True, help="Scans that name no scanner come from this one as well."
)
@text_options(_TEXTS)
@JSON
def calibrate(
    scans: tuple[Path, ...],
    folder: Path | None,
    name: str,
    untagged: bool,
    wants_json: bool,
    **params: str,
) -> None:
    """Find a scanner's own errors from three SCANS or more of one thing.

    Scan the whole glass with the bench strip on it, four times: along the glass at both ends,
    across it at both sides, as a leaf would lie. A board on glass or film gives the whole map.
    The calibration holds for this scanner at this resolution.

    \b
    Examples:
      quirewell scanner calibrate s1.tif s2.tif s3.tif s4.tif --strip-length-mm 159.8
      quirewell scanner calibrate s*.tif --studio larkmoor --name "bench flatbed"
      quirewell scanner calibrate b1.tif b2.tif b3.tif --board "7x10 20 mm" --board-u-pct 0.01
    """
    given = {key: text for key, text in params.items() if text}
    if given.get("rule_length_mm") or given.get("rule_points"):
        given["artefact"] = "rule"
    try:
        if folder is None:
            files = {f"scan{index}": path for index, path in enumerate(scans, 1)}
            run, kept = run_method(METHOD, "scanner", files, params=given), ""
        else:
            with Studio.open(folder) as studio, Runner(1) as runner:
                held, _ = stage.calibrate(
                    studio, [(path.name, path) for path in scans], given,
                    name=name, untagged=untagged, runner=runner,
                )  # fmt: skip
            run, kept = held.run, held.scanner
    except (ValueError, Refusal, StudioError, OSError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)
    if wants_json:
        print_json({**nest(run), "kept_as": kept or None})
    else:
        click.echo("\n".join(_card(run, kept)))


def _card(run: Run, kept: str) -> list[str]:
    lines = [f"{len(run.inputs) or 'The'} scans", *table(run.findings)]
    if kept:
        lines += ["", f"  Kept for {kept}; scans of it at this resolution are measured by it."]
    return lines + paragraphs("What to know", run.warnings)


@scanner.command()
@click.argument("length", metavar="LENGTH")
@_FOLDER
@click.option("--new-strip", is_flag=True, help="A newly printed strip: older readings go with it.")
@click.option("--note", default="", metavar="WORDS", help="Which rule, who read it.")
@JSON
def strip(length: str, folder: Path, new_strip: bool, note: str, wants_json: bool) -> None:
    """Enter a reading of the bench strip: left edge of its first mark to that of its last.

    \b
    Example:
      quirewell scanner strip "159.8 mm" --studio larkmoor
    """
    with _studio(folder, wants_json) as studio:
        form = {"length": length, "new": "yes" if new_strip else "", "note": note}
        drafts = stage.measure_strip(studio.bench(), form)
        studio.append(STUDIO, None, drafts)
        _show(studio, wants_json)


@scanner.command()
@click.argument("scan", type=click.Path(path_type=Path), required=False)
@_FOLDER
@click.option("--steps", default="", metavar="'L L L L L L'", help="Six L* by an instrument.")
@click.option("--u", default="", metavar="L", help="Standard uncertainty of those (0.3).")
@JSON
def greys(scan: Path | None, folder: Path, steps: str, u: str, wants_json: bool) -> None:
    """Enter the strip's greys: by an instrument, or as a first SCAN of it gives them.

    \b
    Examples:
      quirewell scanner greys first.tif --studio larkmoor
      quirewell scanner greys --steps "21 35.5 50.2 65 79.6 91.8" --studio larkmoor
    """
    with _studio(folder, wants_json) as studio:
        bench = studio.bench()
        if steps or scan is None:
            drafts = stage.set_greys(bench, {"greys": steps, "u": u})
        else:
            drafts = stage.greys_from_scan(bench, scan)
        studio.append(STUDIO, None, drafts)
        _show(studio, wants_json)


@scanner.command()
@_FOLDER
@JSON
def show(folder: Path, wants_json: bool) -> None:
    """Say what the bench knows of its strip and its scanners.

    \b
    Example:
      quirewell scanner show --studio larkmoor
    """
    with _studio(folder, wants_json) as studio:
        _show(studio, wants_json)


@contextmanager
def _studio(folder: Path, wants_json: bool) -> Iterator[Studio]:
    try:
        with Studio.open(folder) as studio:
            yield studio
    except (Refusal, StudioError) as error:
        fail(f"{error}.".replace("..", "."), wants_json)


def _show(studio: Studio, wants_json: bool) -> None:
    seen = stage.view(studio.bench())
    if wants_json:
        print_json(
            {
                "strip": {
                    "name": seen.strip,
                    "says": seen.strip_says,
                    "readings": [{"id": one.id, "says": one.says} for one in seen.readings],
                    "greys": [
                        {"id": one.id, "says": one.says, "source": one.note} for one in seen.greys
                    ],
                },
                "scanners": [{"id": one.id, "says": one.says} for one in seen.scanners],
            }
        )
        return
    lines = [seen.strip_says, *(f"  {one.says}" for one in seen.readings)]
    lines += [seen.greys_says, *(f"  {one.says} ({one.note})" for one in seen.greys)]
    lines += [seen.scanners_say, *(f"  {one.says}" for one in seen.scanners)]
    click.echo("\n".join(lines))
