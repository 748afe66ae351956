"""The studio that is worked on and killed at, and the turns of each kind."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from crash.children import End, Nursery
from crash.keeping_count import Findings, Ledger, look
from crash.kinds import KINDS, Kind, Place
from crash.turns import CliTurn, WebTurn
from quirewell.studio.studio import Studio
from studio_help import studio_with_item


class Bench:
    """One studio, killed at again and again; use it in a ``with``."""

    def __init__(
        self, place: Path, seed: int, say: Callable[[str], None] = print, planted: str = "",
        nursery: Nursery | None = None,
    ) -> None:  # fmt: skip
        self.folder = place / "studio"
        studio_with_item(self.folder).close()
        self.ledger, self.found = Ledger(), Findings()
        self.kills: Counter[str] = Counter()
        self.moments: Counter[str] = Counter()
        self.finished: Counter[str] = Counter()
        self._chance, self._say, self._planted = random.Random(seed), say, planted
        self._place = Place(place, self.folder, self._chance)
        self._known: dict[tuple[str, str], End] = {}
        self._kinds: dict[str, Kind] = {}
        self._nursery = nursery or Nursery()
        self._own_nursery = nursery is None
        self._web = WebTurn(self._nursery, self.folder, self.ledger, self._chance)
        self._cli = CliTurn(self.folder, self.ledger, self._chance)

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *error: object) -> None:
        if self._own_nursery:
            self._nursery.__exit__()

    def run(self, wanted: Mapping[str, int], tries: int = 5) -> None:
        """Turns of all kinds in a drawn order until each kind has its kills."""
        for _ in range(tries):
            left = {kind: count - self.kills[kind] for kind, count in wanted.items()}
            order = [kind for kind, count in left.items() for _ in range(count)]
            self._chance.shuffle(order)
            for kind in order:
                self.turn(kind)

    def turn(self, kind: str) -> None:
        """One operation, killed at some moment; then everything is looked at."""
        found = Findings()
        if kind == "web":
            self._count(kind, *self._web.take(self._planted))
            found.other, found.says = len(self._web.failed), list(self._web.failed)
            self._web.failed.clear()
        elif kind == "cli":
            self._count(kind, *self._cli.take())
        else:
            found = self._own(kind)
        found.add(look(self.folder, self.ledger))
        for says in found.says:
            self._say(f"FOUND after {kind}: {says}")
        self.found.add(found)
        total = sum(self.kills.values())
        if total and total % 20 == 0:
            self._say(f"{total} kills, lost {self.found.lost}")

    def facts(self) -> dict[str, Any]:
        """What was counted: nothing of this machine."""
        with Studio.open(self.folder) as studio:
            events, originals = len(studio.events()), len(list(studio.blobs.all()))
        said, found = self.ledger.said, self.found
        return {
            "kills": sum(self.kills.values()), "kills_by_kind": dict(sorted(self.kills.items())),
            "kills_by_moment": dict(sorted(self.moments.items())),
            "ended_before_the_kill": sum(self.finished.values()),
            "acknowledged_readings": said["readings"],
            "acknowledged_steps_and_notes": said["steps and notes"],
            "acknowledged_images": said["images"],
            "journal_entries_at_the_end": events, "originals_at_the_end": originals,
            "lost": found.lost, "broken_chains": found.broken_chains, "saved_twice": found.twice,
            "half_files": found.half, "other_faults": found.other,
            "processes_left": self._web.left,
        }  # fmt: skip

    def _own(self, name: str) -> Findings:
        if name not in self._kinds:
            self._kinds[name] = KINDS[name](self._place)
        kind = self._kinds[name]
        given = kind.given()
        known = self._known.get((name, kind.variant))
        if known is None:  # once whole, to learn its length and its moments
            end = self._nursery.run(kind.operation, given, self._told, planted=self._planted)
            self._count(name, False, "")
        else:
            after_s, moment = self._drawn(known)
            end = self._nursery.run(
                kind.operation, given, self._told, after_s=after_s, moment=moment,
                planted=self._planted,
            )  # fmt: skip
            self._count(name, end.killed, moment[0] if moment else "at a random time")
        if end.code == 0:
            self._known[name, kind.variant] = end
        return kind.after(end)

    def _drawn(self, known: End) -> tuple[float | None, tuple[str, int] | None]:
        """Half of the kills at a random time, half at a named moment."""
        if self._chance.random() < 0.5 or not known.moments:
            return self._chance.uniform(0.0, known.seconds), None
        name = self._chance.choice(sorted(known.moments))
        return None, (name, self._chance.randint(1, known.moments[name]))

    def _told(self, line: dict[str, Any]) -> None:
        self.ledger.take(line)
        names = {"archive": "make", "restored": "restore"}
        self._place.told[names.get(line["what"], line["what"])] = line

    def _count(self, kind: str, killed: bool, moment: str) -> None:
        if killed:
            self.kills[kind] += 1
            self.moments[moment] += 1
        else:
            self.finished[kind] += 1
