"""Planted truths must lie inside the stated uncertainty, over 200 seeds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from paired_pages import printed_page, random_plant, shoot
from quirewell.science.imaging.register import Registration, register
from quirewell.science.imaging.strain import sheet_strain

SHAPE = (340, 260)
CHUNK = 50


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, 200, CHUNK))
def test_planted_strains_lie_inside_the_match_uncertainty(first: int) -> None:
    scores = []
    for seed in range(first, first + CHUNK):
        rng = np.random.default_rng([20, seed])
        page = printed_page(rng, SHAPE)
        truth = random_plant(rng, SHAPE)
        before = shoot(rng, page)
        after = shoot(rng, page, truth.affine, gain=0.9, lift=30)
        result = register(before, after)
        assert isinstance(result, Registration), f"seed {seed}: {result}"
        strain = sheet_strain(result.fit)
        scores.append((strain.exx - truth.exx) / strain.u_exx)
        scores.append((strain.eyy - truth.eyy) / strain.u_eyy)
        assert max(strain.u_exx, strain.u_eyy) < 8e-5, "an uncertainty so wide covers anything"
    inside = int(np.sum(np.abs(scores) < 1.96))
    # Not fewer than 95 % coverage allows at 1 in 10 000, and no miss beyond 5 u.
    assert inside >= stats.binom.ppf(1e-4, len(scores), 0.95)
    assert np.abs(scores).max() < 5
