"""The demo's trial of two washing ways: washed as the lot fell, read as planted, and judged."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quirewell.demo import story, story_water, two_ways
from quirewell.demo.bench import Bench
from quirewell.demo.publication import sheet_plan
from quirewell.demo.truth import LeafTruth, Truth
from quirewell.stages.trial_measured import VerdictView, verdict_views


@pytest.fixture(scope="module")
def trials(tmp_path_factory: pytest.TempPathFactory) -> tuple[VerdictView, ...]:
    bench = Bench(tmp_path_factory.mktemp("ways") / "studio")
    bench.follow((*two_ways.READ_BEFORE, *story.TESTS))
    two_ways.plan(bench)
    bench.follow((*story_water.KEPT, *story.DRY_WORK, *story_water.CHECKED))
    bench.follow((*story_water.PILOT_WASHED, *story_water.PILOT_JUDGED))
    bench.follow((*story.WASHING, *story_water.RINSED, *two_ways.READ_AFTER))
    two_ways.judge(bench)
    assert bench.state.overrides == {}
    return tuple(reversed(verdict_views(bench.state)))


def test_every_wrap_went_as_its_lot_fell_and_the_pilot_is_in_no_pair(
    trials: tuple[VerdictView, ...],
) -> None:
    for held in trials:
        assert [row.pair for row in held.rows] == ["w02 w01", "w03 w04", "w07 w06", "w09 w08"]
        assert all(side.done == side.way for pair in held.view.pairs for side in pair)
        assert held.view.says == () and held.view.trial.locked_at < "2026-03-09"


def test_four_pairs_by_eye_on_the_card_cannot_tell_and_say_how_many_would(
    trials: tuple[VerdictView, ...],
) -> None:
    by_scan, by_eye = trials
    assert by_scan.run is None, "nothing was scanned here"
    assert [row.difference for row in by_eye.rows] == [0, 0, 0, -1]
    assert by_eye.says.startswith("Cannot tell: first way less second, 0 steps")
    needed = by_eye.finding("trial.pairs_needed")
    assert needed is not None and needed.value is not None and needed.value > 4


@pytest.mark.parametrize("wrap", two_ways.CARD)
def test_the_card_was_read_within_a_step_of_what_was_planted(wrap: int) -> None:
    plan = sheet_plan(f"w{wrap:02d}", 1936)
    before, after = two_ways.CARD[wrap]
    lighter = plan.after.centre[0] - plan.before.centre[0]
    assert abs((before - after) - lighter / 2.6) <= 1


def test_the_planted_difference_is_by_place_and_only_of_whole_pairs() -> None:
    flat = (78.0, 4.0, 20.0)
    leaf = LeafTruth(194.0, 265.0, 0.0, 90.0, flat, flat, flat, 254.0, 254.0, 100.0, 0.0, ())
    scans = {}
    for sheet, lighter in (("w01", 5.5), ("w02", 5.25), ("w03", 5.0)):
        for face in two_ways.FACES:
            name = f"{sheet}-{face.replace('.', '-')}"
            scans[f"{name}-before.tif"] = leaf
            scans[f"{name}-after.tif"] = replace(leaf, tone_median=(78 + lighter, 4.0, 20.0))
    truth = Truth(1936, 100, "", scans, {}, {})
    assert two_ways.planted(truth).lighter_L == {"w02 w01": pytest.approx(-0.25)}
