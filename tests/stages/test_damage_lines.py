"""Tears and stains of a page as lines: cells, what was set aside, and what is never left empty."""

from __future__ import annotations

from dataclasses import replace

from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Correction, Item, ItemState
from quirewell.science.imaging.stains import Stains
from quirewell.science.imaging.tears import Tears
from quirewell.stages.damage_lines import DamageLine, damage_lines
from quirewell.stages.measuring_damage import stains_words, tears_words
from quirewell.stages.results import page_results

PLACE = "w01.outer.left"
CAPTURE = Capture("p1", "a" * 64, "p1.png", "image/png", 500, 600, 1000, place=PLACE)


def run(*lengths: float, words: str = "", stains: str = "") -> Run:
    findings = [Finding("r1.0", "leaf.width_mm", PLACE, 168.4, 0.1, "mm")]
    if words:
        findings.append(Finding("r1.1", "leaf.tears_seen", PLACE, text=words))
    for number, length in enumerate(lengths, 1):
        name = f"leaf.tears.{number}.length_mm"
        findings.append(Finding(f"r1.t{number}", name, PLACE, length, 0.25, "mm"))
    if stains:
        findings += [Finding("r1.s", "stains.area_pct", PLACE, 1.24, 0.4, "%", smallest_seen=0.001),
                     Finding("r1.w", "stains.seen", PLACE, text=stains)]  # fmt: skip
    drawing = {"tears": "; ".join(f"{100 * n},10 {100 * n},40" for n, _ in enumerate(lengths))}
    inputs = (Input("image", "p1", "a" * 64),)
    return Run("r1", "leaf.measure", 2, "exact", PLACE, inputs, {}, tuple(findings),
               drawing=drawing)  # fmt: skip


def lines(one: Run, **correction: tuple[str, ...]) -> tuple[DamageLine, ...]:
    state = ItemState("annual", 1, Item("Annual"), captures={"p1": CAPTURE}, runs={"r1": one})
    if correction:
        held = Correction("p1", **correction)  # type: ignore[arg-type]
        state = replace(state, corrections={"correction.p1": held})
    (page,) = page_results(state)
    return damage_lines(page, state)


def test_a_line_says_how_many_how_long_how_much_and_what() -> None:
    one = run(4.0, 12.5, words="2 open tears proposed, to be confirmed by eye: limit",
              stains="2 small spots, 1 larger stain; a stain shows")  # fmt: skip
    (line,) = lines(one, tears=("100,10",))
    assert line.moment == "before"
    assert line.tears.text == "1 confirmed, 1 proposed"
    assert line.longest.text == "12.50 ± 0.50 mm"
    assert line.stained.text == "1.24 ± 0.80 %"
    assert line.stains.text == "2 small spots, 1 larger stain"


def test_every_cell_names_the_findings_it_came_from() -> None:
    one = run(4.0, 12.5, words="2 open tears proposed: limit", stains="1 small spot; limit")
    (line,) = lines(one)
    assert line.tears.refs == ("r1.1", "r1.t2", "r1.t1")
    assert line.longest.refs == ("r1.t2",)
    assert (line.stained.refs, line.stains.refs) == (("r1.s",), ("r1.w",))


def test_a_tear_set_aside_is_counted_and_never_the_longest() -> None:
    (line,) = lines(run(4.0, 12.5, words="2 open tears proposed: limit"), no_tears=("100,10",))
    assert line.tears.text == "1 proposed, 1 set aside"
    assert line.longest.text == "4.00 ± 0.50 mm"


def test_none_seen_says_what_would_have_been_seen() -> None:
    limit = tears_words(Tears((), 0.12))
    paper = Stains(0.0, 0.4, 20000.0, 3.1, 2.2, (), False)
    (line,) = lines(run(words=limit, stains=stains_words(paper)))
    assert line.tears.text == "none from 3 mm, gap 0.12 mm"
    assert not line.longest
    assert line.stains.text == "none from 0.3 mm², L* \u22123.1, b* +2.2"


def test_words_of_another_version_are_not_cut() -> None:
    (line,) = lines(run(words="no open tear seen", stains="no stain seen; in other words"))
    assert line.tears.text == "none seen"
    assert line.stains.text == "no stain seen; in other words"


def test_a_page_whose_tears_and_stains_were_not_looked_for_has_no_line() -> None:
    assert lines(run()) == ()
