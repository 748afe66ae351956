"""``quirewell survey``: a folder of very many scans, measured, and what needs treatment first."""

from __future__ import annotations

import shlex
import signal
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

import click

from quirewell.cli.measure import target_in
from quirewell.cli.options import JSON, known_greys
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.jobs.cluster import DaskEngine, Keys, NoCluster, cluster_at, local_cluster
from quirewell.jobs.engine import EngineLost
from quirewell.report.survey_page import pictured, write_page
from quirewell.stages.collection_files import plain_name
from quirewell.stages.collection_ranking import rank, with_places
from quirewell.stages.collection_rows import write_csv, write_whole
from quirewell.stages.collection_run import NotSurveyed, Standing, Survey
from quirewell.stages.collection_told import summary, summary_lines, time_left
from quirewell.stages.measuring_said import BadParameter

_LINE_EVERY_S = 10.0
_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("folder", type=_PATH)
@click.option(
    "--out",
    type=_PATH,
    default=None,
    metavar="OUT",
    help="Folder for rows and results (the folder's name with -survey, here).",
)
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    default=2,
    show_default=True,
    help="Worker processes on this machine.",
)
@click.option(
    "--scheduler",
    default="",
    metavar="ADDRESS",
    help="A dask scheduler that is running already, as tcp://127.0.0.1:8786 or tls://HOST:8786; "
    "its workers measure, and see the folder under the same path.",
)
@click.option("--tls-ca", type=_PATH, metavar="FILE", help="Who signed the certificates (PEM).")
@click.option("--tls-cert", type=_PATH, metavar="FILE", help="This machine's certificate (PEM).")
@click.option("--tls-key", type=_PATH, metavar="FILE", help="Its key (PEM).")
@click.option(
    "--trust-network",
    is_flag=True,
    help="Use an unencrypted scheduler on another machine: whoever can reach that network could "
    "run programs on all the machines.",
)
@click.option(
    "--dpi", default="", metavar="DPI", help="Resolution of all the scans, where files say none."
)
@click.option(
    "--strip-length-mm", default="", metavar="MM", help="The bench strip as you measured it."
)
@click.option(
    "--target",
    "target_file",
    type=_PATH,
    default=None,
    metavar="FILE.json",
    help="A colour target fitted for the scanner: what quirewell target fit --json said.",
)
@known_greys
@click.option("--again", is_flag=True, help="Try again what could not be measured.")
@JSON
def survey(
    folder: Path,
    out: Path | None,
    workers: int,
    scheduler: str,
    tls_ca: Path | None,
    tls_cert: Path | None,
    tls_key: Path | None,
    trust_network: bool,
    dpi: str,
    strip_length_mm: str,
    target_file: Path | None,
    greys: str,
    greys_u: float,
    again: bool,
    wants_json: bool,
) -> None:
    """Measure every scan in FOLDER, and show what needs treatment first.

    Size, paper tone, missing area, open tears and warnings of each scan, however many there are.
    A file that cannot be measured becomes a line with the reason and stops nothing. It can be
    stopped, or the machine switched off, at any time: the same command goes on where it was.

    \b
    In OUT:
      survey.parquet   a row a file, every number with its standard uncertainty
      survey.csv       the same, safe to open in a spreadsheet
      survey.html      what needs treatment first, why, and small pictures of it
      parts/           rows as they came; keep them to go on

    \b
    Examples:
      quirewell survey scans
      quirewell survey scans --out shelf-3 --workers 4
      quirewell survey scans --scheduler tcp://127.0.0.1:8786

    Lengths are known only where a scan has a scale; the missing share of a leaf needs none.
    Tones are compared within one scanner, by the grey strip where it lies beside the leaf.
    Brittleness and acidity do not show in a scan.
    """
    out = out or Path(f"{folder.resolve().name or 'folder'}-survey")
    shown = _Shown()
    try:
        keys = _keys(tls_ca, tls_cert, tls_key)
        params = {"dpi": dpi, "strip_length_mm": strip_length_mm}
        params |= {"greys": f"{greys} | {greys_u:g} | instrument"} if greys.strip() else {}
        params = {name: text for name, text in params.items() if text}
        if target_file is not None:
            params["target"] = target_in(target_file)
        asked = Survey(folder, out, params, again=again, on_standing=shown.tell)
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        with _engine(scheduler, keys, workers, folder, trust_network) as engine:
            table = asked.run(engine)
        shown.end()
        said = _write(asked, table)
    except KeyboardInterrupt:
        _stopped(shown)
    except EngineLost as error:
        shown.end()
        fail(f"{error}; what is measured is kept. To go on: {_command()}", wants_json)
    except (NotSurveyed, NoCluster, BadParameter) as error:
        shown.end()
        fail(f"{error}.".replace("..", "."), wants_json)
    if wants_json:
        print_json(said)
    else:
        click.echo("\n".join(_lines(said, out)))


