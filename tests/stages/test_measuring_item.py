"""Measuring an item: what is done is in the journal, what is not is still to be done."""

from __future__ import annotations

import dataclasses
import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from picture_files import picture_bytes
from quirewell.jobs.batch import Progress
from quirewell.jobs.runner import Runner
from quirewell.record.event import Draft
from quirewell.stages import survey
from quirewell.stages.measuring_item import measure_item, prepare_tiles
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import Studio
from studio_help import ITEM, studio_with_item

SCANS = [f"w0{wrap}-outer-left-{moment}.png" for wrap in (1, 2) for moment in ("before", "after")]


@pytest.fixture(scope="module")
def runner() -> Iterator[Runner]:
    with Runner(2) as made:
        yield made


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Studio]:
    monkeypatch.setattr(survey, "TASK", "job_tasks.bookkeep")
    with studio_with_item(tmp_path / "studio") as made:
        pictures = [*SCANS, "item-front-before.png", "loose.png"]
        take_in(
            made,
            ITEM,
            [Source(name, io.BytesIO(picture_bytes(n))) for n, name in enumerate(pictures)],
        )
        yield made


def test_scans_are_measured_and_pairs_compared_once(studio: Studio, runner: Runner) -> None:
    shown: list[Progress] = []
    progress = measure_item(studio, ITEM, runner, shown.append)
    assert (progress.total, progress.failed) == (6, 2)
    assert sorted(progress.errors) == [
        f"wrap 2, outer side, left, {moment}: no leaf was found in the picture"
        for moment in ("after", "before")
    ]
    runs = studio.state(ITEM).runs.values()
    assert sorted((run.method, run.subject) for run in runs) == [
        ("leaf.measure", "w01.outer.left"),
        ("leaf.measure", "w01.outer.left"),
        ("pair.compare", "w01.outer.left"),
        ("pair.compare", "w02.outer.left"),
    ]
    assert [entry.done for entry in shown] == [1, 2, 3, 4, 5, 6]
    assert studio.events(ITEM)[-1].actor == "measuring"
    again = measure_item(studio, ITEM, runner)
    assert again.total == 2 and len(studio.state(ITEM).runs) == 4


def test_pair_is_the_same_run_whichever_scan_came_first(studio: Studio) -> None:
    state = studio.state(ITEM)
    turned = dict(reversed(state.touched.items()))
    late = max(state.touched.values()) + 1
    before = next(c.id for c in state.captures.values() if c.filename == SCANS[0])
    swapped = dataclasses.replace(state, touched={**turned, before: late})
    for one in (state, swapped):
        call = survey.to_compare(one, studio.blobs.path)[0]
        assert [entry[0] for entry in call.arguments[3]] == ["before", "after"]


def test_new_scan_in_a_pair_is_compared_again(studio: Studio, runner: Runner) -> None:
    measure_item(studio, ITEM, runner)
    fresh = take_in(studio, ITEM, [Source("fresh.png", io.BytesIO(picture_bytes(99)))])
    body = {
        "capture": fresh.taken[0].capture, "place": "w01.outer", "panel": "left",
        "moment": "after", "view": "scan",
    }  # fmt: skip
    studio.append(ITEM, None, [Draft(ITEM, "capture.assigned", body)])
    measure_item(studio, ITEM, runner)
    compared = [run for run in studio.state(ITEM).runs.values() if run.method == "pair.compare"]
    assert [run.subject for run in compared].count("w01.outer.left") == 2


def test_locked_margin_goes_with_the_comparison(studio: Studio) -> None:
    margin = {"quantity": "change.width_pct", "value": "0.3", "unit": "%"}
    studio.append(ITEM, None, [Draft(ITEM, "margin.locked", margin)])
    state = studio.state(ITEM)
    calls = survey.to_compare(state, studio.blobs.path)
    assert [call.arguments[4] for call in calls] == [{"margin_pct": "0.3"}] * 2


def test_tiles_are_cut_once(studio: Studio, runner: Runner) -> None:
    captures = list(studio.state(ITEM).captures.values())
    assert prepare_tiles(studio, captures, runner).wait(60).failed == 0
    for capture in captures:
        assert (studio.derived / "tiles" / capture.sha256 / "info.json").is_file()
    assert prepare_tiles(studio, captures, runner).wait(60).total == 0
