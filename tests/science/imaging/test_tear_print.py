"""A tear that runs into print is followed on only where it goes farther than chance would."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from quirewell.science.imaging.tear_print import followed
from quirewell.science.imaging.tear_strip import EdgeStrip

STEP, SHAPE, INTO, MIDDLE = 0.1, (520, 600), 150, 300


def _strip(seed: int, goes_on_to: int, print_from: int = INTO) -> EdgeStrip:
    """A tear down the middle on bare paper, then print that speaks here and there for one."""
    rng = np.random.default_rng(seed)
    grain = ndimage.gaussian_filter(rng.normal(0, 1, SHAPE), 1.2)
    evidence = np.full(SHAPE, -0.5, np.float32)
    needed = np.full(SHAPE, 0.3, np.float32)
    evidence[print_from:] = (0.3 + 0.2 * grain / grain.std())[print_from:]
    needed[print_from:] = 0.7
    evidence[: min(INTO, goes_on_to), MIDDLE] = 0.9
    evidence[INTO:goes_on_to, MIDDLE] = 0.8
    return EdgeStrip(
        side="head", share=np.clip(evidence, 0, 1), evidence=evidence,
        entry=np.zeros(SHAPE, bool), needed=needed, x_px=np.zeros(SHAPE, np.float32),
        y_px=np.zeros(SHAPE, np.float32), step_mm=STEP, first_row=0, smallest_gap_mm=0.1,
        light=False, from_mm=0.0,
    )  # fmt: skip


def _seen(strip: EdgeStrip, to: int = INTO):
    rows = list(range(to))
    return followed(strip, rows, [MIDDLE] * len(rows))


@pytest.mark.parametrize("seed", range(4))
def test_a_tear_that_goes_on_through_print_is_followed_to_its_end(seed: int) -> None:
    end = _seen(_strip(seed, INTO + 100))
    assert abs(end.rows[-1] - (INTO + 100)) * STEP <= 1.5
    assert not end.plain


@pytest.mark.parametrize("seed", range(6))
def test_print_alone_does_not_lengthen_a_tear(seed: int) -> None:
    end = _seen(_strip(seed, INTO))
    assert end.rows[-1] == INTO - 1
    assert end.columns[-1] == MIDDLE


def test_an_end_on_bare_paper_that_nothing_goes_on_from_is_plain() -> None:
    end = _seen(_strip(1, INTO, print_from=INTO + 20))
    assert end.plain
    assert end.rows[-1] == INTO - 1
