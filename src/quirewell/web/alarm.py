"""The alarm on the machine itself: rings when a step that is under way is due.

A step's timer is its begin and the minutes planned (``stages.today``). It rings until the step is
done or given more time: each minute for half an hour, then every ten minutes for six hours. A
program can stop, a machine can sleep: a kitchen timer is set beside it.
"""

from __future__ import annotations

import contextlib
import logging
import shlex
import shutil
import subprocess
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from quirewell.record.nouns import ItemState
from quirewell.stages.all_items import busy_items
from quirewell.stages.entry_time import read_instant
from quirewell.stages.today import Card, today
from quirewell.studio.clock import Clock, now
from quirewell.studio.faults import Busy, Moved, ServerLost
from quirewell.studio.studio import Studio

LOOK_EVERY_S = 2.0
SOON, LONG = timedelta(minutes=30), timedelta(hours=6)
EVERY_SOON, EVERY_LATE = timedelta(minutes=1), timedelta(minutes=10)
KITCHEN = "A program can stop and a machine can sleep: set a kitchen timer too."
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Ring:
    """A step that is due: ``key`` is the step with its due instant, so that more time is a new
    one; ``says`` without the clock."""

    key: str
    due: datetime
    says: str


def due_now(states: Sequence[ItemState], at: datetime) -> list[Ring]:
    """The steps under way that are due, over all items, the one due first first."""
    seen = today(states, (), at)
    cards = [*([seen.now] if seen.now else []), *seen.under_way]
    rings = [
        Ring(f"{card.key} {card.due_at}", read_instant(card.due_at), _words(card, at))
        for card in cards
        if card.state == "under way" and card.due_at and read_instant(card.due_at) <= at
    ]
    return sorted(rings, key=lambda ring: (ring.due, ring.key))


def _words(card: Card, at: datetime) -> str:
    over = bool(card.most_at) and read_instant(card.most_at) <= at
    state = "is over its longest time" if over else "is due"
    words = f"{card.where}, {card.title}: {card.name} {state}"
    # A terminal obeys what is not printable.
    return "".join(sign if sign.isprintable() else " " for sign in words)


def rings_again(due: datetime, rung: datetime | None, at: datetime) -> bool:
    """Whether it rings at ``at``, having rung last at ``rung``."""
    if at < due or at - due > LONG:
        return False
    every = EVERY_SOON if at - due <= SOON else EVERY_LATE
    return rung is None or at - rung >= every


def read_command(text: str) -> tuple[str, ...]:
    """A command to run at each ring, as a shell would split it; no shell is ever started.

    Raises:
        ValueError: it cannot be split, or there is no such program.
    """
    try:
        words = tuple(shlex.split(text))
    except ValueError as error:
        raise ValueError(
            f"the alarm command {text!r} has a quotation mark without its pair; close it"
        ) from error
    if not words or shutil.which(words[0]) is None:
        named = words[0] if words else text
        raise ValueError(
            f"there is no program {named!r} for the alarm on this machine; give one that is, as in "
            "--alarm-command 'notify-send Bench'"
        )
    return words


@dataclass(slots=True)
class Alarm:
    """Watches a studio in a thread of its own and rings by ``say`` and the command."""

    say: Say
    command: tuple[str, ...] = ()
    clock: Clock = now
    _head: str = ""
    _busy: tuple[ItemState, ...] = ()
    _rung: dict[str, datetime] = field(default_factory=dict)
    _running: subprocess.Popen[bytes] | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self, studio: Studio) -> None:
        """Begin to watch."""
        self._thread = threading.Thread(
            target=self._watch, args=(studio,), name="alarm", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Watch no longer; returns when the thread has ended."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
        if self._running is not None:
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._running.wait(timeout=2)

    def _watch(self, studio: Studio) -> None:
        told = ""
        while not self._stop.wait(LOOK_EVERY_S):
            try:
                self.look(studio)
                told = ""
            except (Busy, Moved, ServerLost) as error:
                if str(error) != told:
                    told = str(error)
                    logging.getLogger(__name__).warning("the alarm cannot look: %s", told)
            except Exception:
                # The alarm goes on, whatever one look ran into.
                logging.getLogger(__name__).exception("the alarm could not look at the studio")

    def look(self, studio: Studio) -> None:
        """Ring for what is due now."""
        at, head = self.clock(), studio.head()
        if head != self._head:
            self._busy = tuple(busy_items(studio))
            self._head = head
        rings = due_now(self._busy, at)
        self._rung = {ring.key: self._rung[ring.key] for ring in rings if ring.key in self._rung}
        loud = [ring for ring in rings if rings_again(ring.due, self._rung.get(ring.key), at)]
        clock = at.astimezone(ZoneInfo(studio.settings.zone)).strftime("%H:%M")
        for ring in loud:
            self._rung[ring.key] = at
            self.say(f"\a{clock} {ring.says}")
        if loud and self.command:
            self._call(f"{clock} " + "; ".join(ring.says for ring in loud))

    def _call(self, text: str) -> None:
        if self._running is not None and self._running.poll() is None:
            return
        try:
            self._running = subprocess.Popen(
                [*self.command, text], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )  # fmt: skip
        except OSError as error:
            self.say(f"The alarm command did not start ({error.strerror}).")
