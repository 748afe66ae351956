"""Tears as they are told: proposed, confirmed, and those a person said are none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Correction, Item, ItemState
from quirewell.stages.examine import picture_view
from quirewell.stages.tears_told import told_findings, told_tears

LIMIT = "tears of 3 mm with a gap of 0.10 mm or more show; closed tears do not"
LENGTHS = (4.2, 11.5, 7.0)


def run() -> Run:
    findings = [
        Finding("r1.0", "leaf.tears_seen", "", text=f"3 open tears proposed, to be confirmed by "
                f"eye: {LIMIT}"),
        Finding("r1.1", "leaf.width_mm", "", 168.4, 0.1, "mm"),
    ]  # fmt: skip
    for number, length in enumerate(LENGTHS, 1):
        name = f"leaf.tears.{number}"
        note = "head edge, 60.0 mm from its left end; proposed; at least so long"
        findings += [
            Finding(f"r1.{number}a", f"{name}.length_mm", "", length, 0.5, "mm", note=note),
            Finding(f"r1.{number}b", f"{name}.edge", "", text="head"),
        ]
    drawing = {"tears": "10,10 20,12 30,15; 250,50 260,55; 390,90 399,99"}
    inputs = (Input("image", "p1", "a" * 64),)
    return Run("r1", "leaf.measure", 2, "exact", "w01.outer.left", inputs, {}, tuple(findings),
               drawing=drawing)  # fmt: skip


def test_unanswered_every_tear_is_told_and_the_words_stay_as_measured() -> None:
    told = told_tears(run(), None)
    assert [tear.number for tear in told.kept] == [2, 3, 1] and not told.aside
    assert told.longest is not None and told.longest.value == 11.5
    assert told.seen is not None and told.seen.text == run().findings[0].text
    assert told_findings(run(), None) == run().findings


def test_a_tear_said_to_be_none_is_left_out_and_counted() -> None:
    held = Correction("p1", no_tears=("251,52",), tears=("390,90",))
    told = told_tears(run(), held)
    assert [(tear.number, tear.said) for tear in told.kept] == [(3, "confirmed"), (1, "proposed")]
    assert [tear.number for tear in told.aside] == [2]
    assert told.longest is not None and told.longest.value == 7.0
    assert "; confirmed; at least" in told.longest.note
    assert told.seen is not None and told.seen.text == (
        "1 open tear confirmed by eye, 1 proposed, to be confirmed by eye, 1 set aside as no "
        f"tear: {LIMIT}"
    )
    names = [finding.quantity for finding in told_findings(run(), held)]
    assert "leaf.width_mm" in names and "leaf.tears.1.edge" in names
    assert not any(name.startswith("leaf.tears.2.") for name in names)


def test_when_all_are_set_aside_no_tear_is_left_and_the_limit_is_still_said() -> None:
    told = told_tears(run(), Correction("p1", no_tears=("10,10", "250,50", "390,90")))
    assert told.kept == () and told.longest is None
    assert told.seen is not None
    assert told.seen.text == f"no open tear, 3 set aside as no tear: {LIMIT}"


def test_an_answer_far_from_every_tear_hides_nothing() -> None:
    assert len(told_tears(run(), Correction("p1", no_tears=("600,600",))).kept) == 3


@pytest.mark.parametrize("drawing", [{}, {"tears": "x"}, {"tears": "10,10 20,12"}])
def test_a_tear_whose_course_is_not_drawn_is_told_as_proposed(drawing: dict[str, str]) -> None:
    held = Correction("p1", no_tears=("250,50",))
    told = told_tears(replace(run(), drawing=drawing), held)
    assert len(told.kept) == 3 and told.kept[0].start is None


def test_no_measurement_tells_no_tears() -> None:
    told = told_tears(None, None)
    assert (told.kept, told.aside, told.seen) == ((), (), None)


def test_the_page_of_a_picture_leaves_out_what_was_set_aside() -> None:
    capture = Capture("p1", "a" * 64, "p1.png", "image/png", 500, 600, 1000, place="w01.outer.left")
    state = ItemState("annual", 1, Item("Annual"), captures={"p1": capture}, runs={"r1": run()})
    held = Correction("p1", no_tears=("10,10",))
    shown = picture_view(replace(state, corrections={"correction.p1": held}), capture)
    quantities = [entry.quantity for entry in shown.findings]
    assert "leaf.tears.1.length_mm" not in quantities and "leaf.tears.2.length_mm" in quantities
    words = next(entry.said for entry in shown.findings if entry.quantity == "leaf.tears_seen")
    assert "2 open tears proposed" in words and "1 set aside" in words
