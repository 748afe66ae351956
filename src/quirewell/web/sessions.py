"""Tablets that are signed in: a random token each, kept as its hash, over a restart too.

Each is the bench's or a guest's, for good: no request changes that, and whoever would be more
signs in anew with the other passphrase. A session ends a fortnight after it was last used, and
ninety days after it began whatever is done; also when it is put out, signed out, or the
passphrase is set anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import secrets
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from quirewell.record.plain_data import json_data
from quirewell.studio.clock import Clock, instant_text, now
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder, read_private, write_private

FILE = "sessions.json"
IDLE, LONGEST = timedelta(days=14), timedelta(days=90)
WRITTEN_EVERY = timedelta(minutes=5)
MOST = 50
NAME_SIGNS = 40
BENCH, GUEST = "bench", "guest"
CALLED = {BENCH: "Tablet", GUEST: "Guest"}


@dataclass(frozen=True, slots=True)
class Session:
    """One tablet that is signed in; instants are UTC. ``token`` is the hash of what it holds."""

    id: str
    token: str
    under: str
    name: str
    began: str
    seen: str
    address: str = ""
    role: str = BENCH

    @property
    def until(self) -> datetime:
        """When it ends unless it is used before, and at the latest."""
        idle, last = _read(self.seen) + IDLE, _read(self.began) + LONGEST
        return min(idle, last)

    @property
    def last_until(self) -> datetime:
        """When it ends however much it is used."""
        return _read(self.began) + LONGEST


class Sessions:
    """The sessions of a studio. ``under`` gives what a role's passphrase is called now."""

    def __init__(self, studio: Path, under: Callable[[str], str], clock: Clock = now) -> None:
        self._file = keys_folder(studio) / FILE
        self._under = under
        self._clock = clock
        self._lock = threading.Lock()
        self._by_hash = {one.token: one for one in _load(self._file)}
        self._written = clock()

    def begin(
        self, name: str, address: str, old: str = "", role: str = BENCH
    ) -> tuple[str, Session]:
        """Sign a tablet in: its new token, and the session. ``old`` is a token it held before."""
        token, at = secrets.token_urlsafe(32), instant_text(self._clock())
        with self._lock:
            self._by_hash.pop(_hash(old), None)
            self._drop_ended()
            named = _clean(name) or self._free_name(CALLED[role])
            made = Session(
                secrets.token_hex(8), _hash(token), self._under(role), named, at, at, address, role
            )
            # Counted by role: however many guests sign in, none of them puts the bench out.
            alike = [one for one in self._by_hash.values() if one.role == role]
            if len(alike) >= MOST:
                del self._by_hash[min(alike, key=lambda one: one.seen).token]
            self._by_hash[made.token] = made
            self._write()
        return token, made

    def find(self, token: str, address: str = "") -> Session | None:
        """The session of a token, seen now; nothing when there is none or it is over."""
        at = self._clock()
        with self._lock:
            # Looked up by the token's hash: how long that takes tells nothing of the token.
            found = self._by_hash.get(_hash(token))
            if found is None:
                return None
            if not self._stands(found, at):
                del self._by_hash[found.token]
                return None
            seen = replace(found, seen=instant_text(at), address=address or found.address)
            self._by_hash[found.token] = seen
            if not timedelta() <= at - self._written < WRITTEN_EVERY:
                # A full disk is no reason to throw a tablet out.
                with contextlib.suppress(StudioError, OSError):
                    self._write()
            return seen

    def end(self, token: str) -> None:
        """Sign out the tablet that holds ``token``."""
        with self._lock:
            if self._by_hash.pop(_hash(token), None) is not None:
                self._write()

    def put_out(self, id: str) -> None:
        """End the session called ``id``."""
        with self._lock:
            for one in [one for one in self._by_hash.values() if one.id == id]:
                del self._by_hash[one.token]
            self._write()

    def all(self) -> tuple[Session, ...]:
        """Who is signed in, the one seen last first."""
        with self._lock:
            self._drop_ended()
            return tuple(sorted(self._by_hash.values(), key=lambda one: one.seen, reverse=True))

    def settle(self) -> None:
        """Write down when each was last seen, as the server ends."""
        with self._lock:
            self._write()

    def _stands(self, one: Session, at: datetime) -> bool:
        under = self._under(one.role)
        return bool(under) and one.under == under and at < one.until

    def _drop_ended(self) -> None:
        at = self._clock()
        for one in [one for one in self._by_hash.values() if not self._stands(one, at)]:
            del self._by_hash[one.token]

    def _free_name(self, called: str) -> str:
        taken = {one.name for one in self._by_hash.values()}
        return next(name for name in (f"{called} {n}" for n in range(1, 999)) if name not in taken)

    def _write(self) -> None:
        rows = [asdict(one) for one in self._by_hash.values()]
        write_private(self._file, json.dumps(rows, indent=1, ensure_ascii=False).encode())
        self._written = self._clock()


def _load(path: Path) -> list[Session]:
    """Sessions as kept; a damaged file holds none, so that everybody signs in again."""
    try:
        rows = json_data(read_private(path) or b"[]")
        found = [Session(**row) for row in rows]
        for one in found:
            _read(one.began), _read(one.seen)
            if one.role not in CALLED:
                return []
    except (ValueError, TypeError, AttributeError):
        return []
    return found


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _read(text: str) -> datetime:
    moment = datetime.fromisoformat(text.replace("Z", "+00:00"))
    if moment.tzinfo is None:
        raise ValueError(f"an instant carries its zone, got {text!r}")
    return moment


def _clean(name: str) -> str:
    return " ".join("".join(s if s.isprintable() else " " for s in name).split())[:NAME_SIGNS]
