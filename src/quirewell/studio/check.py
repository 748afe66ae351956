"""``check``: is everything still as it was written? Every original is hashed again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy.exc import DatabaseError

from quirewell.record.apply import RecordError
from quirewell.record.event import Event
from quirewell.studio.blobs import is_sha256
from quirewell.studio.database import DATABASE
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import KEYS
from quirewell.studio.originals import Originals
from quirewell.studio.own_settings import LOG
from quirewell.studio.readme import README
from quirewell.studio.store_faults import StoreFault
from quirewell.studio.studio import Studio
from quirewell.studio.where import WHERE

_OWN = frozenset(
    {
        DATABASE,
        README,
        f"{DATABASE}-wal",
        f"{DATABASE}-shm",
        "originals",
        "derived",
        "backups",
        KEYS,
        LOG,
    }
)


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing wrong: a short code, and a sentence that says what and what to do."""

    code: str
    says: str


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What a check found. ``notes`` are worth knowing and no fault."""

    folder: str
    troubles: tuple[Trouble, ...]
    notes: tuple[str, ...]
    events: int
    items: int
    originals: int
    bytes: int
    head: str

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.troubles

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return {
            "ok": self.ok,
            "studio": self.folder,
            "events": self.events,
            "items": self.items,
            "originals": self.originals,
            "originals_bytes": self.bytes,
            "journal_head": self.head,
            "troubles": [{"code": entry.code, "says": entry.says} for entry in self.troubles],
            "notes": list(self.notes),
        }


def check(
    folder: Path | str,
    head: str = "",
    progress: Callable[[int, int], None] | None = None,
    left_out: frozenset[str] = frozenset(),
) -> CheckResult:
    """Hash every original again, walk the chain, compare the tables with the journal.

    ``head`` is a hash from a report or a backup: the journal must still contain it. A chain
    alone shows a changed entry, but not that its end was cut off. ``left_out`` are originals that
    are known to be missing: they are noted, and no trouble.

    Raises:
        StudioError: there is no studio, or its file cannot be opened at all.
    """
    place = Path(folder).absolute()
    try:
        with Studio.open(place) as studio:
            return check_open(studio, head, progress, left_out)
    except DatabaseError as error:
        raise StudioError(
            f"the database of {place} is damaged and cannot be read ({error.orig}); restore the "
            "newest backup into a new folder: quirewell studio restore BACKUP NEW"
        ) from error


def check_open(
    studio: Studio,
    head: str = "",
    progress: Callable[[int, int], None] | None = None,
    left_out: frozenset[str] = frozenset(),
) -> CheckResult:
    """:func:`check` of a studio that is open already."""
    database, chain = studio.connection_check()
    troubles = [Trouble("database", says) for says in database]
    troubles += [Trouble("chain", says) for says in chain]
    events = studio.events()
    if head and not any(event.hash == head for event in events):
        troubles.append(
            Trouble(
                "head",
                f"the journal does not contain {head[:12]}…: entries were cut off or this is "
                "another studio",
            )
        )
    if not chain:
        troubles += list(_projections(studio))
    recorded = recorded_originals(events)
    sizes, away = _listed(studio.blobs)
    troubles += away
    names = list(sizes)
    troubles += list(_originals(studio.blobs, names, progress))
    for sha256, words in ({} if away else recorded).items():
        if sha256 not in names and sha256 not in left_out:
            says = f"the original of {words} ({sha256[:12]}…) is missing; restore it from a backup"
            troubles.append(Trouble("missing", says))
    size = sum(sizes.values())
    notes = list(_notes(studio, names, set(recorded)))
    notes += [
        f"the original of {recorded[name]} ({name[:12]}…) was damaged before it could be backed up"
        for name in sorted(left_out & set(recorded))
    ]
    return CheckResult(
        str(studio.folder), tuple(troubles), tuple(notes),
        len(events), len(studio.items()), len(names), size, studio.head(),
    )  # fmt: skip


def _projections(studio: Studio) -> Iterator[Trouble]:
    try:
        for says in studio.rebuild_differs():
            yield Trouble("tables", says)
    except RecordError as error:
        yield Trouble("journal", f"the journal says something that cannot be: {error}")


def _listed(blobs: Originals) -> tuple[dict[str, int], list[Trouble]]:
    """Bytes of each original; nothing, and why, when their place cannot be reached."""
    try:
        return blobs.sizes(), []
    except StoreFault as error:
        return {}, [Trouble("away", f"{error}; the originals were not looked at")]


def _originals(
    blobs: Originals, names: list[str], progress: Callable[[int, int], None] | None
) -> Iterator[Trouble]:
    for done, name in enumerate(names, 1):
        try:
            found = blobs.hash(name)
        except (OSError, StoreFault) as error:
            yield Trouble("unreadable", f"the original {name[:12]}… cannot be read ({error})")
            continue
        if found != name:
            yield Trouble(
                "altered",
                f"the original {name[:12]}… is no longer the file that was taken in; restore it "
                "from a backup",
            )
        if progress is not None:
            progress(done, len(names))


def recorded_originals(events: Iterable[Event]) -> dict[str, str]:
    """Hash of every file that the journal speaks of, and what it is."""
    found: dict[str, str] = {}
    for event in events:
        sha256 = event.body.get("sha256")
        if isinstance(sha256, str) and is_sha256(sha256) and event.kind == "capture.added":
            found[sha256] = f"{event.body.get('filename', 'a picture')} in {event.stream}"
        if event.kind == "offer.looked_at":
            for sha256 in event.body.get("pictures", ()):
                found.setdefault(sha256, f"a seller's photograph of {event.body['title']}")
        if event.kind == "scanner.calibrated":
            for entry in event.body["run"]["inputs"]:
                found[entry["sha256"]] = f"{entry['ref']}, a scan that calibrates the scanner"
        if event.kind == "run.recorded" and event.body["method"] == "relief.measure":
            for entry in event.body["inputs"]:
                found.setdefault(entry["sha256"], f"{entry['ref']}, lit for relief")
    return found


def _notes(studio: Studio, names: list[str], recorded: set[str]) -> Iterator[str]:
    loose = [name for name in names if name not in recorded]
    if loose:
        yield (
            f"{len(loose)} originals belong to no record (an intake was cut short, or a report "
            "is kept there); they do no harm"
        )
    for entry in sorted(studio.folder.iterdir()):
        if entry.name not in {*_OWN, WHERE}:
            yield f"{entry.name} in the studio's folder is not the studio's own"
    strange = [
        entry
        for entry in studio.blobs.folder.glob("??/*")
        if not is_sha256(entry.name) or entry.name[:2] != entry.parent.name
    ]
    if strange:
        yield f"{len(strange)} files under originals/ are not originals, such as {strange[0].name}"
    if unfinished := studio.blobs.unfinished():
        yield f"{len(unfinished)} copies are being made just now by another process"
