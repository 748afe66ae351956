"""Real scans through the whole line: ``python -m quirewell.demo.real SAMPLES DIR``.

Real scans rarely come as a pair from before and after a treatment. So each picture of a folder
is taken in as it is, and once more with a known stretch, turn and lightening planted on it;
both go through intake, measuring, comparing and the report, and what was found is printed
beside what was planted. The planted pair shares its noise and its glass, so it shows that the
comparison is right, not how well two real scans agree.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from quirewell.jobs.runner import Runner
from quirewell.record.nouns import ItemState
from quirewell.report.treatment import write_report
from quirewell.stages import overview
from quirewell.stages.measuring_item import measure_item
from quirewell.stages.taking_in import Source, folder_sources, take_in
from quirewell.studio.faults import StudioError
from quirewell.studio.images import load_picture
from quirewell.studio.studio import Studio

ACTOR = "real scans"
WIDTH_PCT = 0.30
HEIGHT_PCT = -0.10
TURN_DEG = 0.3
LIGHTER = 0.06


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one real picture: lines for a person, and whether the planted change
    lies within twice the stated uncertainty (None when no change could be given)."""

    name: str
    lines: tuple[str, ...]
    held: bool | None


def plant(pixels: NDArray[np.uint8 | np.uint16]) -> NDArray[np.uint8 | np.uint16]:
    """The picture stretched, turned about its middle, and lightened by known amounts."""
    height, width = pixels.shape[:2]
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    angle = math.radians(TURN_DEG)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    linear = turn @ np.diag([1 + WIDTH_PCT / 100, 1 + HEIGHT_PCT / 100])
    affine = np.column_stack([linear, middle - linear @ middle])
    top = float(np.iinfo(pixels.dtype).max)
    moved = cv2.warpAffine(
        pixels, affine, (width, height), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float32)
    return (moved + LIGHTER * (top - moved)).round().clip(0, top).astype(pixels.dtype)


def run(samples: Path, folder: Path) -> tuple[Outcome, ...]:
    """Take every picture of ``samples`` through the line, in a new studio ``folder``.

    Raises:
        StudioError: no pictures there, or the folder holds something already.
    """
    sources = [source for source in folder_sources(samples) if _pictures(source)]
    if not sources:
        raise StudioError(f"{samples} holds no pictures; name a folder of TIFF, JPEG or PNG scans")
    outcomes = []
    with Studio.create(folder, "real scans") as studio, Runner(2) as runner:
        for source in sources:
            print(f"{source.name}: taking in, measuring, comparing, reporting", file=sys.stderr)
            outcomes.append(_one(studio, runner, source))
    return tuple(outcomes)


def _pictures(source: Source) -> bool:
    return Path(source.name).suffix.lower() in (".tif", ".tiff", ".jpg", ".jpeg", ".png", ".heic")


def _one(studio: Studio, runner: Runner, source: Source) -> Outcome:
    name = Path(source.name)
    item = studio.new_id(name.stem)
    form = {"title": name.stem, "wraps": "1", "cover": "no"}
    studio.append(item, 0, overview.open_item(item, form), ACTOR)
    with TemporaryDirectory() as scratch:
        planted = Path(scratch) / "after.tif"
        picture = load_picture(Path(str(source.content)))
        dpi = picture.resolution_dpi
        tifffile.imwrite(
            planted, plant(picture.pixels), photometric="rgb", compression="deflate",
            resolution=dpi, resolutionunit="INCH" if dpi else None,
        )  # fmt: skip
        pair = [
            Source(f"w01-outer-whole-before{name.suffix}", source.content),
            Source("w01-outer-whole-after.tif", planted),
        ]
        report = take_in(studio, item, pair, runner=runner, actor=ACTOR)
    lines = [f"refused: {entry.says}" for entry in report.refused]
    lines += measure_item(studio, item, runner).errors
    state = studio.state(item)
    written = studio.folder / "reports" / f"{item}.pdf"
    written.parent.mkdir(exist_ok=True)
    write_report(studio, item, written, ACTOR)
    found, held = _found(state)
    return Outcome(source.name, (*lines, *found, f"report: {written}"), held)


def _found(state: ItemState) -> tuple[list[str], bool | None]:
    lines: list[str] = []
    held: bool | None = None
    planted = {"change.width_pct": WIDTH_PCT, "change.height_pct": HEIGHT_PCT}
    for run in state.runs.values():
        for finding in run.findings:
            if finding.value is None:
                if finding.text:
                    lines.append(f"{finding.quantity}: {finding.text}")
                continue
            line = f"{finding.quantity}: {finding.value:.4g} u {finding.u or 0:.2g} {finding.unit}"
            if finding.quantity in planted:
                truth = planted[finding.quantity]
                within = abs(finding.value - truth) <= 2 * (finding.u or 0)
                held = within and held is not False
                line += f"  (planted {truth:+.2f}, {'within' if within else 'OUTSIDE'} 2 u)"
            lines.append(line)
        lines += [f"warning: {says}" for says in run.warnings]
    return lines, held


def main(arguments: list[str]) -> int:
    """Print every outcome; 1 when a planted change was missed."""
    if len(arguments) != 2:
        print("usage: python -m quirewell.demo.real SAMPLES DIR", file=sys.stderr)
        return 2
    try:
        outcomes = run(Path(arguments[0]), Path(arguments[1]))
    except StudioError as error:
        print(f"{error}.", file=sys.stderr)
        return 2
    for outcome in outcomes:
        print(outcome.name)
        for line in outcome.lines:
            print(f"  {line}")
    return 1 if any(outcome.held is False for outcome in outcomes) else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
