"""All pairs on one sheet: words, filter, inks of all pages, and what could not be mended."""

from __future__ import annotations

from dataclasses import replace

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Item, ItemState, Remaining
from quirewell.stages.contact_sheet import contact_sheet, paper_word


def finding(run: str, quantity: str, value: float | None = None, u: float | None = None,
            text: str = "") -> Finding:  # fmt: skip
    seen = 3.3 * u if u else None
    return Finding(f"{run}.{quantity}", quantity, "x", value, u, "1", text=text, smallest_seen=seen)


def compared(place: str, dL: float, red: str, size: str = "unchanged within 0.5 %") -> Run:
    run = f"p-{place}"
    parts = [finding(run, f"paper.d{axis}", dL, 0.4) for axis in "Lab"]
    red_parts = [
        finding(run, f"ink.red_ink.{what}", value, 0.3)
        for what, value in (("dE00", 2.4), ("own_dL", 2.4), ("own_dC", -2.6), ("own_dH", 0.1),
                            ("a_after", 40.0), ("b_after", 20.0))
    ]  # fmt: skip
    return Run(
        run, "pair.compare", 3, "seeded", place, (),
        findings=(*parts, *red_parts, finding(run, "ink.red_ink.verdict", text=f"red ink: {red}"),
                  finding(run, "verdict", text=size)),
        drawing={"before_size_px": "1000 2000", "before_to_after_px": "1 0 0;0 1 0"},
    )  # fmt: skip


def state() -> ItemState:
    runs = (
        compared("c.outer.right", 3.0, "lost about 11 % of its density, a change of 2.4"),
        compared("w01.outer.right", 0.3, "no change greater than 1.6 found; bled into the paper "
                 "round it by 2.0"),
        compared("w01.inner.left", 0.3, "no change greater than 1.6 found"),
        compared("w02.outer.right", 0.3, "cannot tell: lit differently", "cannot tell: a"),
    )  # fmt: skip
    remaining = (
        Remaining("m1", "item", "Chips are as they were."),
        Remaining("m2", "w01.inner", "A tideline can be seen."),
    )
    empty = ItemState("annual", 1, Item("Copperbeck Garden Annual"))
    return replace(
        empty,
        runs={run.id: run for run in runs},
        remaining={entry.id: entry for entry in remaining},
    )


def test_each_page_has_a_word_for_each_look_and_the_filter_keeps_to_it() -> None:
    every = contact_sheet(state())
    words = {one.place: dict(one.words) for one in every.entries}
    assert words["c.outer.right"] == {
        "size": "unchanged", "paper": "changed", "inks": "changed", "all": "changed",
    }  # fmt: skip
    assert words["w01.outer.right"]["all"] == "changed", "an ink that bled"
    assert words["w01.inner.left"]["all"] == "unchanged"
    assert words["w02.outer.right"]["all"] == "cannot tell"
    assert [one.place for one in contact_sheet(state(), "changed", "paper").entries] == [
        "c.outer.right"
    ]
    one = contact_sheet(state(), "cannot tell", "nonsense")
    assert [entry.place for entry in one.entries] == ["w02.outer.right"] and one.total == 4
    assert sum(one.counts.values()) == 4
    assert (one.entries[0].width_px, one.entries[0].height_px) == (125, 250)


def test_inks_of_all_pages_say_where_and_which_way() -> None:
    (red,) = contact_sheet(state()).inks
    assert red.pages == 4 and red.untold == 1
    assert [place for place, _ in red.changed] == ["c.outer.right", "w01.outer.right"]
    assert [place for place, _ in red.bled] == ["w01.outer.right"]
    assert red.ways == "lighter, paler in colour"


def test_an_ink_not_found_changed_is_given_no_direction() -> None:
    entries = {one.place: one for one in contact_sheet(state()).entries}
    (ink,) = entries["w01.inner.left"].inks
    assert ink.ways == "no direction surely seen" and len(ink.parts) == 3


def test_what_could_not_be_mended_comes_with_its_picture() -> None:
    sheet = contact_sheet(state())
    (whole, where, none), (tide, place, shot) = sheet.remaining
    assert (whole.words, where, none) == ("Chips are as they were.", "The whole", None)
    assert tide.words.startswith("A tideline") and "inner side" in place
    assert shot is not None and shot.place == "w01.inner.left"
    ((entry, ink),) = sheet.bled
    assert entry.place == "w01.outer.right" and ink.bled


def test_the_paper_s_word_needs_all_three_parts() -> None:
    run = compared("w01.outer.right", 0.3, "no change greater than 1.6 found")
    assert paper_word(run) == "unchanged"
    assert paper_word(replace(run, findings=run.findings[1:])) == "cannot tell"


def test_stains_and_losses_count_as_left_only_where_surely_seen_twice() -> None:
    from quirewell.stages.contact_sheet import still_there
    from quirewell.stages.results import PageResult

    def page(name: str, before: tuple[float, float], after: tuple[float, float]) -> PageResult:
        runs = [
            Run(f"{name}{n}", "leaf.measure", 2, "exact", name, (),
                findings=(finding(f"{name}{n}", "stains.area_pct", *value),
                          finding(f"{name}{n}", "leaf.tears_seen", text=tears)))
            for n, (value, tears) in enumerate(((before, "2 open tears proposed"),
                                                (after, "no open tear seen")))
        ]  # fmt: skip
        return PageResult(name, "w01", "w01.left", name, runs[0], runs[1], None)

    rows = still_there((page("a", (2.0, 0.2), (1.0, 0.2)), page("b", (2.0, 0.2), (0.2, 0.2))))
    assert [(row.what, row.place) for row in rows] == [("Stained share of the paper", "a")]
