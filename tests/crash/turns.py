"""Turns in which the door is a real server or the real command, killed while it answers."""

from __future__ import annotations

import contextlib
import http.client
import os
import random
import re
import secrets
import subprocess
import sys
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from crash.children import Nursery, kill
from crash.keeping_count import Ledger
from picture_files import picture_bytes
from studio_help import ITEM

MOST_S = 60.0
GRACE_S = 60.0
_PLACE = re.compile(r"http://127\.0\.0\.1:(\d+)/")
POINTS = ("before commit", "inside commit", "after commit", "statement", "before fsync",
          "after fsync", "after replace", "half a write")  # fmt: skip


class WebTurn:
    """A server of its own process; entries and pictures are sent to it until it is killed."""

    def __init__(
        self, nursery: Nursery, folder: Path, ledger: Ledger, chance: random.Random
    ) -> None:
        self._nursery, self._folder, self._ledger, self._chance = nursery, folder, ledger, chance
        self._number = 0
        self._again: list[dict[str, str]] = []  # sent, and not known to be saved
        self.left = 0
        self.failed: list[str] = []

    def take(self, planted: str = "") -> tuple[bool, str]:
        """Start, send, kill; whether it was killed, and at which moment."""
        moment = None
        if self._chance.random() < 0.4:
            moment = (self._chance.choice(POINTS), self._chance.randint(4, 30))
        number = self._nursery.begin("serve", {"studio": str(self._folder)}, moment, planted)
        port = self._port()
        if not port:  # it died at its moment while it was opening the studio
            return True, moment[0] if moment else "at a random time"
        ended = threading.Event()
        sender = threading.Thread(target=self._send, args=(port, ended))
        sender.start()
        wait = MOST_S if moment else self._chance.uniform(0.0, 0.7)
        children = _children(number)
        line, until = None, time.monotonic() + wait
        while time.monotonic() < until and sender.is_alive() and not _ended(line):
            line = self._nursery.line(0.02)
            children |= _children(number)
        children |= _children(number)
        kill(number)
        while not _ended(line):
            line = self._nursery.line(MOST_S)
            assert line is not None
        ended.set()
        sender.join()
        self.left += _still_there(children)
        return line["code"] == -9, moment[0] if moment else "at a random time"

    def _port(self) -> int:
        """The port it listens on; 0 where it was killed before it said so."""
        while True:
            line = self._nursery.line(MOST_S)
            assert line is not None, "the server did not begin"
            if line["what"] == "ended":
                assert line["code"] == -9, line
                return 0
            if found := _PLACE.search(line.get("words", "")):
                return int(found[1])

    def _send(self, port: int, ended: threading.Event) -> None:
        """Entries one after the other; what got no answer is sent again to the next server."""
        with contextlib.suppress(OSError, http.client.HTTPException):
            for _ in range(14):
                if ended.is_set():
                    return
                form = self._again[0] if self._again else self._entry()
                if not self._again:
                    self._again.append(form)
                status, text = _post(port, form)
                if status >= 500:
                    self.failed.append(f"the server failed: {text[:200]}")
                    return
                if status == 200 and '"saved":true' in text.replace(" ", ""):
                    told = {"what": "sent", "once": form["once"], "command": form["command"]}
                    self._ledger.take(told)
                self._again.remove(form)

    def _entry(self) -> dict[str, str]:
        self._number += 1
        form = {"once": secrets.token_hex(16), "item": ITEM, "place": "w06"}
        if self._number % 12 == 0:
            return {**form, "command": "photo", "seed": str(10_000 + self._number)}
        return {
            **form,
            "command": "reading",
            "value": f"pH {6 + self._number % 20 / 10:.1f} at 20C",
        }


class CliTurn:
    """``quirewell log lines`` in a process of its own, killed at a random moment."""

    def __init__(self, folder: Path, ledger: Ledger, chance: random.Random) -> None:
        self._folder, self._ledger, self._chance = folder, ledger, chance
        self._length = 0.0
        self._number = 0
        self.lost_answers = 0

    def take(self) -> tuple[bool, str]:
        """Start, read its lines, kill; whether it was killed, and at which moment."""
        self._number += 1
        begun = time.monotonic()
        words = ["log", "reading", f"pH {6 + self._number % 20 / 10:.1f} at 20C", "--studio",
                 str(self._folder), "--item", ITEM, "--place", "w07", "--json"]  # fmt: skip
        run = "from quirewell.cli.main import main; main()"
        with subprocess.Popen(
            [sys.executable, "-c", run, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        ) as process:  # fmt: skip
            try:
                wait = MOST_S if not self._length else self._drawn()
                out, said = process.communicate(timeout=wait)
            except subprocess.TimeoutExpired:
                process.kill()
                out, said = process.communicate()
        if process.returncode not in (0, -9):
            raise RuntimeError(f"the command failed: {said.decode()}")
        if process.returncode == 0:
            self._length = time.monotonic() - begun
        if found := re.search(rb'"seq":\s*"?(\d+)', out):
            self._keep(int(found[1]))
        return process.returncode == -9, "at a random time"

    def _drawn(self) -> float:
        """Half of the kills over the whole command, half near its end, where it saves."""
        if self._chance.random() < 0.3:
            return self._chance.uniform(0.0, self._length)
        return self._length * self._chance.uniform(0.6, 1.0)

    def _keep(self, seq: int) -> None:
        from quirewell.studio.studio import Studio

        with Studio.open(self._folder) as studio:
            event = studio.event(seq)
        hashes = [event.hash] if event else [f"entry {seq}"]
        self._ledger.take({"what": "entry", "command": "reading", "hashes": hashes})


def _post(port: int, form: dict[str, str]) -> tuple[int, str]:
    mark = secrets.token_hex(8)
    fields = {name: value for name, value in form.items() if name != "seed"}
    head = f"--{mark}\r\nContent-Disposition: form-data; name="
    parts = [f'{head}"{name}"\r\n\r\n{value}\r\n'.encode() for name, value in fields.items()]
    if seed := form.get("seed"):
        picture = picture_bytes(int(seed), (40, 60))
        kind = '"photo"; filename="snap.png"\r\nContent-Type: image/png\r\n\r\n'
        parts.append(f"{head}{kind}".encode() + picture + b"\r\n")
    body = b"".join(parts) + f"--{mark}--\r\n".encode()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=MOST_S)
    try:
        connection.request("POST", "/today/send", body, {
            "Content-Type": f"multipart/form-data; boundary={mark}", "Accept": "application/json",
        })  # fmt: skip
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    finally:
        connection.close()


def _ended(line: dict[str, Any] | None) -> bool:
    return line is not None and line["what"] == "ended"


def _children(number: int) -> set[tuple[int, str]]:
    """Processes begun by a process, and theirs, each with when it began."""
    found: set[tuple[int, str]] = set()
    for path in Path(f"/proc/{number}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            for child in path.read_text().split():
                found |= {(int(child), _began(int(child)))} | _children(int(child))
    return found


def _began(number: int) -> str:
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return ""


def _still_there(children: Iterable[tuple[int, str]]) -> int:
    """How many processes outlive their server by more than a minute; they are ended.

    A worker that is just starting when its server dies ends once it has read the program in,
    which takes many seconds where other work holds the processors.
    """
    left = [child for child in children if child[1]]
    until = time.monotonic() + GRACE_S
    while left and time.monotonic() < until:
        left = [one for one in left if _began(one[0]) == one[1]]
        if left:
            time.sleep(0.05)
    for number, _ in left:
        kill(number)
    return len(left)
