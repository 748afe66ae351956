"""The parent's side of the nursery: start a child, read what it tells, kill it."""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

PATIENCE_S = 180.0
Told = Callable[[dict[str, Any]], None]


def kill(number: int) -> None:
    """End a process at once; nothing where it has ended already."""
    with contextlib.suppress(ProcessLookupError):
        os.kill(number, signal.SIGKILL)


@dataclass(slots=True)
class End:
    """How a child ended, how long it lived, and what it told last."""

    code: int
    seconds: float
    moments: dict[str, int] = field(default_factory=dict)

    @property
    def killed(self) -> bool:
        """Whether it died by the kill."""
        return self.code == -signal.SIGKILL


class Nursery:
    """One process that forks the children; use it in a ``with``."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("nursery.py"))],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        assert self._process.stdout is not None
        self._out = self._process.stdout.fileno()
        self._held = b""
        self._early: list[dict[str, Any]] = []
        self._ready = selectors.DefaultSelector()
        self._ready.register(self._out, selectors.EVENT_READ)
        if (self.line(PATIENCE_S) or {})["what"] != "ready":
            raise RuntimeError("the nursery did not begin")

    def __enter__(self) -> Nursery:
        return self

    def __exit__(self, *error: object) -> None:
        with contextlib.suppress(BrokenPipeError):
            assert self._process.stdin is not None
            self._process.stdin.close()
        self._process.wait(60)
        self._ready.close()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def begin(
        self, operation: str, given: dict[str, Any], moment: tuple[str, int] | None = None,
        planted: str = "",
    ) -> int:  # fmt: skip
        """Start a child; its process number."""
        asked = {"operation": operation, "with": given, "moment": moment, "planted": planted}
        assert self._process.stdin is not None
        self._process.stdin.write((json.dumps(asked) + "\n").encode())
        self._process.stdin.flush()
        early = []
        while (told := self.line(PATIENCE_S)) is not None and told["what"] != "begun":
            if told["what"] != "said":  # words of a worker of an earlier server are passed over
                early.append(told)
        self._early += early
        assert told is not None, "the nursery does not answer"
        return int(told["pid"])

    def line(self, most_s: float) -> dict[str, Any] | None:
        """The next line told; None where none came in time. Words of a server are ``said``."""
        if self._early:
            return self._early.pop(0)
        until = time.monotonic() + most_s
        while b"\n" not in self._held:
            left = until - time.monotonic()
            if left <= 0 or not self._ready.select(left):
                return None
            more = os.read(self._out, 65536)
            if not more:
                raise RuntimeError("the nursery ended")
            self._held += more
        text, self._held = self._held.split(b"\n", 1)
        try:
            told = json.loads(text)
        except ValueError:
            told = None
        return told if isinstance(told, dict) else {"what": "said", "words": text.decode()}

    def run(
        self, operation: str, given: dict[str, Any], told: Told, *, after_s: float | None = None,
        moment: tuple[str, int] | None = None, planted: str = "",
    ) -> End:  # fmt: skip
        """Let a child work until it ends, or is killed after so long or at its own moment.

        Raises:
            RuntimeError: the child failed by itself, with what it said.
        """
        number = self.begin(operation, given, moment, planted)
        begun, kill_at = time.monotonic(), after_s
        end = End(1, 0.0)
        failed = ""
        while True:
            left = PATIENCE_S if kill_at is None else begun + kill_at - time.monotonic()
            line = self.line(max(0.0, left))
            if line is None and kill_at is None:
                kill(number)
                raise RuntimeError(f"{operation} did not end in {PATIENCE_S:.0f} s")
            if line is None:
                kill(number)
                kill_at = None
            elif line["what"] == "ended":
                end.code, end.seconds = line["code"], time.monotonic() - begun
                break
            elif line["what"] == "finished":
                end.moments = line["moments"]
                kill_at = None
            elif line["what"] == "failed":
                failed, kill_at = line["says"], None
            else:
                told(line)
        if failed:
            raise RuntimeError(f"{operation} failed by itself: {failed}")
        return end
