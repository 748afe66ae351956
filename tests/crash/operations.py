"""What a child does until it is killed, and the faults that can be planted in it.

Each operation tells what it has done only after the call that promised it came back: one line of
JSON into the pipe that the parent reads.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import quirewell.cli.main
import quirewell.report.condition
import quirewell.web.app
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.stages import once, today_keep
from quirewell.stages.taking_in import folder_sources, take_in
from quirewell.studio import database, journal
from quirewell.studio.backup import backup, restore
from quirewell.studio.blobs import Blobs
from quirewell.studio.check import check_open
from quirewell.studio.keys import keys_folder, write_private
from quirewell.studio.studio import Studio

LATER = "9001"
_READY = quirewell.report.condition, quirewell.web.app  # brought in once, before any child


def tell(what: str, **more: Any) -> None:
    """One line to the parent, whole or not at all."""
    os.write(1, (json.dumps({"what": what, **more}) + "\n").encode())


def intake(studio: str, item: str, folder: str) -> None:
    """Take a folder of pictures in."""

    def arrived(done: int, total: int, arrival: Any) -> None:
        if not arrival.ok:
            raise RuntimeError(arrival.says)
        tell("picture", sha256=arrival.sha256)

    with Studio.open(studio) as opened:
        take_in(opened, item, folder_sources(Path(folder)), progress=arrived)


def save(studio: str, item: str, name: str, count: int) -> None:
    """Readings, steps begun and ended, notes, one after the other, and something for the bench."""
    with Studio.open(studio) as opened:
        for number in range(count):
            at = opened.clock().isoformat()
            known = f"{int(name, 16) * 1000 + number:032x}"
            form = {"once": known, "at": at, **_entry(number, name)}
            if form["command"] == "done":
                begun = [s for s in opened.state(item).steps.values() if s.state == "started"]
                if not begun:
                    continue
                form["id"] = begun[-1].id
            command = today_keep.COMMANDS[form["command"]]
            kept = once.send(opened, item, form, command)
            tell("entry", command=form["command"], hashes=[event.hash for event in kept.events])


def _entry(number: int, name: str) -> dict[str, str]:
    value = 6 + (number * 7 + int(name, 16)) % 30 / 10
    return (
        {"command": "reading", "value": f"pH {value:.1f} at 21C", "place": "w03"},
        {"command": "start", "kind": "surface-clean", "places": "w02", "way": "",
         "override": "a trial sheet of no value"},
        {"command": "reading", "value": f"{180 + value:.1f} x 260", "place": "w04"},
        {"command": "done", "note": "brushed"},
        {"command": "note", "words": f"paper of w05 as before, {name}-{number}"},
    )[number % 5]  # fmt: skip


def serve(studio: str) -> None:
    """The pages of the studio, by the real command, until it is killed."""
    os.dup2(1, 2)
    _command("serve", "--studio", studio, "--port", "0", "--no-alarm")


def _command(*words: str) -> None:
    sys.argv = ["quirewell", *words]
    quirewell.cli.main.main(list(words), standalone_mode=False)


def keep_copy(studio: str, target: str) -> None:
    """A backup."""
    tell("backup", head=backup(studio, target).head)


def bring_back(archive: str, folder: str) -> None:
    """A backup restored."""
    tell("restored", head=restore(archive, folder).head)


def make_archive(studio: str, target: str, item: str, tiles: bool) -> None:
    """An archive, with tiles or without."""
    tell("archive", head=make(studio, target, Wish(item=item, tiles=tiles, workers=1)).head)


def read_in(archive: str, folder: str) -> None:
    """An archive read back."""
    tell("read", head=read_archive(archive, folder).head)


def private(studio: str, count: int, first: int) -> None:
    """A private file of the studio, written again and again."""
    place = keys_folder(Path(studio)) / "crash-test.json"
    for number in range(first, first + count):
        write_private(place, json.dumps({"number": number, "rest": "x" * 9000}).encode())
        tell("private", number=number)


def migrate(studio: str, versions: str) -> None:
    """Open a studio of older tables with a program whose newest revision takes long."""
    later_program(Path(versions))
    with Studio.open(studio) as opened:
        tell("migrated")
        troubles = [one.says for one in check_open(opened).troubles]
    if troubles:
        raise RuntimeError("; ".join(troubles))


def later_program(versions: Path) -> None:
    """Let this process be a later program, whose migrations lie in ``versions``."""
    from alembic import command
    from alembic.config import Config

    own = Path(database.__file__).parent / "migrations"

    def run(connection: Any) -> None:
        config = Config()
        config.set_main_option("script_location", str(own))
        config.set_main_option("path_separator", "os")
        config.set_main_option("version_locations", f"{own / 'versions'}{os.pathsep}{versions}")
        config.attributes["connection"] = connection
        command.upgrade(config, LATER)

    database._run_migrations = run
    database.HEAD_REVISION = LATER


OPERATIONS: dict[str, Callable[..., None]] = {
    "intake": intake, "save": save, "serve": serve, "backup": keep_copy, "restore": bring_back,
    "make": make_archive, "read": read_in, "private": private, "migrate": migrate,
}  # fmt: skip


# --- planted faults: each is a mistake that the script must find ------------------------------


def _acknowledged_before_the_commit() -> None:
    """Tell of every entry before the transaction that holds it is over."""
    real = journal.grow

    def grow(*arguments: Any) -> Any:
        event = real(*arguments)
        tell("entry", command="reading", hashes=[event.hash])
        return event

    journal.grow = grow


def _renamed_before_written() -> None:
    """Give an original its name while half of it is there, and write the rest afterwards."""
    real = Blobs.keep

    def keep(blobs: Blobs, copy: Any) -> str:
        place = blobs.folder / copy.sha256[:2] / copy.sha256
        if not place.exists():
            place.parent.mkdir(exist_ok=True)
            data = copy.path.read_bytes()
            with place.open("wb") as out:
                out.write(data[: len(data) // 2])
                out.flush()
                for _ in range(12):  # so wide that a kill falls into it before long
                    os.fsync(out.fileno())
                    time.sleep(0.01)
                out.write(data[len(data) // 2 :])
        return real(blobs, copy)

    Blobs.keep = keep  # type: ignore[method-assign]


def _broken_chain() -> None:
    """Chain entries to the one before the last."""
    real = journal.head_of

    def head_of(connection: Any) -> tuple[int, str]:
        seq, head = real(connection)
        return seq, "0" * 64 if seq % 7 == 0 else head

    journal.head_of = head_of


def _recorded_before_kept() -> None:
    """Speak of a picture in the journal and never keep its bytes."""
    Blobs.keep = lambda blobs, copy: copy.sha256  # type: ignore[method-assign]


def _backup_under_its_name() -> None:
    """Write a backup under its own name from the beginning."""
    from quirewell.studio import backup as module

    real = module._write

    def write(studio: Any, part: Path, zipped: bool, progress: Any) -> Any:
        place = part.with_name(part.name.split(".")[1] + ".zip")
        place.write_bytes(b"PK half a backup")
        os.fsync(os.open(place, os.O_RDONLY))
        return real(studio, part, zipped, progress)

    module._write = write


PLANTED: dict[str, Callable[[], None]] = {
    "acknowledged before the commit": _acknowledged_before_the_commit,
    "renamed before written": _renamed_before_written,
    "broken chain": _broken_chain,
    "recorded before kept": _recorded_before_kept,
    "backup under its name": _backup_under_its_name,
}
