"""A small item with everything a report can hold, in a real studio, for the report's tests."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image

from quirewell.record import nouns
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.measured import Term
from quirewell.stages.methods import run_method
from quirewell.studio.studio import Studio

DPI = 75.0
PX_PER_MM = DPI / 25.4


def clock() -> Callable[[], datetime]:
    """A clock that starts on a fixed day and moves a minute at each look."""
    state = {"at": datetime(2026, 3, 14, 18, 0, tzinfo=UTC)}

    def tick() -> datetime:
        state["at"] += timedelta(minutes=1)
        return state["at"]

    return tick


def text_of(pdf: Path) -> str:
    """Text of a PDF, spaces and line ends made single."""
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext is part of the test set-up (poppler-utils)"
    found = subprocess.run([tool, str(pdf), "-"], capture_output=True, check=True, text=True)
    return " ".join(found.stdout.split())


@lru_cache(maxsize=32)
def scan_bytes(seed: int, turn_px: int = 0, tone: tuple[int, int, int] = (222, 200, 158)) -> bytes:
    """A leaf of 168 x 265 mm on black glass, with lines of print."""
    rng = np.random.default_rng(seed)
    width, height = round(190 * PX_PER_MM), round(290 * PX_PER_MM)
    picture = np.full((height, width, 3), 18, dtype=np.float64)
    left, top = 30 + turn_px, 36
    leaf = np.full((round(265 * PX_PER_MM), round(168 * PX_PER_MM), 3), tone, dtype=np.float64)
    for row in range(60, leaf.shape[0] - 50, 16):
        length = int(rng.integers(leaf.shape[1] // 2, leaf.shape[1] - 60))
        leaf[row : row + 4, 30:length] *= 0.25
    picture[top : top + leaf.shape[0], left : left + leaf.shape[1]] = leaf
    picture += rng.normal(0, 3, picture.shape)
    out = io.BytesIO()
    Image.fromarray(picture.clip(0, 255).astype(np.uint8)).save(out, "PNG", dpi=(DPI, DPI))
    return out.getvalue()


def outline(turn_px: int) -> str:
    """Outline of :func:`scan_bytes` in pixels."""
    x0, y0 = 30 + turn_px, 36
    x1, y1 = x0 + round(168 * PX_PER_MM), y0 + round(265 * PX_PER_MM)
    return f"{x0},{y0} {x1},{y0} {x1},{y1} {x0},{y1}"


def add(studio: Studio, item: str, *things: tuple[str, object]) -> None:
    """Append nouns as events of the kinds named."""
    drafts = [Draft(item, kind, to_body(noun)) for kind, noun in things]
    state = None if things[0][0] == "item.opened" else studio.state(item)
    studio.append(item, 0 if state is None else state.version, drafts)


def add_capture(
    studio: Studio, item: str, id: str, data: bytes, place: str, moment: str, view: str = "scan"
) -> nouns.Capture:
    """Put a picture in the originals and into the record."""
    sha = studio.blobs.put(io.BytesIO(data))
    with Image.open(io.BytesIO(data)) as image:
        width, height = image.size
    capture = nouns.Capture(
        id, sha, f"{id}.png", "image/png", width, height, len(data), resolution_dpi=DPI,
        moment=moment, place=place, view=view,  # type: ignore[arg-type]
    )  # fmt: skip
    add(studio, item, ("capture.added", capture))
    return capture


def measured(capture: nouns.Capture, width_mm: float, turn_px: int, b: float) -> Run:
    """A measuring run with values made up for the test (its picture is real)."""
    rows = (
        ("leaf.width_mm", width_mm, 0.024, "mm"),
        ("leaf.height_mm", 265.03, 0.031, "mm"),
        ("tone.L", 82.1, 0.4, "1"),
        ("tone.b", b, 0.5, "1"),
        ("scale.um_per_px", 1000 / PX_PER_MM, 0.5, "um/px"),
    )
    id = f"rm-{capture.id}"
    findings = tuple(
        Finding(f"{id}.{i}", name, capture.place, value, u, unit)
        for i, (name, value, u, unit) in enumerate(rows)
    )
    return Run(
        id, "leaf.measure", 1, "exact", capture.place,
        (Input("image", capture.id, capture.sha256),), {}, findings,
        ("resolution tag taken as the scale",), {"outline": outline(turn_px)},
    )  # fmt: skip


def damage(run: Run, *lengths_mm: float) -> Run:
    """A measuring run with tears of these lengths and two stains besides."""
    count = len(lengths_mm)
    words = f"{count} open tears proposed, to be confirmed by eye" if count else "no open tear seen"
    limit = "tears of 3 mm with a gap of 0.12 mm or more show"
    more = [
        Finding(f"{run.id}.t", "leaf.tears_seen", run.subject, text=f"{words}: {limit}"),
        Finding(f"{run.id}.sp", "stains.area_pct", run.subject, 1.24, 0.4, "%"),
        Finding(f"{run.id}.s", "stains.seen", run.subject, text="2 small spots; a stain shows"),
    ]
    for number, length in enumerate(lengths_mm, 1):
        name = f"leaf.tears.{number}.length_mm"
        more.append(Finding(f"{run.id}.t{number}", name, run.subject, length, 0.25, "mm"))
    course = "; ".join(f"{100 + 50 * n},36 {100 + 50 * n},60" for n in range(count))
    drawing = {**run.drawing, **({"tears": course} if count else {})}
    return replace(run, findings=run.findings + tuple(more), drawing=drawing)


def compared(
    before: nouns.Capture, after: nouns.Capture, change_pct: float, word: str, shift_px: int
) -> Run:
    """A comparison with values made up for the test."""
    id = f"rc-{before.place}"
    place = before.place
    says = f"{word}: width {change_pct:+.3f} \u00b1 0.060 %"
    terms = (Term("match", 0.01, "scatter"), Term("humidity", 0.03, "assumed, no hygrometer"))
    findings = (
        Finding(f"{id}.0", "change.width_pct", place, change_pct, 0.03, "%", smallest_seen=0.12,
                terms=terms, sources=("jcgm100",)),
        Finding(f"{id}.1", "change.height_pct", place, -0.012, 0.03, "%", smallest_seen=0.11),
        Finding(f"{id}.2", "paper.dE00", place, 2.31, 0.4, "1"),
        Finding(f"{id}.3", "verdict", place, text=says),
    )  # fmt: skip
    inputs = (
        Input("before", before.id, before.sha256), Input("after", after.id, after.sha256),
    )  # fmt: skip
    return Run(
        id, "pair.compare", 1, "exact", place, inputs, {}, findings, (),
        {"before_to_after_px": f"1 0 {shift_px};0 1 0"},
    )  # fmt: skip


def compared_really(studio: Studio, before: nouns.Capture, after: nouns.Capture) -> Run:
    """The comparison by the real method, on the pictures in the studio."""
    files = {"before": studio.blobs.path(before.sha256), "after": studio.blobs.path(after.sha256)}
    inputs = (Input("before", before.id, before.sha256), Input("after", after.id, after.sha256))
    return run_method("pair.compare", before.place, files, inputs, {"same_day": "yes"})


def report_studio(
    folder: Path,
    title: str = "Copperbeck Garden Annual",
    pairs: int = 2,
    real: bool = False,
    wraps: int = 9,
) -> Studio:
    """A studio with one item, ``annual``, treated and measured.

    ``real`` leaves the made-up measurements out and compares by the real method.
    """
    studio = Studio.create(folder, "Larkmoor paper bench", clock=clock(), zone="Europe/London")
    item = nouns.Item(title, "1936", "stapled annual, colour cover", "R. Larkmoor",
                      "Came rolled, in a tube.", "groundwood newsprint")  # fmt: skip
    add(studio, "annual", ("item.opened", item))
    add(
        studio,
        "annual",
        ("gathering.described", nouns.Gathering(wraps, height_mm=265, width_mm=168)),
    )
    photo = scan_bytes(99, tone=(196, 120, 84))
    add_capture(studio, "annual", "front-before", photo, "front", "before", "front")
    add_capture(studio, "annual", "front-after", photo, "front", "after", "front")
    _conditions(studio)
    _treatment(studio)
    places = [f"w{n:02d}.{s}.{p}" for n in range(1, wraps + 1) for s in ("outer", "inner")
              for p in ("left", "right")]  # fmt: skip
    places = ["c.outer.left", "c.outer.right", *places]
    for index, place in enumerate(places[:pairs]):
        _page(studio, place, index, real)
    return studio


def _conditions(studio: Studio) -> None:
    add(
        studio, "annual",
        ("defect.noted", nouns.Defect("d1", "staples", "rusted staple", "both", "severe")),
        ("defect.noted", nouns.Defect("d2", "spine", "spine split", "42 mm from the foot")),
        ("defect.noted", nouns.Defect("d3", "w03.outer", "tideline", "lower outer corner",
                                      "slight", note="brown edge")),
        ("defect.noted", nouns.Defect("d4", "w03.outer", "tanned margin", "8 mm")),
        ("defect.noted", nouns.Defect("d5", "staples", "rust stain", "at the holes", "slight",
                                      "after")),
        ("grade.estimated", nouns.GradeEstimate("before", Decimal("3.5"), "worn but whole")),
        ("grade.estimated", nouns.GradeEstimate("after", None, "sounder, no brighter")),
        ("remaining.noted", nouns.Remaining("m1", "staples", "rust halo at the upper staple")),
    )  # fmt: skip


def _treatment(studio: Studio) -> None:
    params = {"strength": "0.5", "temperature_c": "20", "litres": "4", "leaf": "blotted"}
    run = run_method("bath.lime_water", "item", {}, params=params)
    add(
        studio, "annual",
        ("spot_test.made", nouns.SpotTest("t1", "c", "red", "lime water, half", "no change",
                                          Decimal(5))),
        ("reading.taken", nouns.Reading("ph1", "w01", "pH", Decimal("5.1"), "pH", "strip",
                                        Decimal("20.5"), Decimal("0.3"))),
        ("reading.taken", nouns.Reading("ph2", "w02", "pH", Decimal("4.0"), "pH", "strip",
                                        off_scale="below")),
        ("run.recorded", run),
        ("bath.mixed", nouns.Bath("bath-1", Decimal("0.5"), Decimal(20), Decimal(4), run.id)),
        ("step.done", nouns.Step("s1", "staples-out", ("staples",), "done", "E. Larkmoor",
                                 Decimal(25), started_at="2026-03-01T18:00:00Z")),
        ("step.done", nouns.Step("s2", "lime-bath", ("w01", "w02"), "done", "E. Larkmoor",
                                 Decimal(20), Decimal("20.5"),
                                 (nouns.Lot("calcium hydroxide", "CH-7", "4 g"),), "bath-1",
                                 "2026-03-02T18:00:00Z", note="Water turned straw yellow.")),
        ("step.planned", nouns.Step("s3", "humidify", ("c",))),
        ("override.made", nouns.Override("o1", "ink-test", "cover stays dry throughout")),
        ("margin.locked", nouns.Margin("change.width_pct", Decimal("0.2"), "%")),
    )  # fmt: skip


def _page(studio: Studio, place: str, index: int, real: bool) -> None:
    name = place.replace(".", "-")
    before = add_capture(studio, "annual", f"{name}-before", scan_bytes(index % 6), place, "before")
    after = add_capture(
        studio, "annual", f"{name}-after", scan_bytes(index % 6, 6, (228, 210, 174)), place, "after"
    )
    if real:
        add(studio, "annual", ("run.recorded", compared_really(studio, before, after)))
        return
    if index == 0:
        held = nouns.Correction(before.id, no_tears=("150,36",), tears=("200,36",))
        add(studio, "annual", ("measuring.corrected", held))
    change, word = (0.21, "changed") if index % 5 == 3 else (0.014, "unchanged")
    add(
        studio, "annual",
        ("run.recorded", damage(measured(before, 168.02, 0, 24.1), 4.2, 11.5, 7.0)),
        ("run.recorded", damage(measured(after, 168.04, 6, 21.8))),
        ("run.recorded", compared(before, after, change, word, 6)),
    )  # fmt: skip
