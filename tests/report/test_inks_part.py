"""Inks in the report: those found changed, and what was looked at in vain, each number traced."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Item, ItemState
from quirewell.report.inks import inks_part
from quirewell.report.model import known_refs, settle
from quirewell.stages.prove import prove_view

UNTOLD = "too fine to measure its colour; no difference of area averages greater than 2.0 found"


def compared(place: str, *inks: tuple[str, str, float, float]) -> Run:
    """A comparison with inks: name, verdict, own change, smallest change seen."""
    run, findings = f"r-{place}", []
    for name, verdict, change, smallest in inks:
        key = f"ink.{name.replace(' ', '_')}"
        findings += [
            Finding(f"{run}.{key}.d", f"{key}.dE00", place, change, 0.4, "1",
                    smallest_seen=smallest),
            Finding(f"{run}.{key}.v", f"{key}.verdict", place, text=f"{name}: {verdict}"),
        ]  # fmt: skip
    return Run(run, "pair.compare", 2, "seeded", place, (), {}, tuple(findings))


def state(*runs: Run) -> ItemState:
    return ItemState("annual", 1, Item("Annual"), runs={run.id: run for run in runs})


def part(of: ItemState) -> dict[str, Any]:
    return settle(inks_part(prove_view(of), of), known_refs(of)).content


def test_a_changed_ink_stands_first_and_the_rest_are_one_row_with_a_range() -> None:
    found = state(
        compared("c.outer.right",
                 ("red ink", "lost about 11 % of its density, a change of 2.4", 2.41, 2.0),
                 ("blue ink", "no change greater than 1.6 found", 0.1, 1.6)),
        compared("w01.outer.left", ("dark ink", "no change greater than 3.3 found", 0.2, 3.3),
                 ("fine print", UNTOLD, 0.1, 2.0)),
    )  # fmt: skip
    rows = part(found)
    assert rows["found"] == [
        ["Front cover", "red ink", "2.41 ± 0.80", "", "lost about 11 % of its density"]
    ]
    solid, fine, untold = rows["none"]
    assert solid[1:] == ["2", "2", "1.6 to 3.3"]
    assert fine[1:] == ["1", "1", "2.0"]
    assert "not told" in untold[0] and untold[1:] == ["1", "1", ""]


def test_a_range_and_its_counts_name_every_finding_they_were_taken_from() -> None:
    places = ("w01.outer.left", "w01.outer.right", "w02.outer.left")
    found = state(*(compared(p, ("dark ink", "no change greater than 2.5 found", 0.1, 2.5))
                    for p in places))  # fmt: skip
    (row,) = inks_part(prove_view(found), found)["none"]
    _, pages, looks, span = row
    assert set(pages.refs) == {f"run:r-{place}" for place in places}
    assert looks.value == 3 and set(looks.refs) == set(span.refs)
    assert set(span.refs) == {f"r-{place}.ink.dark_ink.d" for place in places}


def test_an_ink_whose_verdict_was_withheld_is_not_among_those_found_unchanged() -> None:
    why = "cannot tell: one of the two scans was sharpened or softened, which inks do not bear"
    found = state(compared("c.outer.right", ("red ink", why, 1.4, 2.0)))
    assert part(found) == {
        "found": [],
        "none": [[why[:1].upper() + why[1:], "1", "1", ""]],
    }


def test_an_item_without_inks_has_no_row() -> None:
    assert part(state(compared("c.outer.right"))) == {"found": [], "none": []}
