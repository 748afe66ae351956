"""One backup into the place that was set up: made, opened and checked, older ones rotated.

A backup counts when its folder bears its name, and it is given that last: after every original it
names lies in the pool and was read back, and after its copy of the database was read back, opened
in a scratch folder, its chain walked and its tables compared with its journal.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from quirewell.studio.backup import MANIFEST, Kept, Manifest, OnProgress, head_in
from quirewell.studio.clock import Clock, instant_text, now
from quirewell.studio.database import DATABASE, copy_database
from quirewell.studio.disks import free_bytes, same_disk, size_words
from quirewell.studio.faults import StudioError, disk_full_said
from quirewell.studio.keep_check import checked
from quirewell.studio.keep_place import (
    SNAPSHOT_FORMAT,
    Place,
    Pooled,
    Snapshot,
    clear,
    leftovers,
    part_of,
    pool_list,
    put_whole,
    said_of,
    settle,
    snapshots,
    write_pool_list,
)
from quirewell.studio.keep_pool import (
    SourceBad,
    copy_durably,
    put_in,
    read_again,
    share_of,
)
from quirewell.studio.keep_rotate import clear_pool, rotate
from quirewell.studio.keep_setup import SAME_DISK, check_studio, the_place
from quirewell.studio.own_settings import (
    BackupSettings,
    Good,
    LastKept,
    last_kept,
    remember_kept,
)
from quirewell.studio.studio import Studio

LOCK = "backups/.keep.lock"
SPARE_BYTES = 32 << 20
NEVER = "1970-01-01T00:00:00.000Z"


class BackupRunning(StudioError):
    """Another backup of this studio is being made just now."""


@dataclass(frozen=True, slots=True)
class KeptNow:
    """What one run did. Sizes in bytes; ``says`` are sentences for the person."""

    place: str
    snapshot: str
    made: bool
    good: Good
    says: tuple[str, ...]
    cautions: tuple[str, ...]
    backups: int
    pool_bytes: int
    copies_bytes: int
    free_bytes: int

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        good = {name: getattr(self.good, name) for name in Good.__slots__}
        own = {name: getattr(self, name) for name in KeptNow.__slots__ if name != "good"}
        return {**own, "good": good}


def keep_now(
    folder: Path | str, clock: Clock = now, progress: OnProgress | None = None, whole: bool = False
) -> KeptNow:
    """Make a backup if anything was saved since the last; check it, or the last one again; read a
    share of the originals again (all of them with ``whole``); rotate.

    Raises:
        BackupRunning: another one is being made.
        PlaceMissing: the place is not there now; nothing was written.
        StudioError: it could not be made or does not verify; what was there before stands.
    """
    place = Path(folder).absolute()
    check_studio(place)
    with _alone(place):
        before = last_kept(place)
        tried = instant_text(clock())
        try:
            done, kept = _keep(place, before, clock, progress, whole)
        except StudioError as error:
            # Where even this cannot be written, the fault itself is what is told.
            with contextlib.suppress(StudioError, OSError):
                kept = replace(last_kept(place), tried_at=tried, trouble=str(error))
                remember_kept(place, kept)
            raise
        remember_kept(place, kept)
        return done


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    (folder / LOCK).parent.mkdir(exist_ok=True)
    with (folder / LOCK).open("ab") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise BackupRunning(
                "a backup of this studio is being made just now; wait for it"
            ) from error
        yield


def being_made(folder: Path) -> bool:
    """Whether a backup of the studio in ``folder`` is being made at this moment."""
    try:
        with _alone(folder):
            return False
    except BackupRunning:
        return True
    except OSError:
        return False


@dataclass(slots=True)
class _Work:
    """One run, and what there is to say of it."""

    studio: Studio
    place: Place
    settings: BackupSettings
    clock: Clock
    progress: OnProgress | None
    scratch: Path
    pool: dict[str, Pooled]
    says: list[str]
    cautions: list[str]
    new_bytes: int = 0


def _keep(
    folder: Path, before: LastKept, clock: Clock, progress: OnProgress | None, whole: bool
) -> tuple[KeptNow, LastKept]:
    settings, place = the_place(folder)
    for old in (folder / "backups").glob(".keep-????????"):
        shutil.rmtree(old, ignore_errors=True)
    scratch = folder / "backups" / f".keep-{secrets.token_hex(4)}"
    with Studio.open(folder, clock=clock) as studio, said_of(place.folder):
        clear(leftovers(place))
        work = _Work(
            studio, place, settings, clock, progress, scratch, pool_list(place), [], []
        )  # fmt: skip
        found, broken = snapshots(place)
        last, made = _newest(work, found)
        good = Good(
            last.name, last.manifest.made_at, instant_text(clock()), last.manifest.head,
            last.manifest.events, last.manifest.bytes, work.new_bytes,
        )  # fmt: skip
        # From here on it counts, whatever else the run finds.
        kept = replace(before, tried_at=good.checked_at, trouble="", good=good)
        remember_kept(folder, kept)
        found = [last, *(one for one in found if one.name != last.name)]
        reread = _read_again(work, found, whole)
        left = _rotate(work, found, broken, last.name)
        if same_disk(folder, place.folder):
            work.cautions.append(SAME_DISK)
        kept = replace(kept, reread=reread, cautions=tuple(work.cautions))
        done = KeptNow(
            str(place.folder), last.name, made, good, (*work.says, _sizes(work, left)),
            tuple(work.cautions), len(left), sum(one.bytes for one in work.pool.values()),
            sum(one.own_bytes for one in left), free_bytes(place.folder),
        )  # fmt: skip
    return done, kept


def _newest(work: _Work, found: list[Snapshot]) -> tuple[Snapshot, bool]:
    """The newest backup, checked; a new one is made when something was saved since, or when the
    last does not stand any more."""
    last = found[0] if found else None
    if last is not None and _says_all(last, work.studio):
        with _scratch(work.scratch):
            found_out = checked(work.place.backups / last.name, last.manifest, work.scratch)
        work.cautions += found_out.notes
        if not found_out.faults:
            work.says.append(
                f"Nothing was saved since the backup {last.name}; it was opened and checked again"
            )
            return last, False
        work.cautions.append(
            f"the backup {last.name} is damaged on its disk ({found_out.faults[0]}), so a new one "
            "was made; a disk on which files change by themselves should be replaced"
        )
    return _make(work), True


def _says_all(last: Snapshot, studio: Studio) -> bool:
    """Whether a backup holds everything that was saved, and could hold it."""
    return last.manifest.head == studio.head() and not last.manifest.left_out


def _make(work: _Work) -> Snapshot:
    place, studio = work.place, work.studio
    made_at = instant_text(work.clock())
    with _scratch(work.scratch):
        copy = work.scratch / "copy.db"
        with disk_full_said(work.studio.folder):
            copy_database(studio.engine, copy)
        events, head = head_in(copy)
        names = list(studio.blobs.all())
        _look_for_room(work, copy.stat().st_size, names)
        left_out = _fill_pool(work, names)
        name = _free_name(place, made_at)
        part = part_of(place.backups / name)
        part.mkdir()
        sha256, size = copy_durably(copy, part / DATABASE)
        copy.unlink()
        files = [Kept(DATABASE, sha256, size)]
        files += [
            Kept(f"originals/{one[:2]}/{one}", one, work.pool[one].bytes)
            for one in names
            if one not in left_out
        ]
        settings = studio.settings
        manifest = Manifest(
            settings.name, made_at, events, head, settings.chain_version, tuple(files), left_out
        )
        said = json.dumps(manifest.as_json(SNAPSHOT_FORMAT), indent=1, ensure_ascii=False)
        put_whole(part / MANIFEST, said.encode())
        found_out = checked(part, manifest, work.scratch)
        work.cautions += found_out.notes
        if found_out.faults:
            clear([part])
            raise StudioError(
                f"the backup was thrown away: {found_out.faults[0]}; those before stand"
            )
    part.rename(place.backups / name)
    settle(place.backups)
    work.says.append(
        f"The backup {name} was made: {size_words(size)} of database, {len(names)} originals, "
        f"{size_words(work.new_bytes)} of them new; read back, opened, journal and tables checked"
    )
    return Snapshot(name, manifest)


@contextmanager
def _scratch(folder: Path) -> Iterator[None]:
    folder.mkdir()
    try:
        yield
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _look_for_room(work: _Work, database_bytes: int, names: list[str]) -> None:
    """Before anything is written: whether the place and the studio's disk have room."""
    sizes = work.studio.blobs.sizes() if set(names) - work.pool.keys() else {}
    new = sum(sizes.get(name, 0) for name in names if name not in work.pool)
    for folder, need, words in (
        (work.place.folder, new + database_bytes, "the backups' place"),
        (work.studio.folder, database_bytes, "the studio's disk, where the copy is opened,"),
    ):
        free = free_bytes(folder)
        if free < need + SPARE_BYTES:
            raise StudioError(
                f"there is no room for a backup: it needs {size_words(need + SPARE_BYTES)}, and "
                f"{words} has {size_words(free)} free. Nothing was written; those made before "
                "stand. Make room, keep fewer (--daily, --weekly, --monthly), or set up another "
                "disk"
            )


