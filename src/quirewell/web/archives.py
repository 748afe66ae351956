"""Archives that wait to be fetched: made one at a time, kept a few, each in a folder of its own.

They lie with what can be made again, so that no backup takes them and nothing is lost when they
go. A folder holds the zip file, what was made (``made.json``) and what the last check said.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.exchange.archive_plan import plan_archive
from quirewell.exchange.look_over import check_archive
from quirewell.exchange.make import WAITING, Wish, make
from quirewell.studio.clock import instant_text, now
from quirewell.studio.disks import free_bytes, size_words
from quirewell.studio.durable import write_whole
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from quirewell.web.desk import Says

MOST_KEPT, MOST_TROUBLES = 3, 12
MADE, CHECKED = "made.json", "checked.json"
# The work in hand is noted under this name; no item's id holds a slash.
DESK = "/archives"
WELL = "All is as it was written: every file hashed again, the journal's chain holds, parts agree."
_NAME = re.compile(r"[0-9a-f]{12}")


@dataclass(frozen=True, slots=True)
class Check:
    """What a check said, and when; ``more`` troubles are not said one by one."""

    at: str
    ok: bool
    says: tuple[str, ...]
    more: int


@dataclass(frozen=True, slots=True)
class Archive:
    """One archive that waits: ``item`` is empty for the whole studio."""

    name: str
    file: str
    item: str
    made: str
    head: str
    entries: int
    originals: int
    withheld: int
    with_private: bool
    size: str
    notes: tuple[str, ...]
    checked: Check | None


def home(studio: Studio) -> Path:
    """Where they wait."""
    return studio.derived / WAITING


def waiting(studio: Studio, item: str | None = None) -> tuple[Archive, ...]:
    """Archives that can be fetched, the newest first; of one item, of the studio (""), or all."""
    found = [one for folder in _folders(studio) if (one := _read(folder)) is not None]
    wanted = (one for one in found if item is None or one.item == item)
    return tuple(sorted(wanted, key=lambda one: (one.made, one.name), reverse=True))


def path_of(studio: Studio, name: str) -> Path | None:
    """The zip file of an archive; nothing where there is none of this name."""
    if not _NAME.fullmatch(name):
        return None
    found = _read(home(studio) / name)
    return home(studio) / name / found.file if found is not None else None


def no_room(studio: Studio, least: int) -> str:
    """Why an archive cannot be begun on this disk; "" when there is room for ``least`` bytes."""
    free = free_bytes(studio.derived)
    if free > least:
        return ""
    return (
        f"An archive takes {size_words(least)} at the least, and the studio's disk has "
        f"{size_words(free)} free. Make room, or write it to another disk by the command below."
    )


def make_one(studio: Studio, wish: Wish, says: Says) -> str:
    """Make an archive; its name. Older ones beyond the few that are kept go.

    Raises:
        StudioError: no room, an original is missing or altered, or no such item.
    """
    _clear(studio)
    plan = plan_archive(studio, wish.item, wish.with_private)
    if told := no_room(studio, plan.room_bytes):
        raise StudioError(told.rstrip("."))
    name, at = secrets.token_hex(6), now()
    folder = home(studio) / name
    folder.mkdir(parents=True)
    called = f"{wish.item or _plain(studio.folder.name)}-{at:%Y-%m-%d}-{plan.head[:8]}.zip"
    try:
        made = make(
            studio.folder, folder / called, wish, True,
            lambda words, done, total: says(f"{words} {done} of {total}"),
        )  # fmt: skip
        told_of = {
            **made.as_json(), "path": called, "made_at": instant_text(at), "item": wish.item,
            "with_private": wish.with_private or not wish.item,
        }  # fmt: skip
        write_whole(folder / MADE, json.dumps(told_of, indent=1, ensure_ascii=False).encode())
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    for old in waiting(studio)[MOST_KEPT:]:
        shutil.rmtree(home(studio) / old.name, ignore_errors=True)
    return name


def check_one(studio: Studio, name: str, says: Says) -> Check:
    """Look an archive over, and keep what was found beside it.

    Raises:
        StudioError: it is not kept any more, or cannot be read at all.
    """
    path = path_of(studio, name)
    if path is None:
        raise StudioError("that archive is not kept here any more; make it again")
    looked = check_archive(path, lambda words, done, total: says(f"{words} {done} of {total}"))
    lines = [f"{one.says}." for one in looked.troubles[:MOST_TROUBLES]]
    more = max(0, len(looked.troubles) - MOST_TROUBLES)
    found = Check(instant_text(now()), looked.ok, tuple(lines) or (WELL,), more)
    body = {"at": found.at, "ok": found.ok, "says": list(found.says), "more": found.more}
    write_whole(path.with_name(CHECKED), json.dumps(body, ensure_ascii=False).encode())
    return found


def throw_away(studio: Studio, name: str) -> None:
    """Take an archive away; nothing where it is gone already."""
    if _NAME.fullmatch(name):
        shutil.rmtree(home(studio) / name, ignore_errors=True)


def _folders(studio: Studio) -> list[Path]:
    place = home(studio)
    return [one for one in place.iterdir() if _NAME.fullmatch(one.name)] if place.is_dir() else []


def _clear(studio: Studio) -> None:
    """Folders of a making that was cut short; one is made at a time, so none is under way now."""
    for folder in _folders(studio):
        if _read(folder) is None:
            shutil.rmtree(folder, ignore_errors=True)


def _read(folder: Path) -> Archive | None:
    """An archive as it was noted; nothing where it is not whole."""
    said = _json(folder / MADE)
    try:
        place = folder / Path(str(said["path"])).name
        return Archive(
            folder.name, place.name, str(said["item"]), str(said["made_at"]), str(said["head"]),
            int(said["entries"]), int(said["originals"]), int(said["withheld"]),
            bool(said["with_private"]), size_words(place.stat().st_size),
            tuple(map(str, said["notes"])), _checked(folder),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError, OSError):
        return None


def _checked(folder: Path) -> Check | None:
    said = _json(folder / CHECKED)
    try:
        says = tuple(map(str, said["says"]))
        return Check(str(said["at"]), bool(said["ok"]), says, int(said["more"]))
    except (KeyError, TypeError, ValueError):
        return None


def _json(path: Path) -> dict[str, Any]:
    try:
        said = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def _plain(name: str) -> str:
    """A folder's name in plain letters, for the name of a file."""
    return re.sub(r"[^A-Za-z0-9-]+", "-", name).strip("-")[:60] or "studio"
