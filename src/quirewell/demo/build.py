"""The demo studio: the Annual drawn, taken in, treated, measured and reported.

Everything goes through the functions a person's own pictures and forms go through: intake of a
folder, measuring and comparing in worker processes, the stages' commands, the report.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from quirewell.demo import next_job, practice, shelf, story, story_rejoin, story_water, two_ways
from quirewell.demo.bathside import bath_truth, ledger_form
from quirewell.demo.bench import Bench
from quirewell.demo.foldside import booklet_truth, checked_form, fold_form
from quirewell.demo.scans import check_wanted, generate
from quirewell.demo.store_log import write_store_log
from quirewell.demo.truth import Truth, as_json
from quirewell.jobs.batch import Progress
from quirewell.jobs.runner import Runner
from quirewell.report.treatment import write_report
from quirewell.stages.measuring_item import measure_item
from quirewell.stages.taking_in import Arrival, Source, folder_sources, take_in
from quirewell.studio.address import is_studio
from quirewell.studio.faults import StudioError

Tell = Callable[[str], None]
DPI = 100
SEED = 1936
WORKERS = 2


@dataclass(frozen=True, slots=True)
class DemoResult:
    """A built demo: where things are, and what could not be done (sentences; none is well)."""

    folder: Path
    item: str
    report: Path
    truth: Path
    pictures: int
    runs: int
    failures: tuple[str, ...]


def report_path(folder: Path) -> Path:
    """Where the demo's report lies in its studio."""
    return folder / "reports" / "copperbeck-garden-annual.pdf"


def truth_path(folder: Path) -> Path:
    """Where the planted truth lies in the demo's studio; written last, when all is done."""
    return folder / "demo" / "truth.json"


def is_built(folder: Path) -> bool:
    """Whether a finished demo lies in a folder.

    Raises:
        StudioError: a studio is there, but no finished demo.
    """
    if truth_path(folder).is_file() and is_studio(folder):
        return True
    if is_studio(folder):
        raise StudioError(
            f"{folder} holds a studio that is not a finished demo; choose another folder, or "
            "delete this one if it is a demo that was stopped half-way"
        )
    return False


def build_demo(
    folder: Path,
    *,
    dpi: int = DPI,
    seed: int = SEED,
    sheets: Sequence[str] | None = None,
    keep_scans: Path | None = None,
    tell: Tell = lambda says: None,
) -> DemoResult:
    """Build the demo studio in a new or empty folder.

    Parameters
    ----------
    folder
        the studio to make
    dpi
        resolution of the scans [1/inch]
    seed
        the same seed, the same Annual and the same scans
    sheets
        sheets to draw and scan ("c", "w01" .., "item" for photographs); all unless stated
    keep_scans
        new or empty folder that gets a copy of the drawn files; none unless stated
    tell
        called with a line of progress

    Raises
    ------
    StudioError
        when a folder holds something already
    ValueError
        when a sheet is not part of the Annual
    """
    check_wanted(dpi, sheets)
    if keep_scans is not None and keep_scans.exists() and any(keep_scans.iterdir()):
        raise StudioError(f"{keep_scans} is not empty; choose a new folder for the scans")
    bench = Bench(folder)
    with tempfile.TemporaryDirectory(dir=folder, prefix="drawing-") as drawing:
        place = Path(drawing)
        truth = generate(
            place,
            dpi=dpi,
            seed=seed,
            sheets=sheets,
            progress=lambda done, total, says: tell(f"drawing the Annual {done}/{total}: {says}"),
            workers=WORKERS,
        )
        if keep_scans is not None:
            shutil.copytree(place / "scans", keep_scans, dirs_exist_ok=True)
        with bench.studio, Runner(WORKERS) as runner:
            failures = _before(bench, place, runner, tell)
            _treat(bench, seed, tell)
            failures += _after(bench, place, seed, runner, tell)
            tell("the Annual's companions: weighed, and planned into parcels")
            practice.look_at_offer(bench)
            shelf.fill(bench)
            tell("the next job: planned for evenings, its pilot washed")
            next_job.begin(bench)
            practice.look_again(bench)
            report = _report(bench, tell)
            state = bench.state
    whole = replace(
        truth, bath=bath_truth(seed), booklet=booklet_truth(seed), trial=two_ways.planted(truth)
    )
    _keep_truth(truth_path(folder), whole)
    tell("the demo is ready")
    return DemoResult(
        folder,
        bench.item,
        report,
        truth_path(folder),
        len(state.captures),
        len(state.runs),
        failures,
    )


def _before(bench: Bench, place: Path, runner: Runner, tell: Tell) -> tuple[str, ...]:
    practice.open_books(bench)
    bench.clock.set(story.PHOTOGRAPHED)
    failures = _take_in(bench, _moment(place, "item", "before"), runner, tell)
    bench.follow(story.CONDITION)
    bench.clock.set(story.SCANNED_BEFORE)
    failures += _take_in(bench, _moment(place, "sheet", "before"), runner, tell)
    bench.follow((*story.MARGINS, *story.STRIP_READ))
    bench.clock.set(story.MEASURED_BEFORE)
    failures += _measure(bench, runner, tell)
    practice.draw_damage(bench)
    return failures


