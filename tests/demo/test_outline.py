"""The planted outline: its stated size and loss against its own area."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.demo.coverage import coverage, polygon_area
from quirewell.demo.outline import Loss, Movement, draw_outline, size_of

LOSSES = (
    Loss("chip", "right", 100.0, 0.0, 8.0, 4.0),
    Loss("chip", "foot", 50.0, 0.0, 5.0, 2.5),
    Loss("corner", "right", 0.0, 0.0, 9.0, 6.0),
    Loss("hole", "", 60.0, 120.0, 2.0, 1.5),
)


def test_size_less_loss_is_the_area_of_a_fine_mask() -> None:
    outline = draw_outline(np.random.default_rng(1), 190.0, 260.0, losses=LOSSES, shear=0.002)
    size = size_of(outline)
    mask = coverage([8.0 * (p + 2.0) for p in outline.polygons()], 2120, 1560)
    paper_mm2 = mask.sum(dtype=np.float64) / 64.0
    assert size.width_mm * size.height_mm - size.loss_mm2 == pytest.approx(paper_mm2, abs=0.5)


def test_planted_loss_has_the_area_of_the_shapes_cut_away() -> None:
    size = size_of(
        draw_outline(np.random.default_rng(2), 180.0, 250.0, losses=LOSSES, roughness_mm=0.0)
    )
    hole = np.pi * 1.0 * 0.75
    corner = 0.5 * 9.0 * 6.0
    chips = 0.78 * (8.0 * 4.0 + 5.0 * 2.5)
    assert size.loss_mm2 == pytest.approx(hole + corner + chips, rel=0.2)


def test_a_sheet_without_roughness_has_its_nominal_size() -> None:
    size = size_of(draw_outline(np.random.default_rng(3), 195.0, 265.0, roughness_mm=0.0))
    assert size.width_mm == pytest.approx(195.0, abs=1e-9)
    assert size.height_mm == pytest.approx(265.0, abs=1e-9)
    assert size.loss_mm2 == 0.0
    assert size.corner_deg == pytest.approx(90.0)


def test_stretch_is_what_was_planted_in_spite_of_warp_and_losses() -> None:
    outline = draw_outline(np.random.default_rng(5), 195.0, 265.0, losses=LOSSES, shear=0.001)
    after = size_of(outline.moved(Movement(0.003, 0.0005, 0.04, -0.03)))
    before = size_of(outline)
    assert after.width_mm / before.width_mm - 1 == pytest.approx(0.003, abs=2e-5)
    assert after.height_mm / before.height_mm - 1 == pytest.approx(0.0005, abs=2e-5)


def test_the_warp_has_no_mean_strain() -> None:
    y, x = np.mgrid[0:265:133j, 0:195:98j]
    wave, _ = Movement(warp_x_mm=0.04).waves(x, y)
    design = np.column_stack([np.ones(x.size), x.ravel(), y.ravel()])
    fit, *_ = np.linalg.lstsq(design, wave.ravel(), rcond=None)
    assert abs(fit[1]) < 1e-9
    assert abs(fit[2]) < 1e-9


def test_outline_turns_clockwise_and_holes_the_other_way() -> None:
    sheet, hole = draw_outline(
        np.random.default_rng(6), 100.0, 140.0, losses=(Loss("hole", "", 50.0, 70.0, 2.0, 2.0),)
    ).polygons()
    assert polygon_area(sheet) > 0 > polygon_area(hole)
