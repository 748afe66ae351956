"""Inks of a comparison in lines."""

from __future__ import annotations

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


def test_a_comparison_without_inks_has_no_line() -> None:
    assert ink_lines(Run("r1", "pair.compare", 2, "seeded", "w01.outer.left", ())) == ()
    assert not is_ink("change.width_pct")
