"""``quirewell studio keep``: backups by themselves, to another disk, rotated and checked."""

from __future__ import annotations

import logging
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import print_json
from quirewell.studio import log
from quirewell.studio.clock import now
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_make import KeptNow, keep_now
from quirewell.studio.keep_place import PlaceMissing
from quirewell.studio.keep_restore import try_restore
from quirewell.studio.keep_setup import check_studio, set_up
from quirewell.studio.keep_view import PlaceView, place_view
from quirewell.studio.own_settings import Rotation, backup_settings, set_backup


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--to", "place", metavar="PLACE", type=click.Path(path_type=Path),
    help="Set up once: a new folder on another disk or a share. The first backup is made at once.",
)  # fmt: skip
@click.option("--now", "make_now", is_flag=True, help="Make a backup now (for cron).")
@click.option(
    "--whole", is_flag=True, help="With --now: read every original of the place again, not a share."
)
@click.option(
    "--verify", is_flag=True,
    help="Restore the newest backup whole into a scratch folder, check it, delete it again.",
)  # fmt: skip
@click.option(
    "--daily", type=int, metavar="N", help="Days of which the newest is kept; 7 at first."
)
@click.option("--weekly", type=int, metavar="N", help="Weeks of which one is kept; 4 at first.")
@click.option("--monthly", type=int, metavar="N", help="Months of which one is kept; 12 at first.")
@click.option(
    "--old-after", type=int, metavar="DAYS",
    help="Say that the last backup is old after so many days; 7 at first.",
)  # fmt: skip
@click.option("--stop", is_flag=True, help="Make no more by itself; what is kept stays.")
@JSON
@click.pass_context
def keep(
    context: click.Context, folder: Path, place: Path | None, make_now: bool, whole: bool,
    verify: bool, daily: int | None, weekly: int | None, monthly: int | None,
    old_after: int | None, stop: bool, wants_json: bool,
) -> None:  # fmt: skip
    """Keep backups of the studio DIR by themselves: on another disk, rotated, each one checked.

    Set up once with --to. From then on one is made while `quirewell serve` runs, when something was
    saved and the last is older than a day; or by --now. Without any option it tells how
    things stand: 0 when all is well, 1 when something is to be looked at.

    Each original is kept once, whatever the number of backups. Every backup is read back, opened,
    its journal walked and its tables compared; originals are read again in turn, all within a
    month. Keys and the passphrase are in no backup. `quirewell studio restore PLACE NEW` restores.

    \b
    Examples:
      quirewell studio keep larkmoor --to /media/disk/quirewell
      quirewell studio keep larkmoor --now
      quirewell studio keep larkmoor --verify --json
    """
    try:
        check_studio(folder)
        if place is not None:
            set_up(folder, place)
        _change(folder, daily, weekly, monthly, old_after, stop)
        said: dict[str, Any] = {}
        lines: list[str] = []
        if place is not None or make_now or whole:
            kept = _keep(folder, whole)
            said |= {"kept": kept.as_json()}
            lines += _kept_lines(kept)
        if verify:
            one, result = try_restore(folder)
            said |= {"restored": one.name, "check": result.as_json()}
            lines.append(
                f"The backup {one.name} was restored whole and checked: {result.events} journal "
                f"entries, {result.originals} originals hashed again. All as it was written."
            )
        view = place_view(folder, now())
        said |= {"backups": view.as_json()}
        if not lines:
            lines = view_lines(view)
    except StudioError as error:
        raise click.ClickException(f"{str(error).rstrip('.')}.") from error
    if wants_json:
        print_json(said)
    else:
        click.echo("\n".join(lines))
    given = (place, daily, weekly, monthly, old_after)
    asked = make_now or whole or verify or stop or any(one is not None for one in given)
    if view.standing.level != "fine" and not asked:
        context.exit(1)


def _keep(folder: Path, whole: bool) -> KeptNow:
    """Make a backup, noted in a log of its own."""
    log.begin(folder, "keep")
    began = time.monotonic()
    try:
        log.told("backup.begun")
        kept = keep_now(folder, progress=_bar, whole=whole)
        took = round((time.monotonic() - began) * 1000)
        log.told("backup.ended", ms=took, made=kept.made, new_bytes=kept.good.new_bytes)
    except StudioError as error:
        log.told("backup.failed", logging.WARNING, missing=isinstance(error, PlaceMissing))
        raise
    finally:
        log.end()
    return kept


def _change(
    folder: Path, daily: int | None, weekly: int | None, monthly: int | None,
    old_after: int | None, stop: bool,
) -> None:  # fmt: skip
    """Keep what was given of the rule."""
    given = {"daily": daily, "weekly": weekly, "monthly": monthly}
    changed = {name: value for name, value in given.items() if value is not None}
    if not changed and old_after is None and not stop:
        return
    settings = backup_settings(folder)
    rotation = Rotation(**{**asdict(settings.rotation), **changed})
    days = settings.old_after_days if old_after is None else old_after
    settings = replace(settings, rotation=rotation, old_after_days=days)
    set_backup(folder, replace(settings, place="", id="") if stop else settings)


def _kept_lines(kept: KeptNow) -> list[str]:
    return [f"{one}." for one in kept.says] + [f"Look: {one}." for one in kept.cautions]


def view_lines(view: PlaceView) -> list[str]:
    """How the backups stand, for the terminal."""
    lines = [view.standing.says]
    if view.standing.advice:
        lines.append(view.standing.advice)
    if view.place:
        lines += [
            "",
            f"Place: {view.place}" + ("" if view.there else "  (not there now)"),
            view.rule,
        ]
    lines += [f"  {row.name}  {row.says}" for row in view.rows]
    lines += view.sizes
    return lines


def _bar(done: int, total: int) -> None:
    if done == total or done % 20 == 0:
        click.echo(f"originals copied {done} of {total}", err=True)
