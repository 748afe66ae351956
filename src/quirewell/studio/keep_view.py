"""What page and command line show of the backups: how they stand, which there are, their sizes."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from quirewell.studio.disks import free_bytes, same_disk, size_words
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_make import being_made
from quirewell.studio.keep_place import Place, leftovers, pool_list, snapshots
from quirewell.studio.keep_setup import the_place
from quirewell.studio.keep_words import Standing, standing
from quirewell.studio.own_settings import BackupSettings, LastKept, backup_settings, last_kept


@dataclass(frozen=True, slots=True)
class Row:
    """One backup in the place; ``made_at`` in ISO 8601, UTC."""

    name: str
    made_at: str
    events: int
    originals: int
    own_bytes: int
    says: str

    @property
    def size(self) -> str:
        """Size of its copy of the database, in words."""
        return size_words(self.own_bytes)


@dataclass(frozen=True, slots=True)
class PlaceView:
    """The backups of one studio. ``why`` says why the place cannot be looked at, if it cannot."""

    standing: Standing
    place: str
    there: bool
    why: str
    same_disk: bool
    busy: bool
    rule: str
    rows: tuple[Row, ...]
    broken: tuple[str, ...]
    sizes: tuple[str, ...]
    settings: BackupSettings
    kept: LastKept

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        said = asdict(self)
        del said["settings"]["id"]
        return said


def place_view(folder: Path, at: datetime, head: str = "", opened_at: str = "") -> PlaceView:
    """How the backups of the studio in ``folder`` stand at ``at``.

    Raises:
        StudioError: the settings cannot be read.
    """
    settings, kept = backup_settings(folder), last_kept(folder)
    stands = standing(folder, at, head, opened_at)
    rule = settings.rotation
    words = (
        f"Kept: the newest of each of the last {rule.daily} days, {rule.weekly} weeks and "
        f"{rule.monthly} months that have one."
    )
    rows: tuple[Row, ...] = ()
    broken: list[str] = []
    sizes: tuple[str, ...] = ()
    there, why, same = False, "", False
    if settings.place:
        try:
            place = the_place(folder)[1]
            rows, broken, sizes = _held(place)
            there, same = True, same_disk(folder, place.folder)
        except (StudioError, OSError) as error:
            why = str(error)
    return PlaceView(
        stands, settings.place, there, why, same, being_made(folder), words, rows, tuple(broken),
        sizes, settings, kept,
    )  # fmt: skip


def _held(place: Place) -> tuple[tuple[Row, ...], list[str], tuple[str, ...]]:
    found, broken = snapshots(place)
    rows = tuple(
        Row(
            one.name, one.manifest.made_at, one.manifest.events, len(one.originals), one.own_bytes,
            f"{one.manifest.events} entries, {len(one.originals)} originals, database "
            f"{size_words(one.own_bytes)}",
        )
        for one in found
    )  # fmt: skip
    pool = pool_list(place)
    copies = "copy" if len(rows) == 1 else "copies"
    sizes = [
        f"{len(pool)} originals, kept once: {size_words(sum(one.bytes for one in pool.values()))}.",
        f"{len(rows)} {copies} of the database: {size_words(sum(one.own_bytes for one in rows))}.",
        f"Free there: {size_words(free_bytes(place.folder))}.",
    ]
    if left := leftovers(place):
        sizes.append(f"{len(left)} leftovers of a backup that was cut short; the next clears them.")
    return rows, broken, tuple(sizes)
