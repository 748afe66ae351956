"""Inks before and after: the planted change is found, and nothing else."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from inked_pages import PAPER_AFTER, PASSES, UM_PER_PX, InkedPage, inked_page
from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.imaging.ink_names import hue_word, name_inks, overprints
from quirewell.science.imaging.page_inks import FINE, Ink, PageInks, page_inks

FADED = tuple(value**0.85 for value in PASSES["red"])


def measured(page: InkedPage, **options: Any) -> PageInks:
    found = page_inks(page.before, page.after, page.seen, UM_PER_PX, **options)
    assert found is not None
    return found


def by_name(found: PageInks) -> dict[str, Ink]:
    return {ink.name: ink for ink in found.inks}


def planted_de00() -> float:
    """CIEDE2000 of the faded red against the red that kept its colour, on the treated paper."""
    paper = np.array(PAPER_AFTER)
    kept, faded = (lab_from_linear(paper * np.array(p)) for p in (PASSES["red"], FADED))
    return float(ciede2000(kept, faded))


@pytest.fixture(scope="module")
def faded() -> PageInks:
    return measured(inked_page(1, after={"red": FADED}))


def test_the_faded_ink_is_found_and_its_size_is_right(faded: PageInks) -> None:
    red = by_name(faded)["red ink"]
    assert red.own.changed
    assert red.own.de00 == pytest.approx(planted_de00(), abs=2 * red.own.u_de00)
    assert red.own.de00 == pytest.approx(planted_de00(), abs=0.3)
    assert red.verdict.startswith("lost about 1")
    assert red.own.places > 10 and red.own.area_mm2 > 500


def test_no_other_ink_is_called_changed(faded: PageInks) -> None:
    others = [ink for ink in faded.inks if ink.name != "red ink"]
    assert {"yellow ink", "blue ink", "dark ink", FINE} <= {ink.name for ink in others}
    assert not [ink.name for ink in others if ink.own.changed]
    assert all("no " in ink.verdict and " found" in ink.verdict for ink in others)


def test_the_papers_change_is_seen_but_not_put_down_to_the_ink(faded: PageInks) -> None:
    yellow = by_name(faded)["yellow ink"]
    assert yellow.change.seen_de00 > 2.5
    assert yellow.own.de00 < 0.4
    assert yellow.change.paper_de00 == pytest.approx(yellow.change.seen_de00, abs=0.3)


def test_two_inks_on_each_other_bear_both_names(faded: PageInks) -> None:
    green = by_name(faded)["yellow and blue inks together"]
    assert set(green.parts) == {"yellow ink", "blue ink"}


def test_an_overprint_follows_the_ink_in_it() -> None:
    lost = tuple(value**0.6 for value in PASSES["blue"])
    found = by_name(measured(inked_page(2, after={"blue": lost})))
    green = found["yellow and blue inks together"]
    assert found["blue ink"].own.changed
    assert green.change.changed and not green.own.changed
    assert green.verdict.startswith("follows the blue ink in it")


def test_an_ink_that_grew_stronger_is_said_to_gain() -> None:
    stronger = tuple(value**1.25 for value in PASSES["yellow"])
    yellow = by_name(measured(inked_page(3, after={"yellow": stronger})))["yellow ink"]
    assert yellow.own.changed and yellow.verdict.startswith("gained about 2")


def test_an_ink_that_turned_is_said_to_change_hue() -> None:
    turned = by_name(measured(inked_page(4, after={"red": (0.5, 0.05, 0.22)})))
    assert turned["red ink"].verdict.startswith("changed in hue")


def test_a_run_ink_is_found_in_the_paper_round_it() -> None:
    found = by_name(measured(inked_page(5, bleed_of="red", bleed=0.2)))
    red, blue = found["red ink"].bleed, found["blue ink"].bleed
    assert red is not None and red.bled and red.towards > 0.9
    assert "bled into the paper" in found["red ink"].verdict
    assert blue is not None and not blue.bled


def test_nothing_is_called_where_nothing_changed() -> None:
    called = []
    for seed in range(10, 18):
        found = measured(inked_page(seed, noise=0.008))
        called += [ink.name for ink in found.inks if ink.own.changed]
        called += [ink.name for ink in found.inks if ink.bleed is not None and ink.bleed.bled]
    assert called == []


def test_type_alone_is_compared_by_area_and_says_so() -> None:
    page = inked_page(6, only=("black",))
    page.before[190:310, 370:480] = page.before[320:330, 370:480].mean(axis=0)
    page.after[190:310, 370:480] = page.after[320:330, 370:480].mean(axis=0)
    found = measured(page)
    assert [ink.name for ink in found.inks] == [FINE]
    assert found.inks[0].verdict.startswith("too fine to measure its colour; no difference")


def test_a_changed_exposure_withholds_every_verdict(faded: PageInks) -> None:
    found = measured(inked_page(1, after={"red": FADED}), exposure_changed=True)
    assert len(found.inks) == len(faded.inks)
    assert all(ink.verdict.startswith("cannot tell") for ink in found.inks)


def test_a_page_without_bare_paper_is_not_compared() -> None:
    page = inked_page(7)
    nowhere = np.zeros_like(page.seen)
    assert page_inks(page.before, page.after, nowhere, UM_PER_PX) is None


def test_pictures_on_two_grids_are_refused() -> None:
    page = inked_page(8)
    with pytest.raises(ValueError, match="one grid"):
        page_inks(page.before, page.after[1:], page.seen, UM_PER_PX)


def test_the_same_pictures_give_the_same_numbers(faded: PageInks) -> None:
    again = measured(inked_page(1, after={"red": FADED}))
    assert [ink.own for ink in again.inks] == [ink.own for ink in faded.inks]


@pytest.mark.parametrize(
    ("passes", "word"),
    [
        (PASSES["red"], "red"),
        (PASSES["yellow"], "yellow"),
        (PASSES["blue"], "blue"),
        (PASSES["black"], "dark"),
        ((0.05, 0.35, 0.08), "green"),
        ((0.85, 0.35, 0.05), "orange"),
        ((0.30, 0.06, 0.40), "purple"),
        ((0.9, 0.55, 0.6), "pink"),
        ((0.5, 0.5, 0.5), "grey"),
        ((0.20, 0.10, 0.04), "brown"),
        ((0.02, 0.10, 0.03), "dark green"),
    ],
)
def test_inks_are_called_by_their_hue(passes: tuple[float, float, float], word: str) -> None:
    assert hue_word(passes) == word


def test_a_third_layer_is_taken_apart_and_a_name_that_comes_again_is_numbered() -> None:
    red, blue, black = (PASSES[ink] for ink in ("red", "blue", "black"))
    both = tuple(a * b for a, b in zip(red, blue, strict=True))
    assert overprints([red, blue, black, both])[3] == (0, 1)
    names = [entry.name for entry in name_inks([red, (0.55, 0.09, 0.08), black])]
    assert names == ["red ink", "red ink (2)", "dark ink"]
