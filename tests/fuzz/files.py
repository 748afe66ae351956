"""Thousands of bad files through the readers, and what became of them, in figures."""

from __future__ import annotations

import itertools
import random
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fuzz import mutate, pictures
from fuzz.readers import Door, fault_of
from quirewell.jobs.limited import LimitedWorkers

# A file of at most 400 kB has no business to hold a reader longer.
LONGEST_S = 10.0
BATCH = 50


@dataclass
class Figures:
    """What became of the files of one kind. ``faults`` are (reader, what, the file)."""

    kind: str
    files: int = 0
    did: Counter[str] = field(default_factory=Counter)
    by_reader: dict[str, Counter[str]] = field(default_factory=dict)
    faults: list[tuple[str, str, bytes]] = field(default_factory=list)
    slowest_s: float = 0.0
    seconds: float = 0.0

    def add(self, reader: str, did: str, says: str, spent_s: float, data: bytes) -> None:
        """Count one file."""
        self.files += 1
        self.did[did] += 1
        self.by_reader.setdefault(reader, Counter())[did] += 1
        self.slowest_s = max(self.slowest_s, spent_s)
        if did == "fault":
            self.faults.append((reader, says, data))

    def as_json(self) -> dict[str, Any]:
        """Plain data for the results."""
        known = ("read", "refused", "lost")
        return {
            "files": self.files, **{name: self.did[name] for name in known},
            "other": sum(self.did.values()) - sum(self.did[name] for name in known),
            "slowest_s": round(self.slowest_s, 2), "seconds": round(self.seconds, 1),
            "readers": {name: dict(sorted(did.items())) for name, did in
                        sorted(self.by_reader.items())},
        }  # fmt: skip


def texts(kind: str, doors: Sequence[Door], count: int, seed: int = 1) -> Figures:
    """``count`` bad files of one kind, shared out among its readers."""
    out, began = Figures(kind), time.monotonic()
    dice = {door.name: random.Random(f"{seed} {door.name}") for door in doors}
    for door in itertools.islice(itertools.cycle(doors), count):
        data = mutate.text_file(dice[door.name], door.seeds)
        before = time.process_time()
        did, says = fault_of(door, data)
        spent = time.process_time() - before
        if spent > LONGEST_S:
            did, says = "fault", f"it took {spent:.0f} s"
        out.add(door.name, did, says, spent, data)
    out.seconds = time.monotonic() - began
    return out


def images(
    workers: LimitedWorkers, count: int, seed: int = 1, tell: Callable[[int], None] = lambda _: None
) -> Figures:
    """``count`` bad pictures as uploads are opened; the memory of this process is watched."""
    out, began = Figures("images"), time.monotonic()
    before = _memory()
    with tempfile.TemporaryDirectory(prefix="quirewell-fuzz-") as folder:
        for batch in _batches(count, seed):
            paths = []
            for number, (_, data) in enumerate(batch):
                paths.append(Path(folder) / f"{number}.tif")
                paths[-1].write_bytes(data)
            for (kind, data), (did, says, spent) in zip(
                batch, pictures.look(workers, paths), strict=True
            ):
                if spent > pictures.LONGEST_S:
                    did, says = "fault", f"it took {spent:.0f} s"
                out.add(kind, did, says, spent, data)
            tell(out.files)
    if _memory() - before > 1 << 28:
        out.faults.append(("images", "this process grew by more than 256 MB", b""))
    out.seconds = time.monotonic() - began
    return out


def _batches(count: int, seed: int) -> Iterator[list[tuple[str, bytes]]]:
    kinds = pictures.seeds()
    dice = {kind: random.Random(f"{seed} {kind}") for kind in kinds}
    # TIFF, which scanners write and which holds most, comes twice as often as the others.
    turn = itertools.islice(itertools.cycle([*kinds, "tiff"]), count)
    files = ((kind, mutate.picture_file(dice[kind], kinds[kind])) for kind in turn)
    while batch := list(itertools.islice(files, BATCH)):
        yield batch


def _memory() -> int:
    scale = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale
