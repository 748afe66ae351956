"""Creep, roll and fold as the story keeps them, against what was planted in the Annual."""

from __future__ import annotations

import pytest

from quirewell.demo import story_rejoin
from quirewell.demo.bench import Bench
from quirewell.demo.foldside import (
    LEAF_MM,
    booklet_truth,
    checked_form,
    creep_form,
    fold_form,
    halves_mm,
)
from quirewell.demo.publication import sheet_plan
from quirewell.demo.scans import DrawnSheet
from quirewell.record.finding import Finding, Run
from quirewell.stages.methods import run_method
from quirewell.stages.working import newest
from quirewell.stages.working_rows import WORKINGS

SEED = 1936
TRUTH = booklet_truth(SEED)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Run]:
    """The runs the record holds after the story's acts."""
    bench = Bench(tmp_path_factory.mktemp("demo") / "studio")
    bench.follow((*story_rejoin.TAKEN_APART, story_rejoin.measured_flat(SEED)))
    bench.plan_fold(story_rejoin.FIRST_FOLDED, fold_form(SEED))
    bench.plan_fold(story_rejoin.FOLD_CHECKED, checked_form(SEED))
    found = {key: newest(bench.state, WORKINGS[key]) for key in ("creep", "fold")}
    assert all(found.values())
    return found  # type: ignore[return-value]


def of(run: Run, quantity: str, subject: str = "rejoin") -> Finding:
    return next(one for one in run.findings if (one.quantity, one.subject) == (quantity, subject))


def item(run: Run, quantity: str) -> Finding:
    return of(run, quantity, "item")


def inside(finding: Finding, truth: float) -> bool:
    assert finding.value is not None and finding.u
    return abs(finding.value - truth) <= 2.0 * finding.u


@pytest.mark.parametrize(("code", "moment"), [("c", "before"), ("w03", "after")])
def test_planted_halves_are_those_the_scans_are_drawn_with(code: str, moment: str) -> None:
    """Edges are drawn with 0.035 mm of roughness and a little shear."""
    for side, half in zip(("left", "right"), halves_mm(code, SEED, moment == "after"), strict=True):
        drawn = DrawnSheet(sheet_plan(code, SEED), 100, SEED).panel("outer", side, moment, "dark")
        assert drawn[1].width_mm == pytest.approx(half, abs=0.05)


def test_creep_of_the_untreated_sheets_comes_back(kept: dict[str, Run]) -> None:
    run = kept["creep"]
    for quantity, planted in (("creep.kappa_t_mm", TRUTH.creep_mm), ("creep.kappa", TRUTH.kappa)):
        found = item(run, quantity)
        assert found.low90 is not None and found.high90 is not None
        assert found.low90 < planted < found.high90
    assert item(run, "creep.kappa_t_mm").u < 0.02  # type: ignore[operator]
    assert not [one for one in run.findings if one.quantity == "creep.odd"]
    assert TRUTH.kappa == pytest.approx(TRUTH.creep_mm / LEAF_MM)


def test_reading_edges_to_come_are_those_planted(kept: dict[str, Run]) -> None:
    """One cut after stitching left every wrap flush: 1.89 mm behind the cover."""
    assert set(TRUTH.stands_mm) == {f"w{wrap:02d}" for wrap in range(1, 10)}
    for code, planted in TRUTH.stands_mm.items():
        assert planted == pytest.approx(-1.89, abs=0.005)
        for side in ("front", "back"):
            assert inside(of(kept["creep"], f"creep.{side}_mm", code), planted)


def test_overhang_allowance_and_roll_are_those_planted(kept: dict[str, Run]) -> None:
    run = kept["fold"]
    for quantity, planted in (
        ("fold.front_now_mm", TRUTH.front_mm), ("fold.back_now_mm", TRUTH.back_mm),
        ("fold.front_mm", TRUTH.front_mm), ("fold.back_mm", TRUTH.back_mm),
        ("fold.total_mm", TRUTH.front_mm + TRUTH.back_mm),
        ("fold.allowance_mm", TRUTH.allowance_mm),
        ("fold.front_after_mm", TRUTH.front_mm), ("fold.back_after_mm", TRUTH.back_mm),
        ("fold.off_mm", 0.0), ("fold.lead_mm", TRUTH.roll_before_mm),
        ("fold.roll_deg", TRUTH.roll_deg), ("fold.lead_after_mm", TRUTH.roll_after_mm),
        ("fold.roll_change_mm", TRUTH.roll_after_mm - TRUTH.roll_before_mm),
    ):  # fmt: skip
        assert inside(item(run, quantity), planted), quantity
    assert item(run, "fold.roll_change_mm").text.startswith("the roll is less")
    assert item(run, "fold.off_mm").text == "the fold lies where it was meant, in its doubt"
    assert "Chosen instead: keep the old crease" in item(run, "fold.says").text


def test_bands_hold_the_planted_booklet_as_often_as_they_say() -> None:
    """Of 40 other Annuals nine in ten 90 % bands of creep hold the truth (0.05 binomial), and 95 in
    100 of two u's of what a rule read."""
    creep, read = [], []
    for seed in range(40):
        truth = booklet_truth(seed)
        form = {name: text for name, text in creep_form(seed).items() if name != "working"}
        found = item(run_method("creep.fit", "rejoin", {}, params=form), "creep.kappa_t_mm")
        creep.append(found.low90 < truth.creep_mm < found.high90)  # type: ignore[operator]
        form = {name: text for name, text in checked_form(seed).items() if name != "working"}
        run = run_method("fold.plan", "rejoin", {}, params=form)
        read += [
            inside(item(run, "fold.total_mm"), truth.front_mm + truth.back_mm),
            inside(item(run, "fold.allowance_mm"), truth.allowance_mm),
            inside(
                item(run, "fold.roll_change_mm"), truth.roll_after_mm - truth.roll_before_mm
            ),
        ]  # fmt: skip
    assert sum(creep) / len(creep) > 0.78
    assert sum(read) / len(read) > 0.90
