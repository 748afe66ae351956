"""A survey of a folder: every file measured once, whatever stops it in between.

The parent lists, hashes and keeps rows; workers measure. Only a few calls are under way at any
time, and no picture and no answered call stays in memory.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pyarrow as pa

from quirewell.jobs.engine import Engine
from quirewell.jobs.worker import Answer
from quirewell.record.canonical import canonical
from quirewell.stages.collection_files import Entry, entries
from quirewell.stages.collection_rows import SCHEMA, Known, RowStore, whole_file
from quirewell.stages.collection_scan import (
    LEFT_OUT,
    ROW_VERSION,
    TASK,
    Row,
    method_words,
    read_asked,
)
from quirewell.stages.filenames import parse
from quirewell.studio.blobs import hash_file

IN_FLIGHT_PER_WORKER = 4
_TOLD_EVERY_S = 0.5
_WHERE = "survey.json"


class NotSurveyed(ValueError):
    """A survey that cannot begin or go on; the message is a sentence."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a survey stands: files settled and in all, of them without a measurement, those
    taken over from an earlier run, and roughly the seconds left."""

    done: int
    total: int
    failed: int
    kept: int
    left_s: float | None
    last: str = ""


@dataclass(slots=True)
class _Count:
    total: int
    done: int = 0
    failed: int = 0
    kept: int = 0
    began: float = field(default_factory=time.monotonic)
    told: float = 0.0

    def standing(self, last: str) -> Standing:
        now = self.done - self.kept
        left = None
        if now:
            left = (time.monotonic() - self.began) / now * (self.total - self.done)
        return Standing(self.done, self.total, self.failed, self.kept, left, last)


OnStanding = Callable[[Standing], None]


class Survey:
    """One survey: ``folder`` looked through, rows and results in ``out``.

    Raises
    ------
    NotSurveyed
        in a sentence, where folder or ``out`` cannot be used
    BadParameter
        for parameters that ``leaf.measure`` does not take
    """

    def __init__(
        self, folder: Path, out: Path, params: Mapping[str, str] | None = None, *,
        again: bool = False, on_standing: OnStanding | None = None,
    ) -> None:  # fmt: skip
        self.folder, self.out, self.params = folder, out, dict(params or {})
        read_asked(self.params)
        self.again = again
        method, version = method_words()
        self.stamp: Row = {
            "method": method, "method_version": version, "row_version": ROW_VERSION,
            "left_out": LEFT_OUT, "params": canonical(self.params),
        }  # fmt: skip
        self._on_standing = on_standing
        self._check_folders()

    def run(self, engine: Engine) -> pa.Table:
        """Measure what is not measured yet, and give the whole table, a row a file.

        Raises
        ------
        NotSurveyed
            when no row can be kept (no room on the disk)
        EngineLost
            when the workers are gone; what was measured is kept
        """
        with self._alone(), _room_said(self.out):
            store = RowStore(self.out / "parts")
            try:
                return self._all(store, engine)
            finally:
                store.seal()

    def pictures(self, names: Sequence[str]) -> dict[str, str]:
        """Small pictures of these files, as base64 text, as far as there are any."""
        with self._alone(), _room_said(self.out):
            return RowStore(self.out / "parts").pictures(names)

    def _all(self, store: RowStore, engine: Engine) -> pa.Table:
        listed = list(entries(self.folder, self.out))
        known = store.known(self.stamp)
        if self.again:
            known = {n: replace(k, done=k.done and not k.error) for n, k in known.items()}
        count = _Count(len(listed))
        measured = {(entry.sha256, entry.panel) for entry in known.values() if entry.done}
        twice: dict[tuple[str, str], list[Entry]] = {}
        running: dict[str, tuple[Entry, str]] = {}
        for number, entry in enumerate(listed):
            before = known.get(entry.name)
            if _settled(entry, before):
                count.done, count.kept = count.done + 1, count.kept + 1
                count.failed += bool(before and before.error)
                continue
            sha256 = self._hash(entry, store, count)
            if not sha256:
                continue
            panel = panel_of(entry.name)
            if (sha256, panel) in measured:
                twice.setdefault((sha256, panel), []).append(entry)
                continue
            measured.add((sha256, panel))
            running[str(number)] = entry, sha256
            params = self.params | ({"panel": panel} if panel else {})
            engine.submit(str(number), TASK, (entry.path, sha256, params))
            while len(running) >= IN_FLIGHT_PER_WORKER * engine.workers:
                self._take(engine, running, store, count)
        while running:
            self._take(engine, running, store, count)
        store.seal()
        self._name_twice(store, twice, count)
        store.seal()
        self._tell(count, "", always=True)
        return store.whole([entry.name for entry in listed])

    def _hash(self, entry: Entry, store: RowStore, count: _Count) -> str:
        """The file's hash; "" where there is none, which is kept in words."""
        error = entry.error
        if not error:
            try:
                return hash_file(Path(entry.path))
            except OSError as fault:
                error = f"this cannot be read: {(fault.strerror or str(fault)).lower()}"
        store.add(self._row(entry, "", error=error, try_again=True))
        self._settle(count, entry, failed=True)
        return ""

    def _take(
        self, engine: Engine, running: dict[str, tuple[Entry, str]], store: RowStore, count: _Count
    ) -> None:
        answered = engine.take(_TOLD_EVERY_S)
        if answered is None:
            self._tell(count, "")
            return
        key, answer = answered
        entry, sha256 = running.pop(key)
        store.add(self._answered(entry, sha256, answer))
        self._settle(count, entry, failed=not answer.ok)

    def _answered(self, entry: Entry, sha256: str, answer: Answer) -> Row:
        if answer.ok:
            found: Row = answer.result
            warnings = [_plain(text) for text in found["warnings"]]
            texts = {k: _plain(v) for k, v in found.items() if isinstance(v, str)}
            return self._row(entry, sha256) | found | texts | {
                "warnings": warnings, "warnings_count": len(warnings)
            }  # fmt: skip
        error, unlike = answer.error, not _is_as_listed(entry)
        if unlike:
            error = "the file went away or changed while it was being measured"
        return self._row(entry, sha256, error=error, try_again=unlike or not answer.expected)

    def _row(self, entry: Entry, sha256: str, *, error: str = "", try_again: bool = False) -> Row:
        row: Row = dict.fromkeys(SCHEMA.names)
        return row | self.stamp | {
            "file": entry.name, "sha256": sha256, "bytes": entry.bytes, "same_as": "",
            "mtime_ns": entry.mtime_ns, "error": _plain(error), "try_again": try_again,
            "panel": panel_of(entry.name),
            "warnings": [], "warnings_count": 0,
        }  # fmt: skip

    def _name_twice(
        self, store: RowStore, twice: dict[tuple[str, str], list[Entry]], count: _Count
    ) -> None:
        """Files with bytes that are measured under another name: the same row, their name."""
        for row in store.rows_of(set(twice), self.stamp):
            for entry in twice.pop((row["sha256"], row["panel"] or "")):
                own = {"file": entry.name, "bytes": entry.bytes, "mtime_ns": entry.mtime_ns}
                store.add(row | own)
                self._settle(count, entry, failed=bool(row["error"]))
        for (sha256, _), left in twice.items():
            for entry in left:
                error = "another file with the same bytes could not be measured"
                store.add(self._row(entry, sha256, error=error, try_again=True))
                self._settle(count, entry, failed=True)

    def _settle(self, count: _Count, entry: Entry, *, failed: bool) -> None:
        count.done += 1
        count.failed += failed
        self._tell(count, entry.name)

    def _tell(self, count: _Count, last: str, *, always: bool = False) -> None:
        now = time.monotonic()
        if self._on_standing and (always or now - count.told >= _TOLD_EVERY_S):
            count.told = now
            self._on_standing(count.standing(last))

    # --- folders ------------------------------------------------------------------------

    def _check_folders(self) -> None:
        try:
            next(entries(self.folder), None)
        except OSError as error:
            raise NotSurveyed(
                f"the folder {self.folder} cannot be looked into: "
                f"{(error.strerror or str(error)).lower()}"
            ) from None
        here, out = self.folder.resolve(), self.out.resolve()
        if here == out or here.is_relative_to(out):
            raise NotSurveyed(
                f"the results cannot go to {self.out}, which is the surveyed folder or holds it; "
                "give another --out"
            )
        try:
            self.out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise NotSurveyed(
                f"{self.out} cannot be made: {(error.strerror or str(error)).lower()}"
            ) from None

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        """Hold the folder of results for this run, and see that it is of the same folder."""
        try:
            lock = (self.out / ".lock").open("a")
        except OSError as error:
            raise NotSurveyed(
                f"nothing can be written to {self.out}: {(error.strerror or str(error)).lower()}"
            ) from None
        with lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise NotSurveyed(
                    f"another survey is writing to {self.out}; wait for it, or give another --out"
                ) from None
            self._check_same()
            yield

    def _check_same(self) -> None:
        path, here = self.out / _WHERE, _plain(str(self.folder.resolve()))
        said = {}
        with contextlib.suppress(OSError, ValueError):
            said = json.loads(path.read_text(encoding="utf-8"))
        before = said.get("folder") if isinstance(said, dict) else None
        if before is not None and before != here:
            raise NotSurveyed(
                f"{self.out} holds the survey of {before}; give another --out. If that folder was "
                f"only moved here, remove {path} first: what is measured stays measured"
            )
        if before is None:
            with whole_file(path) as stream:
                stream.write(json.dumps({"folder": here}).encode())


