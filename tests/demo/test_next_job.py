"""The demo's next job: planned by the solver, its pilot's evening recorded, every entry once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from quirewell.demo import next_job, practice, shelf
from quirewell.demo.bench import Bench
from quirewell.demo.companions import COMPANIONS
from quirewell.record.nouns import ItemState
from quirewell.report.recheck import recheck
from quirewell.report.treatment import write_report
from quirewell.stages.plan_keeping import newest, told_of
from quirewell.stages.plan_progress import standing


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    made = Bench(tmp_path_factory.mktemp("demo") / "studio")
    practice.open_books(made)
    book = next(one for one in COMPANIONS if (one.title[:5], one.year) == ("Thrus", 1937))
    assert shelf._open(made, book) == next_job.ITEM
    next_job.begin(made)
    return made


def state(bench: Bench) -> ItemState:
    return bench.studio.state(next_job.ITEM)


def test_nothing_was_passed_over_and_every_entry_stands_once(bench: Bench) -> None:
    held = state(bench)
    assert not held.overrides
    steps = list(held.steps.values())
    assert len(held.sent) == 2 * len(steps) + len(next_job.READINGS)
    assert all(step.state == "done" and step.task and step.recipe_step for step in steps)
    wetted = {step.places for step in steps if step.kind in ("wash", "lime-bath")}
    assert wetted == {("w04",)}, "only the pilot has met water"
    assert all(trial.locked_at for trial in held.trials.values())


def test_the_plan_is_proved_and_puts_the_pilot_first(bench: Bench) -> None:
    plan = newest(bench.studio.bench())
    assert plan is not None
    told = told_of(plan)
    assert told["status"] == "proved"
    wet = [row for row in told["steps"] if row["wet"]]
    first = min(wet, key=lambda row: row["start_min"])
    assert first["sheets"] == ["w04"]
    look = next(row for row in told["steps"] if row["step"] == "pilot-look")
    others = [row for row in wet if "w04" not in row["sheets"]]
    assert min(row["start_min"] for row in others) >= look["end_min"]
    assert standing(told, [state(bench)])["steps"]


def test_the_evening_stands_in_the_report_and_is_recomputed(bench: Bench, tmp_path: Path) -> None:
    written = write_report(bench.studio, next_job.ITEM, tmp_path / "report.pdf")
    assert recheck(written.json, bench.studio).agrees
    assert json.loads(written.json.read_text())["numbers"]
