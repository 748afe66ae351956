"""A copy of the database, as it lies in a backup: read back, opened, its journal walked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from quirewell.record.apply import RecordError
from quirewell.studio.backup import Manifest
from quirewell.studio.check import recorded_originals
from quirewell.studio.database import DATABASE
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_pool import copy_durably, hash_from_disk
from quirewell.studio.studio import Studio


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found: ``faults`` for which a backup does not count, ``notes`` for which it does.

    That the tables differ is a note: the journal is the truth, and restoring makes them anew.
    """

    faults: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def checked(backup: Path, manifest: Manifest, scratch: Path) -> Checked:
    """What is to be said of a backup's copy of the database, in sentences.

    The copy is read from its disk into ``scratch`` (a folder that is deleted afterwards) and opened
    there: hash, SQLite's own check, the chain, the head, the tables against the journal, and
    that every original the journal speaks of is named. The originals themselves are not read.
    """
    kept = next(one for one in manifest.files if one.path == DATABASE)
    place = scratch / "opened"
    place.mkdir()
    if hash_from_disk(backup / DATABASE) != (kept.sha256, kept.bytes):
        return Checked(("the copy of the database does not read back as it was written",))
    if copy_durably(backup / DATABASE, place / DATABASE)[0] != kept.sha256:
        return Checked(("the copy of the database reads differently each time",))
    try:
        with Studio.open(place) as opened:
            return _of(opened, manifest)
    except (StudioError, RecordError, DatabaseError) as error:
        return Checked((f"the copy of the database cannot be opened ({error})",))


def _of(opened: Studio, manifest: Manifest) -> Checked:
    database, chain = opened.connection_check()
    faults = [*database, *chain]
    if opened.head() != manifest.head:
        faults.append("the copy's journal does not end where its manifest says")
    named = {one.sha256 for one in manifest.files} | set(manifest.left_out)
    missing = [name for name in recorded_originals(opened.events()) if name not in named]
    if missing:
        faults.append(f"{len(missing)} originals that the journal speaks of are not named")
    if not faults and opened.rebuild_differs():
        return Checked(notes=("the tables differ from the journal, in the studio as in its copy; "
                              "make them anew: quirewell studio check DIR --rebuild",))  # fmt: skip
    return Checked(tuple(faults))
