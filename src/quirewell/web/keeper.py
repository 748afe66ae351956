"""Backups by themselves while the studio is open: a thread that looks, a process that works.

The thread asks once a minute whether a backup is due and starts `quirewell.studio.keep_run`: no
page waits for it, and no save. It ends with the server; a backup that is cut short counts for
nothing, and the next one clears it away.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

from quirewell.studio import log
from quirewell.studio.clock import Clock, now
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_setup import the_place
from quirewell.studio.keep_words import QUIET, is_due
from quirewell.studio.studio import Studio

LOOK_EVERY_S = 60.0
END_S = 20.0


@dataclass(slots=True)
class Keeper:
    """Looks after the backups of one studio."""

    clock: Clock = now
    look_every_s: float = LOOK_EVERY_S
    _head: str = ""
    _moved_s: float = 0.0
    _process: subprocess.Popen[str] | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self, studio: Studio) -> None:
        """Begin to look after it."""
        self._thread = threading.Thread(
            target=self._watch, args=(studio,), name="backups", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Look no longer; a backup under way is ended (what is whole stays)."""
        self._stop.set()
        with self._lock:
            process = self._process
        if process is not None and process.poll() is None:
            process.terminate()
            try:
                process.wait(timeout=END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        if self._thread is not None:
            self._thread.join(timeout=END_S)

    @property
    def busy(self) -> bool:
        """Whether a backup is being made by this server."""
        with self._lock:
            return self._process is not None and self._process.poll() is None

    def begin(self, folder: Path) -> bool:
        """Begin a backup now and come back at once; False when one is under way already."""
        with self._lock:
            if self._process is not None and self._process.poll() is None:
                return False
            self._process = subprocess.Popen(
                [sys.executable, "-m", "quirewell.studio.keep_run", str(folder)],
                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                text=True,
            )  # fmt: skip
            process = self._process
        log.told("backup.begun")
        threading.Thread(target=_hear, args=(process,), name="backup", daemon=True).start()
        return True

    def _watch(self, studio: Studio) -> None:
        while not self._stop.wait(self.look_every_s):
            try:
                self.look(studio)
            except StudioError:
                continue  # the pages say it to whoever works; here it is tried again
            except Exception:
                logging.getLogger(__name__).exception("the backups could not be looked after")

    def look(self, studio: Studio) -> bool:
        """Begin a backup if one is due; whether one was begun."""
        head = studio.head()
        if not self._head:
            # Just opened: what there is was saved another time, so nobody is disturbed.
            self._head, self._moved_s = head, time.monotonic() - QUIET.total_seconds()
        elif head != self._head:
            self._head, self._moved_s = head, time.monotonic()
        quiet = timedelta(seconds=time.monotonic() - self._moved_s)
        try:
            the_place(studio.folder)
            there = True
        except StudioError:
            there = False
        if not is_due(studio.folder, self.clock(), head, quiet, there):
            return False
        return self.begin(studio.folder)


def _hear(process: subprocess.Popen[str]) -> None:
    """Wait for a backup and note in the log what became of it: figures only."""
    began = time.monotonic()
    out, _ = process.communicate()
    took = round((time.monotonic() - began) * 1000)
    try:
        said: dict[str, Any] = json.loads(out)
    except ValueError:
        log.told("backup.failed", logging.ERROR, code=int(process.returncode or 0), ms=took)
        return
    if said.get("ok"):
        log.told(
            "backup.ended", ms=took, made=bool(said["made"]),
            new_bytes=int(said["good"]["new_bytes"]), files=int(said["backups"]),
        )  # fmt: skip
    else:
        log.told("backup.failed", logging.WARNING, missing=bool(said.get("missing")), ms=took)
