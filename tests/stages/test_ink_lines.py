"""Inks of a comparison in lines."""

from __future__ import annotations

import pytest

from quirewell.record.finding import Finding, Run
from quirewell.stages.ink_lines import ink_lines, is_ink


def finding(quantity: str, value: float | None, u: float = 0.0, **more: object) -> Finding:
    return Finding(quantity, quantity, "w01.outer.left", value, u, **more)  # type: ignore[arg-type]


def test_each_ink_is_one_line_with_its_verdict_and_what_would_have_been_seen() -> None:
    run = Run(
        "r1", "pair.compare", 2, "seeded", "w01.outer.left", (),
        findings=(
            finding("change.width_pct", 0.1, 0.05, unit="%"),
            finding("ink.red_ink.dE00", 2.31, 0.2, unit="1", smallest_seen=0.66),
            finding("ink.red_ink.seen_dE00", 4.4, 0.2, unit="1"),
            finding("ink.red_ink.area_mm2", 312.0, 6.0, unit="mm2"),
            finding("ink.red_ink.verdict", None, text="red ink: lighter: 2.3"),
            finding("ink.dark_ink.dE00", 0.2, 0.2, unit="1", smallest_seen=0.7),
            finding("ink.dark_ink.bleed_dE00", 0.1, 0.1, unit="1"),
            finding("ink.dark_ink.verdict", None, text="dark ink: no change greater than 0.7"),
            finding("ink.broken.dE00", 1.0, 0.1, unit="1"),
        ),
    )  # fmt: skip
    red, dark = ink_lines(run)
    assert (red.name, red.verdict) == ("red ink", "lighter: 2.3")
    assert (red.own.text, red.smallest.text, red.seen.text) == (
        "2.31 ± 0.40",
        "0.66",
        "4.40 ± 0.40",
    )
    assert red.area == "312 mm²" and not red.bleed
    assert dark.verdict == "no change greater than 0.7" and dark.bleed.text == "0.10 ± 0.20"
    assert red.own.refs == ("ink.red_ink.dE00",)


@pytest.mark.parametrize(
    ("verdict", "changed"),
    [
        ("lost about 11 % of its density, a change of 2.4", True),
        ("gained about 3 % of its density, a change of 1.9", True),
        ("changed in hue by 3.0", True),
        ("no change greater than 1.6 found; bled into the paper round it by 2.0", True),
        ("too fine to measure its colour; area average lighter by 3.1 than the paper's change "
         "explains; dark ink in it covers 30 % of the paper, no change greater than 2.5 points "
         "found", True),
        ("too fine to measure its colour; no difference of area averages greater than 2.0 found; "
         "dark ink in it covers 36 % of the paper and lost 4.2 points of it", True),
        ("no change greater than 1.6 found", False),
        ("follows the red ink in it; no change greater than 3.7 found beyond that", False),
        ("too fine to measure its colour; no difference of area averages greater than 2.0 found; "
         "how much of it is ink was not told: that takes a solid of each ink on this page, and "
         "two inks at most in a place", False),
        ("cannot tell: the strip's grey steps show that the scanner changed its exposure between "
         "the two scans", False),
    ],
)  # fmt: skip
def test_an_ink_counts_as_changed_when_its_verdict_says_so(verdict: str, changed: bool) -> None:
    run = Run(
        "r1", "pair.compare", 2, "seeded", "w01.outer.left", (),
        findings=(finding("ink.red_ink.verdict", None, text=f"red ink: {verdict}"),),
    )  # fmt: skip
    assert ink_lines(run)[0].changed is changed


def test_a_brief_verdict_leaves_the_number_to_what_stands_beside_it() -> None:
    lost = (
        "red ink: lost about 11 % of its density, a change of 2.4; "
        "bled into the paper round it by 2.0"
    )
    run = Run(
        "r1", "pair.compare", 2, "seeded", "w01.outer.left", (),
        findings=(
            finding("ink.red_ink.dE00", 2.41, 0.4, unit="1"),
            finding("ink.red_ink.verdict", None, text=lost),
        ),
    )  # fmt: skip
    (red,) = ink_lines(run)
    assert red.brief == "lost about 11 % of its density; bled into the paper round it by 2.0"


def test_a_comparison_without_inks_has_no_line() -> None:
    assert ink_lines(Run("r1", "pair.compare", 2, "seeded", "w01.outer.left", ())) == ()
    assert not is_ink("change.width_pct")
