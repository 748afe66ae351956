"""Results as people read them: rounding, order, latest run, what was not measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Measured
from quirewell.record.nouns import ItemState
from quirewell.stages.ink_lines import ink_lines
from quirewell.stages.prove import PairView, prove_view, totals
from quirewell.stages.results import (
    latest_runs,
    page_results,
    place_order,
    show,
    shown,
    shown_smallest,
)
from report_case import add, add_capture, measured, report_studio, scan_bytes


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        # Two figures of the expanded uncertainty, the value to the same place: JCGM 100, 7.2.6.
        (168.4213, 0.0243, "mm", "168.421 ± 0.049 mm"),
        (100.02147, 0.00035, "g", "100.02147 ± 0.00070 g"),
        (12345.0, 435.0, "mm2", "12340 ± 870 mm²"),
        (-0.0132, 0.03, "%", "−0.013 ± 0.060 %"),
        (12.45, 0.02, "pH", "12.450 ± 0.040"),
    ],
)
def test_a_value_is_rounded_to_its_uncertainty(
    value: float, u: float, unit: str, text: str
) -> None:
    assert show(Measured(value, u, unit)) == text


def test_a_change_carries_its_sign_and_words_stay_words() -> None:
    assert shown(Finding("r.0", "change.width_pct", "w01", 0.21, 0.03, "%")).text[0] == "+"
    assert shown(Finding("r.0", "verdict", "w01", text="unchanged")).text == "unchanged"
    assert shown(
        Finding("r.0", "change.smallest_detectable_pct", "w01", 0.12345, None, "%")
    ).text == ("0.12 %")
    assert not shown(None)
    assert not shown_smallest(Finding("r.0", "leaf.width_mm", "w01", 1.0, 0.1, "mm"))


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> ItemState:
    with report_studio(tmp_path_factory.mktemp("results") / "s", pairs=6) as studio:
        return studio.state("annual")


def test_pages_stand_in_reading_order(state: ItemState) -> None:
    names = [entry.name for entry in page_results(state)]
    assert names == [
        "Front cover", "Back cover", "Wrap 1, outer side, right: page 1",
        "Wrap 1, inner side, left: page 2", "Wrap 1, inner side, right: page 35",
        "Wrap 1, outer side, left: page 36",
    ]  # fmt: skip
    assert sorted(["w02", "c.outer", "w01.inner.left"], key=place_order)[0] == "c.outer"


def test_each_result_holds_both_moments_and_the_change(state: ItemState) -> None:
    entry = page_results(state)[0]
    assert entry.at("before", "tone.b").text == "24.1 ± 1.0"
    assert entry.at("after", "tone.b").text == "21.8 ± 1.0"
    assert entry.change("change.width_pct").refs == ("rc-c.outer.right.0",)
    assert entry.smallest("change.width_pct").text == "0.12 %"
    assert entry.verdict_word == "unchanged"
    assert entry.warnings == ("resolution tag taken as the scale",)
    assert not entry.at("before", "leaf.loss_mm2")


def test_the_latest_run_counts(tmp_path: Path) -> None:
    with report_studio(tmp_path / "s", pairs=1) as studio:
        again = add_capture(studio, "annual", "retake", scan_bytes(0), "c.outer.left", "before")
        add(studio, "annual", ("run.recorded", measured(again, 170.0, 0, 24.0)))
        found = latest_runs(studio.state("annual"), "leaf.measure")
    assert found["c.outer.left", "before"].id == "rm-retake"


def test_totals_count_verdicts_and_name_the_extremes(state: ItemState) -> None:
    totals = {total.says: total for total in prove_view(state).totals}
    assert totals["Pages compared"].value.text == "6"
    assert totals["Size changed"].value.text == "1"
    assert len(totals["No change of size seen"].value.refs) == 5
    top = totals["Largest change of width"]
    assert top.value.text == "+0.210 ± 0.060 %"
    assert top.where == "Wrap 1, outer side, right: page 1"


def test_what_was_not_measured_is_said(state: ItemState) -> None:
    said = " ".join(prove_view(state).not_measured)
    assert "wraps 2 to 9" in said and "wrap 1," not in said
    assert "no leaf was weighed" in said
    assert "pH: no reading" not in said
    assert "computed from the bath, not measured in the paper" in said
    assert "an estimate, never a measurement" in said


def test_an_item_measured_once_has_no_change(tmp_path: Path) -> None:
    with report_studio(tmp_path / "s", pairs=0) as studio:
        only = add_capture(studio, "annual", "once", scan_bytes(1), "w01.outer.left", "before")
        add(studio, "annual", ("run.recorded", measured(only, 168.0, 0, 24.0)))
        view = prove_view(studio.state("annual"))
    assert view.pairs == () and view.totals == ()
    assert [entry.place for entry in view.unpaired] == ["w01.outer.left"]
    assert "The change of wrap 1: measured once" in " ".join(view.not_measured)
    assert view.margins[0][1].text == "0.2 %"


def with_inks(state: ItemState, *inks: tuple[str, float, str]) -> tuple[PairView, ...]:
    """The first pair of ``state`` with inks of these names, own changes and verdicts."""
    pair = prove_view(state).pairs[0]
    findings = []
    for name, value, verdict in inks:
        key = f"ink.{name.replace(' ', '_')}"
        findings += [
            Finding(f"{key}.f", f"{key}.dE00", "", value, 0.4, "1", smallest_seen=2.0),
            Finding(f"{key}.v", f"{key}.verdict", "", text=f"{name}: {verdict}"),
        ]
    run = Run("r1", "pair.compare", 2, "seeded", pair.place, (), findings=tuple(findings))
    return (replace(pair, inks=ink_lines(run)),)


def test_an_ink_that_changed_stands_in_the_summary(state: ItemState) -> None:
    lost = "lost about 11 % of its density, a change of 2.4"
    pairs = with_inks(
        state, ("dark ink", 0.1, "no change greater than 2.0 found"), ("red ink", 2.4, lost)
    )
    assert [ink.name for ink in pairs[0].inks_changed] == ["red ink"]
    says = {total.says: total for total in totals(pairs)}
    red = says["Change of the red ink (CIEDE2000)"]
    assert red.value.text == "2.40 ± 0.80"
    assert red.where == "Front cover: lost about 11 % of its density"
    assert not any("dark ink" in one for one in says)


def test_with_no_ink_changed_the_summary_says_what_could_hide(state: ItemState) -> None:
    rows = totals(with_inks(state, ("dark ink", 0.1, "no change greater than 2.0 found")))
    assert rows[-1].says.startswith("No ink found changed")
    assert (rows[-1].value.text, rows[-1].where) == ("2.0", "Front cover: dark ink")
    told = totals(with_inks(state, ("dark ink", 0.1, "cannot tell: the exposure changed")))
    assert not any("ink" in row.says for row in told)
