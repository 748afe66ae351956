"""Looks at the program and what it runs on, its clock's source, the log, and what tablets need."""

from __future__ import annotations

import ctypes
import json
import platform
import re
import sqlite3
from collections.abc import Iterator
from datetime import datetime, timedelta
from importlib import metadata
from pathlib import Path

from quirewell import __version__
from quirewell.studio import log
from quirewell.studio.database import reading, revision_of
from quirewell.studio.file_systems import file_system_of
from quirewell.studio.health_row import Row, fine, look, wrong
from quirewell.studio.keys import KEYS
from quirewell.studio.own_settings import LOG
from quirewell.studio.studio import Studio

WEEK = timedelta(days=7)
# As the tablets' door names them; read here, written there.
SERVER, AUTHORITY, SESSIONS = "server.pem", "authority.pem", "sessions.json"
SOON_DAYS = 30
_UNSYNC, _STATUS_AT = 0x0040, 40
_LOCKED = re.compile(r"^([a-z0-9][a-z0-9_.-]*)==(\S+)", re.MULTILINE)


def of_program() -> Iterator[Row]:
    """Versions, and libraries that are others than those this edition was tried with."""
    yield fine(
        "program", "Program",
        f"quirewell {__version__}, Python {platform.python_version()}, SQLite "
        f"{sqlite3.sqlite_version}, {platform.system()}",
    )  # fmt: skip
    locked = locked_versions()
    if not locked:
        yield fine("libraries", "Libraries", "Their list is not with this copy of the program")
        return
    differs = list(libraries_differ(locked))
    if differs:
        yield look(
            "libraries", "Libraries",
            f"{len(differs)} are others than this edition was tried with: {', '.join(differs[:4])}",
            "Results were checked with those of the list only. Install them anew: make setup",
        )  # fmt: skip
    else:
        yield fine("libraries", "Libraries", f"All {len(locked)} are those it was tried with")


def tell_start(studio: Studio, lan: bool = False) -> None:
    """Write into the log what the program and the machine are, once at its start."""
    with reading(studio.engine) as connection:
        revision = revision_of(connection) or ""
    log.told(
        "started", version=__version__, python=platform.python_version(),
        sqlite=sqlite3.sqlite_version, system=f"{platform.system()} {platform.machine()}",
        revision=revision, database=studio.engine.dialect.name,
        file_system=file_system_of(studio.folder), lan=lan,
        differs=tuple(libraries_differ(locked_versions()))[:20],
    )  # fmt: skip


def lock_file() -> Path:
    """The list of libraries: inside the installed package, or at the root of the tree."""
    here = Path(__file__).resolve()
    packed = here.parents[1] / "libraries.txt"
    return packed if packed.is_file() else here.parents[3] / "requirements" / "runtime.txt"


def locked_versions() -> dict[str, str]:
    """Version of each library that this edition was tried with; empty where the list is missing."""
    try:
        return dict(_LOCKED.findall(lock_file().read_text(encoding="utf-8")))
    except OSError:
        return {}


def libraries_differ(locked: dict[str, str]) -> Iterator[str]:
    """Libraries whose version is another, or which are missing."""
    for name, version in locked.items():
        try:
            found = metadata.version(name)
        except metadata.PackageNotFoundError:
            yield f"{name} is missing (not {version})"
            continue
        if found != version:
            yield f"{name} {found} (not {version})"


def of_clock() -> Iterator[Row]:
    """Whether the system holds its clock to the network's time, where it says so."""
    held = clock_is_held()
    if held is None:
        yield fine("clock-source", "Clock's source", "The system does not say whether it is held")
    elif held:
        yield fine("clock-source", "Clock's source", "Held to the network's time")
    else:
        yield look(
            "clock-source", "Clock's source", "The system does not hold its clock to any other",
            "Compare it with a radio clock now and then, or switch the network's time on",
        )  # fmt: skip


def clock_is_held() -> bool | None:
    """Whether the kernel counts its clock as synchronised (adjtimex(2), status bit STA_UNSYNC; its
    place in the structure from memory); None where it cannot be asked."""
    if platform.system() != "Linux" or ctypes.sizeof(ctypes.c_long) != 8:
        return None
    try:
        system = ctypes.CDLL(None, use_errno=True)
        given = ctypes.create_string_buffer(512)
        if system.adjtimex(given) < 0:
            return None
    except (OSError, AttributeError):
        return None
    status = int.from_bytes(given.raw[_STATUS_AT : _STATUS_AT + 4], "little")
    return not status & _UNSYNC


def of_log(folder: Path, at: datetime) -> Iterator[Row]:
    """Faults noted in the log in the last week."""
    if not (folder / LOG).is_dir():
        yield fine("log", "Log", "Nothing was logged yet")
        return
    faults = [one for one in log.lines_since(folder, at - WEEK) if one.get("level") == "error"]
    if faults:
        numbers = [str(one.get("fault") or one.get("event", "")) for one in faults]
        yield look(
            "log", "Log", f"{len(faults)} faults in the last week, the newest {numbers[-1]}",
            f"Each stands in {LOG}/ of the studio's folder under its number; it holds nothing "
            "private, so it can be sent with a report of the fault",
        )  # fmt: skip
    else:
        yield fine("log", "Log", "No fault in the last week")


def of_tablets(folder: Path, at: datetime) -> Iterator[Row]:
    """The end of the certificates, and how many are signed in."""
    keys = folder / KEYS
    ends = {name: _end_of(keys / name) for name in (SERVER, AUTHORITY)}
    if ends[SERVER] is None and ends[AUTHORITY] is None:
        yield fine("certificate", "Certificate for tablets", "None: no tablet was ever let in")
        return
    for name, what in ((AUTHORITY, "tablets trust"), (SERVER, "the server shows")):
        end = ends[name]
        if end is None:
            continue
        days = (end - at) / timedelta(days=1)
        says = f"The one that {what} runs until {end:%Y-%m-%d}"
        code = f"certificate-{name.partition('.')[0]}"
        if days < 0:
            yield wrong(code, "Certificate for tablets", f"{says}: it has ended", _renewed(name))
        elif days < SOON_DAYS:
            yield look(code, "Certificate for tablets", says, _renewed(name))
        else:
            yield fine(code, "Certificate for tablets", says)
    yield _signed_in(keys / SESSIONS)


def _renewed(name: str) -> str:
    if name == SERVER:
        return "It is renewed by itself when the studio is started anew with --lan"
    return "Start the studio anew with --lan; every tablet is then to trust the new one"


def _end_of(path: Path) -> datetime | None:
    from cryptography import x509

    try:
        return x509.load_pem_x509_certificate(path.read_bytes()).not_valid_after_utc
    except (OSError, ValueError):
        return None


def _signed_in(path: Path) -> Row:
    try:
        count = len(json.loads(path.read_bytes()))
    except FileNotFoundError:
        count = 0
    except (OSError, ValueError, TypeError):
        return look("sessions", "Tablets signed in", "Their list cannot be read",
                    "Every tablet signs in again; nothing else is lost")  # fmt: skip
    return fine("sessions", "Tablets signed in", f"{count} are remembered",
                "To put one out: the page Tablets at the bench" if count else "")  # fmt: skip