def _treat(bench: Bench, seed: int, tell: Tell) -> None:
    tell("treating: readings, ink tests, washing, lime-water bath, drying, mending")
    bench.follow((*story.READ_BEFORE, *two_ways.READ_BEFORE))
    bench.follow(story.TESTS)
    two_ways.plan(bench)
    bench.follow((*story_water.KEPT, *story.DECIDED))
    practice.decide(bench)
    bench.follow((*story.DRY_WORK, *story_water.CHECKED, *story_water.PILOT_WASHED))
    bench.follow((*story_rejoin.TAKEN_APART, story_rejoin.measured_flat(seed)))
    bench.follow((*story_water.PILOT_JUDGED, *story.WASHING, *story_water.RINSED))
    bench.follow((story.BATH, *story.BATH_READINGS))
    bench.follow(story.WET_WORK)
    bench.keep_ledger(story.LEDGER_KEPT, ledger_form(seed))
    bench.follow(story.PASTE)
    tell("calibrating the press on a dummy")
    bench.calibrate_press(story.PRESS_CALIBRATED, seed)
    bench.follow(story.MENDING)


def _after(bench: Bench, place: Path, seed: int, runner: Runner, tell: Tell) -> tuple[str, ...]:
    bench.clock.set(story.SCANNED_AFTER)
    failures = _take_in(bench, _moment(place, "sheet", "after"), runner, tell)
    bench.follow(story.AIR_AFTER)
    bench.clock.set(story.MEASURED_AFTER)
    failures += _measure(bench, runner, tell)
    bench.follow((*story.READ_AFTER, *two_ways.READ_AFTER, *story.EVIDENCE))
    two_ways.judge(bench)
    tell("looking for the staple holes, and laying the sheets by them")
    failures += bench.find_holes(story_rejoin.HOLES_FOUND, runner)
    if len(bench.state.holes) > 1:
        bench.follow(story_rejoin.MATCHING)
    bench.lay_sheets(story_rejoin.LAID_FROM, story_rejoin.MINUTES_EACH)
    bench.plan_fold(story_rejoin.FIRST_FOLDED, fold_form(seed))
    bench.follow(story.JOINING)
    tell("looking inside the press")
    for at, form in story.PRESS_PLANS:
        bench.plan_pressing(at, form)
    bench.follow((story.PRESSED,))
    bench.plan_fold(story_rejoin.FOLD_CHECKED, checked_form(seed))
    bench.follow(story.HOUSED)
    failures += _take_in(bench, _moment(place, "item", "after"), runner, tell)
    bench.follow(story.WORTH)
    bench.read_store(story.STORE_READ, write_store_log(place / "larkmoor-store.csv", seed))
    bench.follow(story.AFTER)
    practice.give_back(bench)
    return failures


def _moment(place: Path, what: str, moment: str) -> list[Source]:
    """Files of the drawn folder for one moment: of the whole item, or of its sheets."""
    return [
        source
        for source in folder_sources(place / "scans")
        if Path(source.name).stem.endswith(f"-{moment}")
        and source.name.startswith("item-") == (what == "item")
    ]


def _take_in(bench: Bench, sources: list[Source], runner: Runner, tell: Tell) -> tuple[str, ...]:
    def arrived(done: int, total: int, arrival: Arrival) -> None:
        if done % 10 == 0 or done == total or not arrival.ok:
            tell(f"taking in {done}/{total}: {arrival.name}, {arrival.says}")

    report = take_in(
        bench.studio, bench.item, sources, runner=runner, progress=arrived, actor=story.ACTOR
    )
    refused = tuple(f"{entry.name}: {entry.says}" for entry in report.refused)
    return refused + ((report.stopped,) if report.stopped else ())


def _measure(bench: Bench, runner: Runner, tell: Tell) -> tuple[str, ...]:
    def stands(progress: Progress) -> None:
        if progress.done % 10 == 0 or progress.done == progress.total:
            tell(progress.says)

    return measure_item(bench.studio, bench.item, runner, stands).errors


def _report(bench: Bench, tell: Tell) -> Path:
    bench.clock.set(story.REPORTED)
    target = report_path(bench.studio.folder)
    write_report(
        bench.studio,
        bench.item,
        target,
        story.ACTOR,
        progress=lambda says: tell(f"writing the report: {says}"),
    )
    return target


def _keep_truth(target: Path, truth: Truth) -> None:
    target.parent.mkdir(exist_ok=True)
    target.write_text(json.dumps(as_json(truth), indent=1) + "\n", encoding="utf-8")
