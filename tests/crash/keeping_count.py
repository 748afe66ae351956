"""What the parent remembers of what was acknowledged, and what a studio still holds of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from quirewell.studio.check import check_open
from quirewell.studio.studio import Studio


@dataclass(slots=True)
class Ledger:
    """Everything a child or a server said was saved."""

    hashes: set[str] = field(default_factory=set)
    pictures: set[str] = field(default_factory=set)
    sent: set[str] = field(default_factory=set)
    said: Counter[str] = field(default_factory=Counter)

    def take(self, told: dict[str, Any]) -> None:
        """Remember one line of a child."""
        if told["what"] == "entry":
            self.hashes.update(told["hashes"])
            self.said["readings" if told["command"] == "reading" else "steps and notes"] += 1
        elif told["what"] == "picture":
            self.said["images"] += told["sha256"] not in self.pictures
            self.pictures.add(told["sha256"])
        elif told["what"] == "sent":
            self.sent.add(told["once"])
            self.said["images" if told["command"] == "photo" else "readings"] += 1


@dataclass(slots=True)
class Findings:
    """What was wrong, in counts and sentences."""

    lost: int = 0
    broken_chains: int = 0
    twice: int = 0
    half: int = 0
    other: int = 0
    says: list[str] = field(default_factory=list)

    @property
    def none(self) -> bool:
        """Whether nothing is wrong."""
        return not (self.lost or self.broken_chains or self.twice or self.half or self.other)

    def add(self, other: Findings) -> None:
        """Count those of another look as well."""
        for name in ("lost", "broken_chains", "twice", "half", "other"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.says += other.says


def look(folder: Path, ledger: Ledger) -> Findings:
    """Open the studio, check it whole, and look for everything that was acknowledged."""
    found = Findings()
    with Studio.open(folder) as studio:
        result = check_open(studio)
        events = studio.events()
        held = {event.hash for event in events}
        taken = {event.body["sha256"] for event in events if event.kind == "capture.added"}
        sent = Counter(event.body["id"] for event in events if event.kind == "entry.sent")
        gone = [f"entry {one[:12]}" for one in ledger.hashes - held]
        gone += [f"entry sent as {one}" for one in ledger.sent - set(sent)]
        gone += [
            f"picture {one[:12]}" for one in ledger.pictures
            if one not in taken or not studio.blobs.has(one)
        ]  # fmt: skip
        left = studio.blobs.unfinished()
    found.lost = len(gone)
    twice = [f"entry sent as {one} is there {count} times" for one, count in sent.items()
             if count > 1]  # fmt: skip
    found.twice = len(twice)
    for trouble in result.troubles:
        if trouble.code in ("chain", "head"):
            found.broken_chains = 1
        elif trouble.code in ("altered", "missing"):
            found.half += 1
        else:
            found.other += 1
    found.other += len(left)
    found.says = [f"acknowledged and not there: {one}" for one in gone] + twice
    found.says += [trouble.says for trouble in result.troubles]
    found.says += [f"left behind: {path.name}" for path in left]
    return found


def whole_hashes(folder: Path) -> list[str]:
    """Hashes of a studio's entries, in order."""
    with Studio.open(folder) as studio:
        return [event.hash for event in studio.events()]


def lines_of(found: Findings, most: int = 12) -> Iterable[str]:
    """The first sentences of what was wrong."""
    yield from found.says[:most]
