"""Inks through a fitted target: a scanner whose channels overlap, and the true colours known."""

from __future__ import annotations

import numpy as np
import pytest

from inked_pages import PAPER_AFTER, PAPER_BEFORE, PASSES, UM_PER_PX, inked_page
from quirewell.science.colour import fit_target
from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.colour.target_use import TargetUse, target_from_text, target_text, use_of
from quirewell.science.imaging.page_inks import PageInks, page_inks

# What each channel of the scanner takes of true red, green and blue light.
OVERLAP = np.array([[0.80, 0.16, 0.04], [0.12, 0.76, 0.12], [0.03, 0.14, 0.83]])
FADED = tuple(value**0.8 for value in PASSES["red"])


def target() -> TargetUse:
    light = np.random.default_rng(24).uniform(0.03, 0.9, (24, 3))
    light[18:] = np.linspace(0.05, 0.9, 6)[:, None]
    fit = fit_target(light @ OVERLAP.T, lab_from_linear(light))
    return target_from_text(target_text(use_of(fit)))


def measured(use: TargetUse | None) -> PageInks:
    page = inked_page(3, after={"red": FADED})
    before, after = ((light @ OVERLAP.T).astype(np.float32) for light in (page.before, page.after))
    found = page_inks(before, after, page.seen, UM_PER_PX, target=use)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def with_target() -> PageInks:
    return measured(target())


def miss(found: PageInks, name: str, moment: str) -> tuple[np.ndarray, np.ndarray]:
    """How far an ink's colour as given lies from the planted one, and its stated uncertainty."""
    ink = next(one for one in found.inks if one.name.startswith(name))
    passes = FADED if name == "red" and moment == "after" else PASSES[name]
    paper = np.array(PAPER_BEFORE if moment == "before" else PAPER_AFTER)
    true = lab_from_linear(paper * np.array(passes))
    return np.array(getattr(ink.own, moment)) - true, np.array(ink.own.u_seen)


@pytest.mark.parametrize("name", ["red", "yellow", "blue"])
@pytest.mark.parametrize("moment", ["before", "after"])
def test_colours_as_the_target_has_them_lie_inside_their_uncertainty(
    with_target: PageInks, name: str, moment: str
) -> None:
    off, u = miss(with_target, name, moment)
    assert np.all(np.abs(off) < 2 * u)
    assert u.max() < 4


def test_without_the_target_they_are_the_scanners_own_and_lie_elsewhere() -> None:
    off, _ = miss(measured(None), "red", "before")
    assert np.linalg.norm(off) > 8


def test_the_planted_loss_is_found_at_its_true_size_and_nothing_else(
    with_target: PageInks,
) -> None:
    red = next(ink for ink in with_target.inks if ink.name == "red ink")
    paper = np.array(PAPER_AFTER)
    planted = float(
        ciede2000(*(lab_from_linear(paper * np.array(p)) for p in (PASSES["red"], FADED)))
    )
    assert red.own.changed
    assert red.own.de00 == pytest.approx(planted, abs=2 * red.own.u_de00)
    plain = next(ink for ink in measured(None).inks if ink.name.endswith("red ink"))
    assert abs(red.own.de00 - planted) < abs(plain.own.de00 - planted)
    others = [ink.name for ink in with_target.inks if ink.own.changed and "red" not in ink.name]
    assert others == []


def test_the_term_says_that_it_is_the_targets(with_target: PageInks) -> None:
    says = {name: basis for name, _, basis in with_target.inks[0].own.terms}
    assert "fitted target" in says["colours"]