def _fill_pool(work: _Work, names: list[str]) -> tuple[str, ...]:
    """Bring in what the pool does not have; the names of those that cannot be."""
    left_out = []
    new = [name for name in names if not _pooled(work, name)]
    for done, name in enumerate(new, 1):
        try:
            size = put_in(work.place, work.studio.blobs, name)
        except SourceBad as error:
            left_out.append(name)
            work.cautions.append(
                f"{error}; the backup was made without it. Restore that file from an older "
                "backup, then run: quirewell studio check"
            )
            continue
        work.new_bytes += size
        work.pool[name] = Pooled(size, instant_text(work.clock()))
        if work.progress is not None:
            work.progress(done, len(new))
    if new:
        write_pool_list(work.place, work.pool)
    return tuple(left_out)


def _pooled(work: _Work, name: str) -> bool:
    held = work.pool.get(name)
    try:
        return held is not None and work.place.pooled(name).stat().st_size == held.bytes
    except OSError:
        return False


def _free_name(place: Place, made_at: str) -> str:
    moment = datetime.fromisoformat(made_at)
    base = moment.strftime("%Y-%m-%d-%H%M%SZ")
    names = (base, *(f"{base}-{number}" for number in range(2, 10_000)))
    return next(name for name in names if not (place.backups / name).exists())


