"""Halftone taken apart: planted dots seen from spectra, with a dot gain the fit does not know."""

from __future__ import annotations

import numpy as np
import pytest

from halftone_tiles import planted
from inked_pages import UM_PER_PX, inked_page
from quirewell.science.imaging.halftone import SCREENS, Tiles, Unmixed, unmix
from quirewell.science.imaging.page_inks import FINE, Ink, page_inks

# Scatter of the paper's change between two averages that each scatter by 0.01.
SCATTER = 0.0142
SETS = (("black",), ("red",), ("blue",), ("yellow",), ("red", "black"), ("red", "yellow"))


def told(seed: int, inks: tuple[str, ...], most_lost: float) -> list[tuple[float, float, bool]]:
    """Error, uncertainty and whether it was called, of each ink of one planted halftone."""
    rng = np.random.default_rng([seed, 5])
    page = planted(seed, inks, rng.uniform(0, most_lost, len(inks)) if most_lost else 0.0)
    found = unmix(page.tiles, page.passes, SCATTER, SCREENS)
    out = []
    for cover in found.covers:
        true = (page.after - page.before)[cover.used, cover.index].mean()
        out.append((cover.change - true, cover.u, cover.changed))
    return out


def test_planted_losses_lie_inside_their_uncertainty() -> None:
    runs = [one for seed in range(96) for one in told(seed, SETS[seed % len(SETS)], 0.3)]
    errors, u, _ = (np.array(column) for column in zip(*runs, strict=True))
    assert len(runs) > 100
    assert 0.93 <= np.mean(np.abs(errors) <= 1.96 * u) <= 1.0
    assert np.median(u) < 0.015
    assert 0.5 < np.std(errors / u) < 1.1


def test_a_change_of_the_paper_alone_is_not_called_a_loss_of_ink() -> None:
    runs = [one for seed in range(200, 296) for one in told(seed, SETS[seed % len(SETS)], 0.0)]
    assert len(runs) > 100
    assert np.mean([called for _, _, called in runs]) <= 0.05


def test_a_loss_of_a_third_of_the_cover_is_called() -> None:
    page = planted(7, ("black",), 0.33)
    (cover,) = unmix(page.tiles, page.passes, SCATTER).covers
    assert cover.changed and cover.change < -0.1
    assert cover.before == pytest.approx(page.before.mean(), abs=0.12)
    assert {name for name, _, _ in cover.terms} == {
        "places", "gain", "paper", "scanner", "surface", "channels", "solids",
    }  # fmt: skip
    assert cover.u == pytest.approx(np.sqrt(sum(u**2 for _, u, _ in cover.terms)))


@pytest.mark.parametrize(
    ("printed", "solids"),
    [
        (("blue",), ("red", "black")),
        (("black",), ("blue", "yellow")),
        (("red", "blue"), ("red", "black")),
        (("red", "yellow", "black"), ("red", "yellow", "black")),
    ],
)
def test_ink_without_a_solid_and_three_inks_on_each_other_are_not_told(
    printed: tuple[str, ...], solids: tuple[str, ...]
) -> None:
    for seed in range(8):
        page = planted(seed, printed, 0.2, solids_of=solids)
        assert unmix(page.tiles, page.passes, SCATTER).covers == ()


def test_no_solids_or_no_tiles_tell_nothing() -> None:
    page = planted(1, ("black",))
    assert unmix(page.tiles, [], SCATTER) == Unmixed((), 0.0)
    none = np.zeros((0, 3))
    empty = Tiles(none, none, none, none, np.zeros(0, dtype=np.intp))
    assert unmix(empty, page.passes, SCATTER) == Unmixed((), 0.0)


def fine_print(**planting: object) -> Ink:
    page = inked_page(2, **planting)  # type: ignore[arg-type]
    found = page_inks(page.before, page.after, page.seen, UM_PER_PX)
    assert found is not None
    return next(ink for ink in found.inks if ink.name == FINE)


def test_a_page_whose_paper_alone_changed_keeps_its_cover() -> None:
    fine = fine_print()
    covers = dict(fine.covers)
    assert "dark ink" in covers
    assert not [name for name, cover in covers.items() if cover.changed]
    assert "dark ink in it covers" in fine.verdict and "no change greater than" in fine.verdict


def test_type_that_lost_ink_is_told_from_paper_that_changed() -> None:
    dark = dict(fine_print(fine_left={"black": 0.6}).covers)["dark ink"]
    assert dark.changed
    assert dark.change == pytest.approx(-0.4 * dark.before, abs=2 * dark.u + 0.06)


def test_print_without_a_solid_of_its_ink_says_that_it_was_not_told() -> None:
    page = inked_page(6, only=("black",))
    page.before[190:310, 370:480] = page.before[320:330, 370:480].mean(axis=0)
    page.after[190:310, 370:480] = page.after[320:330, 370:480].mean(axis=0)
    found = page_inks(page.before, page.after, page.seen, UM_PER_PX)
    assert found is not None
    assert found.inks[0].covers == () and "was not told" in found.inks[0].verdict


@pytest.mark.parametrize("n", [1.0, 1.7, 2.2])
def test_one_ink_obeys_the_equation_in_densities(n: float) -> None:
    """a = (1 - 10^(-Dt/n)) / (1 - 10^(-Ds/n)) of tint and solid (``yule1951``; Murray and Davies
    at n = 1)."""
    tint, solid = 0.42, 1.30
    light = np.full((60, 3), 0.6 * 10**-tint)
    paper = np.full((60, 3), 0.6)
    tiles = Tiles(light, light, paper, paper, np.repeat(np.arange(3), 20))
    (cover,) = unmix(tiles, [(10**-solid,) * 3], 0.01, (n, n)).covers
    share = (1 - 10 ** (-tint / n)) / (1 - 10 ** (-solid / n))
    assert cover.before == pytest.approx(share, abs=1e-6)
    assert cover.change == pytest.approx(0.0, abs=1e-12)
