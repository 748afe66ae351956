"""A small studio with everything awkward an archive must carry, for the archive's tests."""

from __future__ import annotations

import io
from decimal import Decimal
from pathlib import Path

import numpy as np
from PIL import Image

from quirewell.record import dealing, nouns
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.studio.database import engine_of
from quirewell.studio.studio import Studio
from report_case import add, add_capture, clock, compared, damage, measured, scan_bytes

AWKWARD = (
    '=1+2', "+44", "-7", "@home", "\ttab", 'a "quoted", text', "two\r\nlines", "lone\rreturn",
    "\\N", "\\\\N", "n\u00e4ive \u2014 \u4e2d", " spaces ", "'", "\U0001f4d6",
)  # fmt: skip
OWNER, CLIENT_NOTE, PRICE = "Q. Ferrisby", "ring before noon", "413.27"


def small_bytes(seed: int, size: tuple[int, int] = (700, 540)) -> bytes:
    """A picture that needs more than one tile."""
    rng = np.random.default_rng(seed)
    pixels = np.full((size[1], size[0], 3), 200, np.uint8) + rng.integers(0, 40, (size[1], 1, 3),
                                                                         np.uint8)  # fmt: skip
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", dpi=(100, 100))
    return out.getvalue()


def archive_studio(folder: Path) -> Studio:
    """A studio with two items: one treated, priced and awkwardly worded, one of somebody else."""
    studio = Studio.create(folder, "Larkmoor paper bench", clock=clock(), zone="Europe/London")
    item = nouns.Item("Copperbeck Garden Annual", "1936", "annual", OWNER)
    add(studio, "annual", ("item.opened", item))
    add(studio, "annual", ("gathering.described", nouns.Gathering(9, height_mm=265, width_mm=168)))
    place = "w01.outer.left"
    before = add_capture(studio, "annual", "cb", scan_bytes(1), place, "before")
    after = add_capture(studio, "annual", "ca", scan_bytes(1, 6), place, "after")
    add_capture(studio, "annual", "front", small_bytes(3), "front", "before", "front")
    add(
        studio, "annual",
        ("run.recorded", damage(measured(before, 168.02, 0, 24.1), 4.2, 11.5)),
        ("run.recorded", damage(measured(after, 168.04, 6, 21.8))),
        ("run.recorded", compared(before, after, 0.014, "unchanged", 6)),
        ("defect.noted", nouns.Defect("d1", place, "tear", region="line 10.0,12.0 40.0,12.5")),
        ("step.planned", nouns.Step("s1", "surface-clean", ("w01",))),
        ("custody.taken", dealing.Custody(OWNER, note=CLIENT_NOTE)),
        ("cost.noted", dealing.Cost("k1", "bought", Decimal(PRICE), "GBP", "2031-01-05")),
    )  # fmt: skip
    for number, text in enumerate(AWKWARD):
        noun = nouns.Reading(
            f"r{number}", "w01", "pH", Decimal("5.10"), "pH", "strip", Decimal("20.50"), note=text,
            as_typed=text,
        )  # fmt: skip
        add(studio, "annual", ("reading.taken", noun))
        picture = nouns.Capture(
            f"p{number}", before.sha256, f"{number}.png", "image/png", 10, 10, 10, scanner=text,
        )  # fmt: skip
        add(studio, "annual", ("capture.added", picture))
    noted = studio.events("annual")[-1].seq
    studio.undo("annual", noted, reason="taken in twice")
    add(studio, "annual", ("record.retracted", nouns.Retract("k1", "wrong item")))
    add(studio, "annual", ("record.retracted", nouns.Retract("r0", "wrong wrap")))
    _other(studio)
    reports = studio.folder / "reports"
    reports.mkdir()
    (reports / "annual.pdf").write_bytes(b"%PDF-1.7 of " + OWNER.encode())
    (reports / "annual.json").write_text('{"item": "annual"}')
    (reports / "100%.pdf").write_bytes(b"%PDF-1.7 another")
    return studio


def _other(studio: Studio) -> None:
    item = nouns.Item("Larkmoor Almanac", "1921", owner="H. Dunmarrow")
    add(studio, "almanac", ("item.opened", item))
    add_capture(studio, "almanac", "x1", small_bytes(9), "front", "before", "front")
    add(studio, "annual", ("remaining.noted", nouns.Remaining("m1", "staples", "a rust halo")))
    body = to_body(nouns.Item("Larkmoor Almanac", "1922"))
    studio.append("almanac", None, [Draft("almanac", "item.described", body)])


def journal_rows(folder: Path) -> list[tuple[object, ...]]:
    """Every row of a studio's journal, as its database has it."""
    engine = engine_of(folder)
    with engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT * FROM journal ORDER BY seq").all()
    engine.dispose()
    return [tuple(row) for row in rows]


def files_under(folder: Path) -> dict[str, bytes]:
    """Every file under a folder."""
    return {
        place.relative_to(folder).as_posix(): place.read_bytes()
        for place in sorted(folder.rglob("*"))
        if place.is_file()
    }
