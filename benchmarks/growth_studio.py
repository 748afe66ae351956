"""A studio as it is after many years: thousands of items, a hundred thousand pictures.

Every entry is chained to the one before and comes in through the journal's own checked door; the
tables are made from it. Few real, tiny originals are shared by all pictures. Titles, makers and
words are invented.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from quirewell.record import dealing, nouns
from quirewell.record.afterwards import NextCheck
from quirewell.record.books import Client
from quirewell.record.canonical import CHAIN_VERSION, GENESIS, plain
from quirewell.record.codec import to_body
from quirewell.record.event import Event
from quirewell.record.finding import Finding, Input, Run
from quirewell.studio import journal
from quirewell.studio.rebuilding import rebuild
from quirewell.studio.studio import Studio

RARE, COMMON = "quillwort", "tideline"
_NAMES = (
    "Copperbeck", "Larkmoor", "Thistledown", "Marlow Fen", "Ashwhistle", "Pennyroyal", "Brackwater",
    "Gorsefield", "Ivelmere", "Oxlip", "Sallowby", "Windrush Hollow", "Tansy", "Hazelrigg",
)  # fmt: skip
_KINDS = (
    "Garden Annual", "Almanack", "Seed List", "Picture Weekly", "Serial", "Reader", "Bee Journal",
    "Household Paper", "Railway Guide", "Comic Supplement",
)  # fmt: skip
_TERMS = ("tideline", "tear", "crease", "foxing", "rust at a staple", "brittle edge", "loss")
_WORDS = (
    "along the fore-edge", "near the lower staple", "across the fold", "in the gutter",
    "at the head",
    "under the masthead", "beside the pencil price", "behind the second panel",
)  # fmt: skip
_STEPS = ("surface-clean", "wash", "dry", "mend", "dry", "press")
_PICTURES = 8


def make(folder: Path, items: int, captures: int, seed: int = 36) -> None:
    """Make the studio: ``captures`` pictures to an item."""
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        shots = _originals(studio, folder)
        first = studio.events()[-1]
        with studio.engine.begin() as connection:
            rows: list[dict[str, Any]] = []
            for event in _events(first, items, captures, shots, random.Random(seed)):
                rows.append(_row(event))
                if len(rows) == 2000:
                    connection.execute(journal.journal.insert(), rows)
                    rows.clear()
            if rows:
                connection.execute(journal.journal.insert(), rows)
            rebuild(connection)


def _row(event: Event) -> dict[str, Any]:
    from quirewell.record.canonical import canonical

    names = ("seq", "stream", "version", "kind", "at", "zone", "actor", "prev", "hash")
    return {name: getattr(event, name) for name in names} | {"body": canonical(event.body)}


def _originals(studio: Studio, folder: Path) -> list[tuple[str, int]]:
    from PIL import Image

    made = []
    for number in range(_PICTURES):
        place = folder / f"shot-{number}.png"
        tone = (200 + number, 190, 160)
        Image.new("RGB", (120, 170), tone).save(place)
        made.append((studio.blobs.put(place), place.stat().st_size))
        place.unlink()
    return made


def _events(
    last: Event, items: int, captures: int, shots: list[tuple[str, int]], rng: random.Random
) -> Iterator[Event]:
    versions = {"studio": last.version}
    at = datetime(2011, 1, 3, 18, tzinfo=UTC)

    def next_one(stream: str, kind: str, noun: Any) -> Event:
        nonlocal last, at
        at += timedelta(seconds=rng.randint(20, 2500))
        versions[stream] = versions.get(stream, 0) + 1
        text = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        last = journal.chained(
            Event(
                last.seq + 1, stream, versions[stream], kind, plain(to_body(noun)), text,
                "Europe/London", "bench", last.hash or GENESIS, "",
            )
        )  # fmt: skip
        return last

    assert CHAIN_VERSION == 1
    for number in range(25):
        client = Client(f"client-{number}", f"Owner {number} of {rng.choice(_NAMES)}")
        yield next_one("studio", "client.kept", client)
    for number in range(items):
        stream = f"item-{number:05d}"
        for kind, noun in _item(number, items, captures, shots, rng, at):
            yield next_one(stream, kind, noun)


def _item(
    number: int, items: int, captures: int, shots: list[tuple[str, int]], rng: random.Random,
    at: datetime,
) -> Iterator[tuple[str, Any]]:  # fmt: skip
    """Everything of one item; nine in ten are finished, as in a practice of many years."""
    title = f"{rng.choice(_NAMES)} {rng.choice(_KINDS)} No. {number % 240 + 1}"
    note = f"the copy with the {RARE} pressed in it" if number % (items // 2 or 1) == 1 else ""
    yield "item.opened", nouns.Item(title, str(rng.randint(1895, 1959)), "serial", "", note)
    wraps = 9
    yield "gathering.described", nouns.Gathering(wraps)
    surfaces = nouns.Gathering(wraps).surfaces()
    for shot in range(captures):
        sha256, size = shots[shot % len(shots)]
        place = surfaces[shot % len(surfaces)]
        moment: nouns.Moment = "before" if shot < captures * 3 // 4 else "after"
        name = f"{place.replace('.', '-')}-{moment}.tif"
        panel = "left" if place.endswith("left") else "right"
        yield "capture.added", nouns.Capture(
            f"c{shot}", sha256, name, "image/png", 120, 170, size, 8, 600.0, moment=moment,
            place=place.rpartition(".")[0], panel=panel, view="scan",
        )  # fmt: skip
    for count in range(6):
        value = Decimal(rng.randint(45, 80)) / 10
        yield "reading.taken", nouns.Reading(
            f"r{count}", f"w0{count + 1}", "pH", value, "pH", "strip", moment="before",
            as_typed=f"pH {value}", note=rng.choice(_WORDS),
        )  # fmt: skip
    for count in range(4):
        term = COMMON if count == 0 else rng.choice(_TERMS)
        yield "defect.noted", nouns.Defect(
            f"d{count}", f"w0{count + 1}.outer.left", term, f"{rng.randint(2, 90)} mm",
            note=rng.choice(_WORDS),
        )  # fmt: skip
    yield from _work(number, rng, at)
    if number % 5 == 0:
        for shot in range(8):
            yield "run.recorded", _measured(shot, shots, rng)
    yield from _dealing(number, rng, at)


def _work(number: int, rng: random.Random, at: datetime) -> Iterator[tuple[str, Any]]:
    open_one = number % 50 == 0
    for count, kind in enumerate(_STEPS):
        if open_one and count >= 3:
            yield "step.planned", nouns.Step(f"s{count}", kind, ("item",))
            continue
        instant = (at + timedelta(hours=count)).isoformat().replace("+00:00", "Z")
        yield "step.done", nouns.Step(
            f"s{count}", kind, ("item",), "done", "M. Teasel", Decimal(40), None,
            started_at=instant, done_at=instant, note=rng.choice(_WORDS),
        )  # fmt: skip
    for count in range(2):
        yield (
            "time.noted",
            dealing.TimeSpent(
                f"t{count}", rng.choice(_STEPS), minutes=Decimal(rng.randint(10, 180)), wraps=9
            ),
        )
    if number % 20 == 3:
        yield "mishap.noted", dealing.Mishap("m1", f"a corner caught {rng.choice(_WORDS)}", "w01")


def _measured(shot: int, shots: list[tuple[str, int]], rng: random.Random) -> Run:
    sha256 = shots[shot % len(shots)][0]
    width = round(rng.gauss(168, 1), 2)
    found = tuple(
        Finding(f"f{shot}-{name}", f"leaf.{name}", f"c{shot}", width + more, 0.2, "mm")
        for more, name in enumerate(("width_mm", "height_mm", "loss_mm2", "tear_mm"))
    )
    outline = " ".join(f"{rng.randint(0, 120)},{rng.randint(0, 170)}" for _ in range(60))
    return Run(
        f"run-{shot}", "leaf.measure", 9, "exact", f"c{shot}",
        (Input("scan", f"c{shot}", sha256),), {}, found, (), {"outline": outline},
    )  # fmt: skip


def _dealing(number: int, rng: random.Random, at: datetime) -> Iterator[tuple[str, Any]]:
    day = at.date().isoformat()
    yield "cost.noted", dealing.Cost("k1", "bought", Decimal(rng.randint(2, 80)), "GBP", day)
    if number % 3 == 0:
        yield "holding.set", dealing.Holding("sell", Decimal(rng.randint(20, 300)), currency="GBP")
    if number % 4 == 1:
        yield "item.sold", dealing.Sold(Decimal(rng.randint(20, 300)), "GBP", day, Decimal(3))
    if number % 7 == 2:
        yield "custody.taken", dealing.Custody(f"client-{number % 25}", day, came_with="a folder")
    if number % 6 == 2:
        yield "next_check.set", NextCheck("2031-05-01")
