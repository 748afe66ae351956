"""Looks at the journal, the tables, the originals, and at the time they bear."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from quirewell.record.apply import RecordError
from quirewell.studio.check import recorded_originals
from quirewell.studio.clock import bench_zone
from quirewell.studio.database import HEAD_REVISION, reading, revision_of
from quirewell.studio.disks import size_words
from quirewell.studio.faults import StudioError
from quirewell.studio.health_row import Row, fine, look, wrong
from quirewell.studio.studio import Studio

FROM_BACKUP = "Restore the newest backup into a new folder: quirewell studio restore PLACE NEW"
AHEAD = timedelta(minutes=5)


def of_journal(studio: Studio) -> Iterator[Row]:
    """The database file, the chain, the tables, their revision."""
    database, chain = studio.connection_check()
    if database:
        yield wrong("database", "Database", database[0], FROM_BACKUP)
    else:
        yield fine("database", "Database", "The database finds no fault in itself")
    events = studio.events()
    if chain:
        yield wrong("chain", "Journal", f"{chain[0]} ({len(chain)} in all)", FROM_BACKUP)
    else:
        yield fine("chain", "Journal", f"{len(events)} entries, each chained to the one before")
        yield _tables(studio)
    with reading(studio.engine) as connection:
        revision = revision_of(connection)
    if revision == HEAD_REVISION:
        yield fine("revision", "Tables' edition", f"Edition {revision}, the one of this program")
    else:
        yield wrong(
            "revision", "Tables' edition",
            f"Edition {revision}, and this program knows {HEAD_REVISION}",
            "Start the program anew; install the newer one if it stays so",
        )  # fmt: skip


def _tables(studio: Studio) -> Row:
    try:
        differs = studio.rebuild_differs()
    except RecordError as error:
        return wrong("tables", "Tables", f"The journal says what cannot be: {error}", FROM_BACKUP)
    if differs:
        return wrong(
            "tables", "Tables", f"{differs[0]} ({len(differs)} in all)",
            "The journal is the truth, so nothing is lost: quirewell studio check DIR --rebuild",
        )  # fmt: skip
    return fine("tables", "Tables", "The tables say what the journal says")


def of_originals(studio: Studio, whole: bool) -> Iterator[Row]:
    """Whether every picture that the journal speaks of is there; with ``whole`` each is hashed."""
    blobs = studio.blobs
    sizes = blobs.sizes()
    recorded = recorded_originals(studio.events())
    missing = [name for name in recorded if name not in sizes]
    if missing:
        yield wrong(
            "originals", "Originals",
            f"{len(missing)} are missing, the first {missing[0][:12]}…, {recorded[missing[0]]}",
            "Restore them from a backup, then: quirewell studio check DIR",
        )  # fmt: skip
    else:
        yield fine(
            "originals", "Originals",
            f"{len(sizes)} are there, {size_words(sum(sizes.values()))}"
            + ("" if whole else "; they were counted, not read"),
            "" if whole else "To read them all: quirewell studio doctor DIR --whole",
        )  # fmt: skip
    if whole:
        yield _hashed(studio, list(sizes))
    writable = [name for name in sizes if _writable(studio, name)]
    if writable:
        yield look(
            "originals-writable", "Originals read-only",
            f"{len(writable)} can be written over, such as {writable[0][:12]}…",
            "Take the leave to write away: chmod -R a-w on the files under originals/",
        )  # fmt: skip
    elif sizes:
        yield fine("originals-writable", "Originals read-only", "None can be written over")


def _hashed(studio: Studio, names: list[str]) -> Row:
    bad = []
    for name in names:
        try:
            if studio.blobs.hash(name) != name:
                bad.append(name)
        except (StudioError, OSError):
            bad.append(name)
    if bad:
        return wrong(
            "originals-read", "Originals read",
            f"{len(bad)} of {len(names)} are not what was taken in, the first {bad[0][:12]}…",
            "Put them back from a backup (originals/ of its place), then: quirewell studio check "
            "DIR",
        )  # fmt: skip
    return fine("originals-read", "Originals read", f"All {len(names)} were read: none has changed")


def _writable(studio: Studio, name: str) -> bool:
    try:
        mode = (studio.folder / "originals" / name[:2] / name).stat().st_mode
    except OSError:
        return False  # it lies elsewhere
    return bool(mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH))


def of_time(studio: Studio, at: datetime) -> Iterator[Row]:
    """Whether the clock stands where the journal's last entry and the bench's zone expect it."""
    last = studio.events()[-1]
    written = datetime.fromisoformat(last.at)
    if written - at > AHEAD:
        days = (written - at) / timedelta(days=1)
        yield wrong(
            "clock", "Clock",
            f"The clock stands at {at.astimezone(UTC):%Y-%m-%d %H:%M} UTC, {_span(days)} before "
            f"the journal's last entry ({last.at[:16].replace('T', ' ')} UTC)",
            "The clock is wrong now, or was then. Set it right before the next entry: times in "
            "the record come from it",
        )  # fmt: skip
    else:
        yield fine(
            "clock", "Clock",
            f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC, after the journal's last entry",
        )  # fmt: skip
    here = bench_zone()
    if not _same_zone(here, last.zone, at):
        yield look(
            "zone", "Time zone",
            f"This machine keeps {here}; the journal's last entry was written in {last.zone}",
            "If the bench has not moved, set the machine's time zone",
        )  # fmt: skip
    else:
        yield fine("zone", "Time zone", f"{here}, as in the journal's last entry")


def _span(days: float) -> str:
    if days >= 2:
        return f"{days:.0f} days"
    return f"{days * 24:.0f} hours" if days > 0.1 else f"{days * 1440:.0f} minutes"


def _same_zone(one: str, other: str, at: datetime) -> bool:
    """Whether two names of zones mean the same time now ("UTC" and "Etc/UTC" do)."""
    try:
        first, second = (at.astimezone(ZoneInfo(name)).utcoffset() for name in (one, other))
    except (OSError, ValueError, KeyError):
        return one == other
    return first == second
