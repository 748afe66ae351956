"""A studio back out of a backup place, from any backup in it; and the test that this works."""

from __future__ import annotations

import re
import secrets
import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from quirewell.studio.archive import Reader
from quirewell.studio.backup import OnProgress, put_back
from quirewell.studio.check import CheckResult
from quirewell.studio.clock import Clock, bench_zone, instant_text, now
from quirewell.studio.disks import free_bytes, size_words
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_place import MARK, Place, PlaceMissing, Snapshot, found_place, snapshots
from quirewell.studio.own_settings import backup_settings, last_kept, remember_kept

_DAY = re.compile(r"\d{4}-\d\d-\d\d")


class _FromPool(Reader):
    """Reads the database out of one backup and the originals out of the pool beside it."""

    def __init__(self, place: Place, name: str) -> None:
        super().__init__(place.backups / name, None)
        self._pool = Reader(place.folder, None)

    def extract(self, name: str, target: Path, size: int) -> tuple[str, int]:
        if name.startswith("originals/"):
            return self._pool.extract(name, target, size)
        return super().extract(name, target, size)


def is_place(folder: Path) -> bool:
    """Whether a folder bears the mark of a backup place."""
    return (folder / MARK).is_file()


def chosen(place: Place, at: str = "", zone: str = "") -> Snapshot:
    """The backup to restore: the newest, the newest made on or before a day (of the bench's
    zone), or one by its name.

    Raises:
        StudioError: there is none, or the day cannot be read.
    """
    found, broken = snapshots(place)
    if at and not _DAY.fullmatch(at):
        named = [one for one in found if one.name == at]
        if not named:
            raise StudioError(
                f"{at!r} is neither a day (such as 2031-04-02) nor the name of a backup in "
                f"{place.folder}; it holds: {_names(found)}"
            )
        return named[0]
    days = [one for one in found if not at or _day_of(one, zone or bench_zone()) <= at]
    if not days:
        why = f" ({len(broken)} cannot be read: {', '.join(broken[:3])})" if broken else ""
        when = f" made on or before {at}" if at else ""
        raise StudioError(f"there is no backup{when} in {place.folder}{why}; it holds: "
                          f"{_names(found)}")  # fmt: skip
    if not at and broken and max(broken) > days[0].name:
        raise StudioError(
            f"the newest backup, {max(broken)}, cannot be read. The newest that can is of "
            f"{days[0].name}; to restore that one give: --at {days[0].name}"
        )
    return days[0]


def _names(found: list[Snapshot]) -> str:
    return ", ".join(one.name for one in found[:12]) or "none"


def _day_of(one: Snapshot, zone: str) -> str:
    made = datetime.fromisoformat(one.manifest.made_at)
    return made.astimezone(ZoneInfo(zone)).date().isoformat()


def restore_from(
    folder: Path, new: Path, at: str = "", progress: OnProgress | None = None, zone: str = ""
) -> tuple[Snapshot, CheckResult]:
    """Put one backup of a place into a new or empty folder and check it whole, or nothing.

    Raises:
        StudioError: no such backup, or it is damaged; other backups of the place are named.
        DiskFull: no room; nothing is left behind.
    """
    place = found_place(folder.absolute())
    one = chosen(place, at, zone)
    try:
        result = put_back(_FromPool(place, one.name), one.manifest, new.absolute(), progress)
    except StudioError as error:
        others = [other for other in snapshots(place)[0] if other.name != one.name]
        more = f". Others to try with --at: {_names(others)}" if others else ""
        raise type(error)(f"{error}{more}") from error
    return one, result


def try_restore(folder: Path, at: str = "", clock: Clock = now) -> tuple[Snapshot, CheckResult]:
    """Restore a backup of the studio in ``folder`` whole into a scratch folder, check it, and
    delete it again; remembers the day.

    Raises:
        StudioError: backups are not set up, there is no room, or the backup is damaged.
    """
    settings = backup_settings(folder)
    if not settings.place:
        raise StudioError("no backups are set up; do it once: quirewell studio keep DIR --to PLACE")
    place = found_place(Path(settings.place))
    if place.id != settings.id:
        raise PlaceMissing(f"{place.folder} is another backup place than the one that was set up")
    one = chosen(place, at)
    need, free = one.manifest.bytes, free_bytes(folder)
    if need * 1.05 > free:
        raise StudioError(
            f"trying a restore needs {size_words(need)} beside the studio for a while, and "
            f"{size_words(free)} are free; make room, or restore on another machine"
        )
    scratch = folder / "backups" / f".keep-{secrets.token_hex(4)}"
    try:
        _, result = restore_from(place.folder, scratch / "again", one.name)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    kept = replace(last_kept(folder), restored_at=instant_text(clock()), restored=one.name)
    remember_kept(folder, kept)
    return one, result
