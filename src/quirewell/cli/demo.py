"""``quirewell demo``: a finished treatment to look at, built from an invented publication."""

from __future__ import annotations

import json
from pathlib import Path

import click

from quirewell.cli.options import JSON
from quirewell.demo.build import DPI, SEED, build_demo, is_built, report_path, truth_path
from quirewell.report.model import Untraceable
from quirewell.report.typeset import ReportError
from quirewell.stages.refusal import Refusal
from quirewell.studio.faults import StudioError


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--dpi", default=DPI, show_default=True, type=click.IntRange(50, 600),
    help="Resolution of the drawn scans; 300 takes about ten times as long.",
)  # fmt: skip
@click.option(
    "--seed", default=SEED, show_default=True, type=click.IntRange(0, 10**6),
    help="The same seed draws the same scans.",
)  # fmt: skip
@click.option(
    "--sheets", default="", metavar="LIST",
    help="Draw only these, as in item,c,w01,w09; the whole Annual unless given.",
)  # fmt: skip
@click.option(
    "--keep-scans", "keep", default=None, metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep a copy of the drawn scans here, to try intake and measuring on.",
)  # fmt: skip
@JSON
def demo(
    folder: Path, dpi: int, seed: int, sheets: str, keep: Path | None, wants_json: bool
) -> None:
    """Build a studio in DIR with one treated publication, to look around in.

    The Copperbeck Garden Annual of 1936 is invented: nine wraps and a colour cover, drawn as
    scans before and after a treatment whose every change is known (DIR/demo/truth.json). It is
    taken in, measured, treated on paper and reported by the same commands as your own.

    \b
    Examples:
      quirewell demo demo-studio
      quirewell demo small --sheets item,w01 --keep-scans scans
      quirewell serve --studio demo-studio
    """
    try:
        already = is_built(folder)
        failures: tuple[str, ...] = ()
        if not already:
            failures = build_demo(
                folder,
                dpi=dpi,
                seed=seed,
                sheets=_listed(sheets),
                keep_scans=keep,
                tell=lambda says: click.echo(says, err=True),
            ).failures
    except (StudioError, Refusal, ReportError, Untraceable, ValueError) as error:
        raise click.ClickException(f"{str(error).rstrip('.')}.") from error
    said = {
        "studio": str(folder), "report": str(report_path(folder)),
        "truth": str(truth_path(folder)), "already": already, "not_done": list(failures),
    }  # fmt: skip
    click.echo(json.dumps(said, indent=2) if wants_json else _words(said, already, failures))


def _listed(sheets: str) -> list[str] | None:
    found = [word.strip().lower() for word in sheets.split(",") if word.strip()]
    return found or None


def _words(said: dict[str, object], already: bool, failures: tuple[str, ...]) -> str:
    lines = [
        f"{said['studio']}: {'the demo is there already' if already else 'the demo is built'}."
    ]
    lines += [f"  report        {said['report']}", f"  planted truth {said['truth']}"]
    lines += [f"  not done      {says}" for says in failures]
    lines.append(f"Look at it with: quirewell serve --studio {said['studio']}")
    return "\n".join(lines)
