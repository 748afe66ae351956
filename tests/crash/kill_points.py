"""Moments at which a child ends itself by SIGKILL: before, inside and after each durable call.

Only the test's own child process is changed, by putting these in place of ``os.fsync``,
``os.replace``, ``os.rename``, ``os.mkdir``, ``os.unlink``, the writing of files opened through
``Path.open``, and the statements and commits that SQLAlchemy hands to the database. The product
has no hook for any of this.
"""

from __future__ import annotations

import io
import os
import pathlib
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy.engine.default import DefaultDialect

CALLS = ("fsync", "replace", "rename", "mkdir", "unlink")
INSIDE_S = (0.0, 0.0002, 0.0006, 0.0015, 0.004)


def die() -> None:
    """End this process at once, as a power cut of the program would."""
    os.kill(os.getpid(), signal.SIGKILL)


class Moments:
    """Counts the moments of each kind; at the one that is named ``end`` is called, which ends
    the process, or raises what a bad disk would."""

    def __init__(self, name: str = "", number: int = 0, end: Callable[[], None] = die) -> None:
        self.counts: Counter[str] = Counter()
        self._name, self._number, self.end = name, number, end

    def here(self, name: str) -> bool:
        """Count one moment; whether it is the one to die at."""
        self.counts[name] += 1
        return name == self._name and self.counts[name] == self._number

    def passing(self, name: str) -> None:
        """Count one moment, and die at it if it is the one."""
        if self.here(name):
            self.end()

    def install(self) -> None:
        """Put the moments into this process, for good."""
        self.files()
        self._database()

    @contextmanager
    def on_files(self) -> Iterator[Moments]:
        """Put the moments of files into this process for a while."""
        kept = {name: getattr(os, name) for name in CALLS}
        opened = pathlib.Path.open
        try:
            self.files()
            yield self
        finally:
            for name, real in kept.items():
                setattr(os, name, real)
            pathlib.Path.open = opened  # type: ignore[method-assign]

    def files(self) -> None:
        """Put the moments of files into this process."""
        for name in CALLS:
            setattr(os, name, self._around(name, getattr(os, name)))
        self._opening()

    def _around(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            self.passing(f"before {name}")
            answer = real(*arguments, **named)
            self.passing(f"after {name}")
            return answer

        return call

    def _database(self) -> None:
        commit, execute = DefaultDialect.do_commit, DefaultDialect.do_execute

        def do_commit(dialect: Any, connection: Any) -> None:
            self.passing("before commit")
            if self.here("inside commit"):
                wait = INSIDE_S[self.counts["inside commit"] % len(INSIDE_S)]
                threading.Thread(target=lambda: (time.sleep(wait), die()), daemon=True).start()
            commit(dialect, connection)
            self.passing("after commit")

        def do_execute(dialect: Any, *arguments: Any, **named: Any) -> Any:
            self.passing("statement")
            return execute(dialect, *arguments, **named)

        DefaultDialect.do_commit = do_commit  # type: ignore[method-assign]
        DefaultDialect.do_execute = do_execute  # type: ignore[method-assign]

    def _opening(self) -> None:
        real = pathlib.Path.open

        def opened(path: pathlib.Path, mode: str = "r", *more: Any, **named: Any) -> Any:
            file = real(path, mode, *more, **named)
            return Half(file, self) if set(mode) & set("wxa") and "b" in mode else file

        pathlib.Path.open = opened  # type: ignore[method-assign,assignment]


class Half(io.BufferedIOBase):
    """A file that may die with half of what was to be written."""

    def __init__(self, file: Any, moments: Moments) -> None:
        self._file, self._moments = file, moments

    def write(self, data: Any) -> int:
        if self._moments.here("half a write"):
            self._file.write(bytes(data)[: len(data) // 2])
            self._file.flush()
            self._moments.end()
        return int(self._file.write(data))

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> Half:
        return self

    def __exit__(self, *error: object) -> None:
        self._file.close()

    @property
    def closed(self) -> bool:
        return bool(self._file.closed)

    def flush(self) -> None:
        if not self._file.closed:
            self._file.flush()

    def fileno(self) -> int:
        return int(self._file.fileno())

    def seek(self, place: int, whence: int = 0) -> int:
        return int(self._file.seek(place, whence))

    def tell(self) -> int:
        return int(self._file.tell())

    def truncate(self, size: int | None = None) -> int:
        return int(self._file.truncate(size))

    def read(self, size: int | None = -1) -> bytes:
        return bytes(self._file.read(size))

    def seekable(self) -> bool:
        return bool(self._file.seekable())

    def writable(self) -> bool:
        return True