def _engine(
    scheduler: str, keys: Keys | None, workers: int, folder: Path, trusted: bool
) -> DaskEngine:
    if not scheduler:
        if keys is not None:
            raise NoCluster("certificates are for a --scheduler; leave them out without one")
        return local_cluster(workers)
    return cluster_at(scheduler, keys, folder=folder.resolve(), trusted=trusted)


def _keys(ca: Path | None, cert: Path | None, key: Path | None) -> Keys | None:
    if ca is None and cert is None and key is None:
        return None
    if ca is None or cert is None or key is None:
        raise NoCluster("certificates go together: give --tls-ca, --tls-cert and --tls-key")
    return Keys(ca, cert, key)


def _write(asked: Survey, table: Any) -> dict[str, Any]:
    """Results from the whole table, and what is said of them."""
    out, ranking = asked.out, rank(table)
    table = with_places(table, ranking)
    write_whole(out / "survey.parquet", table)
    write_csv(out / "survey.csv", table)
    title = plain_name(str(asked.folder.resolve().name))
    pictures = asked.pictures(pictured(table, ranking))
    write_page(out / "survey.html", table, ranking, title, pictures)
    return summary(table, ranking)


def _lines(said: dict[str, Any], out: Path) -> list[str]:
    lines = summary_lines(said)
    lines += paragraphs("Results", [f"{out}/survey.html, survey.csv, survey.parquet"])
    return lines


def _stopped(shown: _Shown) -> NoReturn:
    shown.end()
    click.echo(
        f"Stopped{shown.where()}. What is measured is kept. To go on: {_command()}", err=True
    )
    sys.exit(130)


def _command() -> str:
    return shlex.join(["quirewell", *sys.argv[1:]])


class _Shown:
    """The line of progress on standard error: rewritten on a terminal, else one now and then."""

    def __init__(self) -> None:
        self._line = ""
        self._last: Standing | None = None
        self._next = 0.0
        self._terminal = sys.stderr.isatty()

    def tell(self, standing: Standing) -> None:
        """Show where it stands."""
        self._last = standing
        line = f"{standing.done} of {standing.total}"
        if standing.failed:
            line += f", {standing.failed} could not be measured"
        if standing.left_s is not None and standing.done < standing.total:
            line += f", {time_left(standing.left_s)}"
        with suppress(OSError):  # nobody may be reading any more; that stops nothing
            if self._terminal:
                click.echo(f"\r{line:<78}", nl=False, err=True)
                self._line = line
            elif time.monotonic() >= self._next:
                self._next = time.monotonic() + _LINE_EVERY_S
                click.echo(line, err=True)

    def where(self) -> str:
        """Where it stood, in words."""
        return f" at {self._last.done} of {self._last.total}" if self._last else ""

    def end(self) -> None:
        """Leave the line."""
        if self._line:
            click.echo("", err=True)
            self._line = ""