def _read_again(work: _Work, found: list[Snapshot], whole: bool) -> str:
    for one in found:
        for name, size in one.originals.items():
            work.pool.setdefault(name, Pooled(size, NEVER))
    names = share_of(work.pool, work.clock(), whole)
    again = read_again(work.place, work.studio.blobs, work.pool, names, work.clock)
    write_pool_list(work.place, work.pool)
    if again.repaired:
        work.cautions.append(
            f"{len(again.repaired)} originals had changed or were gone on the backup disk and were "
            f"written again from the studio ({again.repaired[0][:12]}…); a disk on which files "
            "change by themselves should be replaced"
        )
    if again.lost:
        work.cautions.append(
            f"{len(again.lost)} originals are damaged on the backup disk, and in the studio too "
            f"({again.lost[0][:12]}…); look for them on another backup"
        )
    words = again.words(work.pool)
    work.says.append(f"{words[:1].upper()}{words[1:]}")
    return words


def _rotate(work: _Work, found: list[Snapshot], broken: list[str], newest: str) -> list[Snapshot]:
    rule, zone = work.settings.rotation, work.studio.settings.zone
    gone = rotate(work.place, found, rule, zone, newest)
    left = [one for one in found if one not in gone]
    if broken:
        work.cautions.append(
            f"{len(broken)} backups cannot be read ({', '.join(broken[:3])}), so no original was "
            "deleted; delete those folders by hand if they are not wanted"
        )
    files, size = (0, 0) if broken else clear_pool(work.place, work.pool, left)
    if gone:
        work.says.append(
            f"{len(gone)} older backups went by the rule ({rule.daily} days, {rule.weekly} weeks, "
            f"{rule.monthly} months), {size_words(sum(one.own_bytes for one in gone) + size)}"
            + (f", with {files} originals that no backup names" if files else "")
        )
    return left


def _sizes(work: _Work, left: list[Snapshot]) -> str:
    pool = sum(one.bytes for one in work.pool.values())
    copies = sum(one.own_bytes for one in left)
    return (
        f"The place holds {len(left)} backup{'s' * (len(left) != 1)}: {size_words(pool)} of "
        f"originals, kept once, and {size_words(copies)} of databases; "
        f"{size_words(free_bytes(work.place.folder))} are free"
    )
