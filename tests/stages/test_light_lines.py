"""Light and paper told apart, or openly not, in lines for a page and for an item."""

from __future__ import annotations

import pytest

from quirewell.record.finding import Finding, Run
from quirewell.stages.light_lines import (
    NOT_KEPT,
    OPEN,
    TOLD,
    TOO_FAR,
    light_in_all,
    light_line,
)


def run(id: str = "r1", warnings: tuple[str, ...] = (), **parts: tuple[float, float] | str) -> Run:
    """A comparison with the findings given as name=(value, u), "_" for the dot."""
    made = []
    for name, part in parts.items():
        quantity = name.replace("_", ".", 1)
        if isinstance(part, str):
            made.append(Finding(f"{id}.{name}", quantity, "w01", text=part))
        else:
            seen = 3.6 * part[1] if quantity == "light.dL" else None
            made.append(Finding(f"{id}.{name}", quantity, "w01", *part, "1", smallest_seen=seen))
    return Run(id, "pair.compare", 3, "seeded", "w01", (), findings=tuple(made), warnings=warnings)


def line(**parts: tuple[float, float] | str):  # type: ignore[no-untyped-def]
    return light_line(run(**parts), "w01", "Page 1")


def test_told_apart_the_sentence_has_every_part_with_its_uncertainty() -> None:
    one = line(paper_raw_dL=(5.61, 0.3), light_dL=(2.0, 0.25), paper_dL=(3.61, 0.4))
    assert one.word == TOLD and one.alike
    assert (
        one.says == "Of +5.61 ± 0.60 in L*, light and exposure made +2.00 ± 0.50, the paper "
        "+3.61 ± 0.80."
    )
    assert [name for name, _ in one.rows][-1] == "Left: the paper" and len(one.rows) == 3
    assert one.raw.refs == ("r1.paper_raw_dL",) and one.light.refs == ("r1.light_dL",)
    assert "tint is not taken out" in one.shown_as


def test_light_that_is_not_surely_there_is_said_with_what_would_have_been_seen() -> None:
    one = line(paper_raw_dL=(3.6, 0.3), light_dL=(0.0, 0.25), paper_dL=(3.6, 0.4))
    assert one.word == TOLD and not one.alike
    assert "no part is surely light or exposure (0.00 ± 0.50; from 0.90 on" in one.says
    assert "moved too little" in one.shown_as


def test_a_scanner_s_own_part_is_named() -> None:
    one = line(
        paper_raw_dL=(5.0, 0.3), light_dL=(0.9, 0.2), scanner_dL=(0.6, 0.1), paper_dL=(3.5, 0.4)
    )
    assert "the scanner’s own curve and colours +0.60 ± 0.20" in one.says and len(one.rows) == 4


@pytest.mark.parametrize(
    ("parts", "word", "says"),
    [
        ({"paper_raw_dL": (3.0, 0.3), "paper_dL": (3.0, 0.7)}, OPEN, "the strip beside the leaf"),
        ({"paper_raw_dL": (9.0, 0.3), "paper_dE00": "withheld: lit differently"}, TOO_FAR,
         "more than can honestly be taken out"),
        ({"paper_dL": (3.0, 0.7)}, NOT_KEPT, "before the light’s part was kept"),
        ({}, OPEN, "Too little bare paper"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_apart_is_said_openly(
    parts: dict[str, tuple[float, float] | str], word: str, says: str
) -> None:
    one = line(**parts)
    assert one.word == word and says in one.says
    assert "Left: the paper" not in [name for name, _ in one.rows]


def test_an_item_gives_the_middle_of_its_pages_and_counts_the_others() -> None:
    told = [
        light_line(
            run(f"r{n}", paper_raw_dL=(n, 0.3), light_dL=(1.0, 0.1 * n), paper_dL=(n - 1.0, 0.4)),
            f"w0{n}", f"Page {n}",
        )
        for n in (1, 2, 6)
    ]  # fmt: skip
    every = light_in_all([*told, line(paper_raw_dL=(3.0, 0.3), paper_dL=(3.0, 0.7))])
    assert (every.told, every.pages) == (3, 4)
    assert "On 3 of 4 pages" in every.says and "On 1: no strip in both pictures" in every.says
    rows = {name: entries for name, *entries in every.rows}
    middle, low, high = rows["Of that, light and exposure"]
    assert (middle.value, middle.u) == (1.0, pytest.approx(0.6))
    assert [one.value for one in rows["Left: the paper"]] == [1.0, 0.0, 5.0]
    assert len(middle.refs) == 3 and low.value == high.value == 1.0


def test_an_item_without_pages_has_no_rows() -> None:
    assert light_in_all([]).rows == ()
