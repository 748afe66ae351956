"""Links for owners: each opens the report and pictures of one item, until it ends or is taken back.

The address holds a random token once; the browser that opened it then holds the same in a cookie.
Kept is the token's hash only, in the private folder of this machine, so a link that was lost
cannot be shown again: make another.

A server and a command may both hold the links of a studio. The file is the truth between them: it
is read again whenever another wrote it, and changed under the folder's lock, so that what a command
made opens at once and what it took back opens nothing any more.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import secrets
import threading
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from quirewell.studio.clock import Clock, instant_text, now
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder, read_private, write_private
from quirewell.studio.locks import locked

FILE = "links.json"
DAYS, MOST_DAYS = 14, 90
MOST, NAME_SIGNS = 200, 60
WRITTEN_EVERY = timedelta(minutes=5)
# A link that ended is still listed so long, so that its last use can be read.
LISTED = timedelta(days=30)


class BadLink(ValueError):
    """A link that cannot be made; says why and what to do."""


@dataclass(frozen=True, slots=True)
class Link:
    """One link; instants are UTC. ``token`` is the hash of what the address holds; ``used`` is
    when it was last opened or read by, "" for never."""

    id: str
    token: str
    item: str
    name: str
    made: str
    ends: str
    used: str = ""

    @property
    def until(self) -> datetime:
        """When it ends, however much it is used."""
        return datetime.fromisoformat(self.ends)


class Links:
    """The links of a studio, over a restart too."""

    def __init__(self, studio: Path, clock: Clock = now) -> None:
        self._file = keys_folder(studio) / FILE
        self._clock = clock
        self._lock = threading.Lock()
        self._by_hash: dict[str, Link] = {}
        self._read: tuple[int, ...] = (-1,)
        self._look_again()
        self._written = clock()

    def make(self, item: str, days: str, name: str = "") -> tuple[str, Link]:
        """A new link to an item for ``days`` [d]: its token, shown this once, and the link.

        Raises:
            BadLink: the days cannot be used, or there are too many links.
        """
        asked = days.strip()
        count = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 4 else 0
        if not 1 <= count <= MOST_DAYS:
            raise BadLink(f"{asked[:20]!r} is no number of days from 1 to {MOST_DAYS}; type one.")
        at = self._clock()
        token = secrets.token_urlsafe(32)
        made = Link(
            secrets.token_hex(8), _hash(token), item,
            "".join(sign for sign in " ".join(name.split()) if sign.isprintable())[:NAME_SIGNS],
            instant_text(at), instant_text(at + timedelta(days=count)),
        )  # fmt: skip
        with self._changing():
            self._drop_old(at)
            if len(self._by_hash) >= MOST:
                raise BadLink(f"There are {MOST} links already; take some back first.")
            self._by_hash[made.token] = made
        return token, made

    def find(self, token: str) -> Link | None:
        """The link of a token, used now; nothing when there is none or it has ended."""
        at = self._clock()
        with self._lock:
            self._look_again()
            # Looked up by the token's hash: how long that takes tells nothing of the token.
            found = self._by_hash.get(_hash(token))
            if found is None or at >= found.until:
                return None
            used = replace(found, used=instant_text(at))
            self._by_hash[found.token] = used
            if not found.used or not timedelta() <= at - self._written < WRITTEN_EVERY:
                # A full disk is no reason to show an owner nothing.
                with contextlib.suppress(StudioError, OSError), locked(self._file.parent):
                    self._look_again()
                    self._write()
            return used

    def take_back(self, id: str) -> Link | None:
        """End the link called ``id`` at once; the link it was, nothing where there is none."""
        with self._changing():
            found = next((one for one in self._by_hash.values() if one.id == id), None)
            if found is not None:
                del self._by_hash[found.token]
        return found

    def all(self, item: str = "") -> tuple[Link, ...]:
        """Links (of one item, or all), the newest first; those that ended lately too."""
        with self._lock:
            self._look_again()
            self._drop_old(self._clock())
            held = [one for one in self._by_hash.values() if not item or one.item == item]
        return tuple(sorted(held, key=lambda one: (one.made, one.id), reverse=True))

    def stands(self, link: Link) -> bool:
        """Whether a listed link still opens anything."""
        return self._clock() < link.until

    def settle(self) -> None:
        """Write down when each was last used, as the server ends."""
        with self._changing():
            pass

    @contextlib.contextmanager
    def _changing(self) -> Iterator[None]:
        """Links as every process left them, alone with them; written when it went well."""
        with self._lock, locked(self._file.parent):
            self._look_again()
            yield
            self._write()

    def _look_again(self) -> None:
        """Take over what another process wrote; when a link was last used is kept where later."""
        now = _seen(self._file)
        if now == self._read:
            return
        held = self._by_hash
        self._by_hash = {one.token: _later(one, held.get(one.token)) for one in _load(self._file)}
        self._read = now

    def _drop_old(self, at: datetime) -> None:
        for one in [one for one in self._by_hash.values() if at >= one.until + LISTED]:
            del self._by_hash[one.token]

    def _write(self) -> None:
        rows = [asdict(one) for one in self._by_hash.values()]
        write_private(self._file, json.dumps(rows, indent=1, ensure_ascii=False).encode())
        self._read = _seen(self._file)
        self._written = self._clock()


def _seen(path: Path) -> tuple[int, ...]:
    """What tells whether a file was written again; empty where there is none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return ()
    return found.st_ino, found.st_mtime_ns, found.st_size


def _later(one: Link, other: Link | None) -> Link:
    return one if other is None or other.used <= one.used else replace(one, used=other.used)


def _load(path: Path) -> list[Link]:
    """Links as kept; a damaged file holds none, so that nobody is let in by it."""
    try:
        found = [Link(**row) for row in json.loads(read_private(path) or b"[]")]
        for one in found:
            if not all(isinstance(text, str) for text in asdict(one).values()):
                return []
            if one.until.tzinfo is None:
                return []
    except (ValueError, TypeError, AttributeError):
        return []
    return found


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
