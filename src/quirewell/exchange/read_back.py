"""Read an archive back into a new studio.

A whole studio comes back entry for entry with its own numbers, times and hashes. An archive of
one item cannot: the entries between its own are not there. Its entries are chained anew into a
studio of their own, each with the time it had and with where it came from beside the name of who
made it. What the item's record says is the same: the state of the item, but for its version where
entries were withheld.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from quirewell.exchange.bag import MANIFEST
from quirewell.exchange.bag_read import Bag, BagError, manifest_of, open_bag, plain_name
from quirewell.exchange.look_over import Said, journal_in, look_over, refuse
from quirewell.exchange.sources import FromFile
from quirewell.record.canonical import CHAIN_VERSION, GENESIS
from quirewell.record.codec import to_body
from quirewell.record.event import Event
from quirewell.record.nouns import StudioOpened
from quirewell.studio.check import CheckResult
from quirewell.studio.clock import Clock, bench_zone, instant_text, now
from quirewell.studio.faults import DiskFull, StudioError
from quirewell.studio.journal import chained
from quirewell.studio.moving_in import Arrival, move_in
from quirewell.studio.studio import STUDIO

_ORIGINAL = re.compile(r"data/originals/([0-9a-f]{2})/(\1[0-9a-f]{62})(\.[a-z]{3,4})?")
OnProgress = Callable[[str, int, int], None]


def read_archive(
    path: Path | str, folder: Path | str, progress: OnProgress | None = None, clock: Clock = now
) -> CheckResult:
    """Make a studio in ``folder`` (missing or empty) out of an archive; all of it or nothing.

    Raises:
        StudioError: the folder holds something, or the archive is damaged or not ours.
        DiskFull: no room; nothing is left behind.
    """
    place = Path(folder).absolute()
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise StudioError(f"{place} is not empty; choose a new folder, nothing was changed")
    told = progress or (lambda words, done, total: None)
    with open_bag(path) as bag:
        looked = look_over(bag, told)
        refuse(looked)
        _room(bag, place)
        with journal_in(bag, looked.said) as source:
            lines = _as_it_was(source)
            head = looked.said.head
            if looked.said.scope != "studio":
                made = list(_anew(source, looked.said, instant_text(clock())))
                lines, head = iter(made), made[-1].hash

            def fill(arrival: Arrival) -> None:
                _fill(bag, looked.said, arrival, told)
                arrival.journal(lines)

            return move_in(place, fill, head, lambda done, total: told("checked", done, total))


def _room(bag: Bag, place: Path) -> None:
    needed = sum(size for name, size in bag.sizes.items() if not name.startswith("data/iiif/"))
    needed += 3 * bag.sizes.get("data/journal.jsonl", 0)
    where = next(folder for folder in (place, *place.parents) if folder.exists())
    free = shutil.disk_usage(where).free
    if free < needed:
        raise DiskFull(
            f"the archive needs {needed / 1e6:.0f} MB and {where} has {free / 1e6:.0f} MB free; "
            "nothing was read in"
        )


def _fill(bag: Bag, said: Said, arrival: Arrival, told: OnProgress) -> None:
    names = [name for name in sorted(bag.sizes) if _ORIGINAL.fullmatch(name)]
    payload, _ = manifest_of(bag, MANIFEST)
    for done, name in enumerate(names, 1):
        match = _ORIGINAL.fullmatch(name)
        assert match is not None
        with bag.open(name) as stream:
            arrival.original(match[2], stream, bag.sizes[name])
        told("originals read in", done, len(names))
    for name in sorted(bag.sizes):
        if name.startswith("data/reports/"):
            with bag.open(name) as stream:
                own = said.reports_named.get(plain_name(name), plain_name(name))
                sha256 = arrival.report(own, stream, bag.sizes[name])
            if sha256 != payload[name]:
                raise BagError(f"{name} was changed while it was read")


def _as_it_was(source: FromFile) -> Iterator[Event]:
    return (line.event for line in source.lines())


def _anew(source: FromFile, said: Said, at: str) -> Iterator[Event]:
    """The entries of one item in a chain of their own, after the opening of a studio."""
    opened = to_body(StudioOpened(CHAIN_VERSION, f"{said.item}, from {said.studio}"))
    last = chained(
        Event(1, STUDIO, 1, "studio.opened", opened, at, bench_zone(), "archive", GENESIS, "")
    )
    yield last
    numbers: dict[int, int] = {}
    version = 0
    for line in source.lines(said.item):
        if line.withheld == ("all",):
            continue
        event = line.event
        version += 1
        body = event.body
        if event.kind == "event.undone":
            body = {**body, "seq": str(numbers[int(body["seq"])])}
        numbers[event.seq] = last.seq + 1
        origin = f"{event.actor} (entry {event.seq} of {said.studio}, head {said.head[:12]})"
        last = chained(
            replace(event, seq=last.seq + 1, version=version, body=body, actor=origin,
                    prev=last.hash, hash="")
        )  # fmt: skip
        yield last
