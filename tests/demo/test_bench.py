"""The story of the demo goes through the same commands a person's forms go through."""

from __future__ import annotations

import pytest

from quirewell.demo import practice, story, story_water
from quirewell.demo.bathside import bath_truth, ledger_form
from quirewell.demo.bench import Bench
from quirewell.stages.afterwards import after_view
from quirewell.stages.evidence import briefly, out_of_date
from quirewell.stages.margins import beforehand
from quirewell.stages.step_table import STEP_KINDS


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    bench = Bench(tmp_path_factory.mktemp("demo") / "studio")
    for acts in (
        story.CONDITION, story.MARGINS, story.READ_BEFORE, story.TESTS, story_water.KEPT,
        story.DRY_WORK, story_water.CHECKED, story_water.PILOT_WASHED, story_water.PILOT_JUDGED,
        story.WASHING, story_water.RINSED, (story.BATH,), story.BATH_READINGS, story.WET_WORK,
        story.MENDING,
        story.READ_AFTER, story.EVIDENCE, story.JOINING, story.AFTER,
    ):  # fmt: skip
        bench.follow(acts)
        if acts is story.WET_WORK:
            bench.keep_ledger(story.LEDGER_KEPT, ledger_form(1936))
    return bench


def test_no_question_before_a_dangerous_step_was_passed_over(bench: Bench) -> None:
    assert bench.state.overrides == {}
    assert all(step.state == "done" for step in bench.state.steps.values())


def test_the_cover_never_met_the_alkali_its_red_bleeds_in(bench: Bench) -> None:
    for step in bench.state.steps.values():
        if STEP_KINDS[step.kind].alkaline:
            assert "c" not in step.places
            assert step.bath in bench.state.baths


def test_margins_were_locked_before_anything_was_treated(bench: Bench) -> None:
    kinds = [event.kind for event in bench.studio.events(bench.item)]
    assert kinds.index("margin.locked") < kinds.index("step.started")
    assert set(bench.state.margins) == {
        "margin.change.width_pct", "margin.change.height_pct", "margin.size.width_mm",
        "margin.size.height_mm", "margin.tone.step",
    }  # fmt: skip
    assert all(beforehand(bench.state, one) for one in bench.state.margins.values())


def test_the_evidence_is_worked_out_after_the_last_reading_and_stays_up_to_date(
    bench: Bench,
) -> None:
    words = dict(briefly(bench.state))
    assert words["pH of the paper"].startswith("changed: on average +3.5")
    assert words["Tone of the paper, steps of the card"].startswith("cannot tell: wrap 5")
    assert out_of_date(bench.state) == ()


def test_the_journal_keeps_the_weeks_of_the_story(bench: Bench) -> None:
    moments = [event.at for event in bench.studio.events(bench.item)]
    assert moments == sorted(moments)
    assert moments[0].startswith("2026-03-02")
    assert moments[-1].startswith("2026-03-26")


def test_readings_after_are_less_acid_than_before(bench: Bench) -> None:
    ph = {
        (reading.place, reading.moment): reading.value
        for reading in bench.state.readings.values()
        if reading.quantity == "pH" and reading.method == "strip on the paper"
    }
    assert all(ph[sheet, "after"] > ph[sheet, "before"] for sheet in ("w01", "w05", "w09"))


def test_what_is_still_wrong_is_said(bench: Bench) -> None:
    words = " ".join(entry.words for entry in bench.state.remaining.values())
    assert "tideline" in words
    assert "red" in words
    assert bench.state.grades["grade.before"].value < bench.state.grades["grade.after"].value  # type: ignore[operator]


def test_the_planted_reserve_and_pick_up_lie_in_the_bands_of_the_kept_ledger(bench: Bench) -> None:
    (bath,) = bench.state.baths
    run = bench.state.newest_run("bath.ledger", bath)
    assert run is not None
    truth = bath_truth(1936)
    rows = [one for one in run.findings if one.quantity == "ledger.reserve_pct_caco3"]
    assert len(rows) == len(truth.reserve_pct_caco3) == 9
    for finding, planted in zip(rows, truth.reserve_pct_caco3, strict=True):
        assert finding.low90 is not None and finding.high90 is not None
        assert finding.low90 < planted < finding.high90
        assert finding.high90 - finding.low90 < 0.05
    found = {one.quantity: one for one in run.findings}
    pickup, acid = found["bench.pickup_g_per_g"], found["bench.acid_mol_per_kg"]
    assert pickup.low90 < truth.pickup_g_per_g < pickup.high90  # type: ignore[operator]
    assert acid.low90 < truth.acid_mol_per_kg < acid.high90  # type: ignore[operator]
    assert not [says for says in run.warnings if "contradicts" in says]


def test_the_pilot_was_dry_for_a_day_before_any_other_sheet_was_wetted(bench: Bench) -> None:
    sheet, scrap = bench.state.pilots.values()
    assert (sheet.place, sheet.accepted, sheet.through) == ("w05", "yes", ("wash",))
    assert (scrap.place, scrap.accepted, scrap.through) == ("", "yes", ("lime-bath",))
    wetted = [step for step in bench.state.steps.values()
              if STEP_KINDS[step.kind].wets == "whole" and step.places != ("w05",)]  # fmt: skip
    assert min(step.started_at for step in wetted) > sheet.looked_at > "2026-03-11T08:00"


def test_what_is_kept_was_tested_and_never_cleaned_over(bench: Bench) -> None:
    (keep,) = bench.state.keeps.values()
    tests = [one for one in bench.state.spot_tests.values() if one.place == keep.place]
    assert {one.result for one in tests} == {"no change"} and len(tests) == 2


def test_a_week_later_nothing_changed_that_the_card_could_show(bench: Bench) -> None:
    """Last here: it goes on with the record that the others look at."""
    practice.look_again(bench)
    view = after_view(bench.state, "2026-04-02")
    (one,) = view.series
    assert one.subject == "later.tone_step.w05.outer.right" and one.kept
    (row,) = view.rows
    assert "Lies flat" in row.later.words
    assert row.change is not None and row.change.value == 0 and "no change" in row.says
    assert bench.studio.events(bench.item)[-1].at.startswith("2026-04-02")