@contextlib.contextmanager
def _room_said(out: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            says = f"there is no room left on the disk of {out}; make room"
        else:
            says = f"nothing more can be kept in {out} ({(error.strerror or str(error)).lower()})"
        raise NotSurveyed(
            f"{says}. Then give the same command again: what is measured is kept"
        ) from error


def _settled(entry: Entry, before: Known | None) -> bool:
    """Whether a file's row from an earlier run still says all there is to say."""
    if before is None:
        return False
    if entry.error:
        return before.error == _plain(entry.error)
    now = entry.bytes, entry.mtime_ns, panel_of(entry.name)
    return before.done and (before.bytes, before.mtime_ns, before.panel) == now


def panel_of(name: str) -> str:
    """Which half of an opened wrap a scan shows, where its name says so; else nothing.

    >>> panel_of("annual/w03-outer-left-before.tif"), panel_of("scan0001.tif")
    ('left', '')
    """
    named = parse(name.rsplit("/", 1)[-1])
    return "" if named is None or named.panel == "whole" else str(named.panel)


def _is_as_listed(entry: Entry) -> bool:
    try:
        status = Path(entry.path).stat()
    except OSError:
        return False
    return (status.st_size, status.st_mtime_ns) == (entry.bytes, entry.mtime_ns)


def _plain(text: str) -> str:
    """Text that any table can hold: bytes of odd names written out."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
