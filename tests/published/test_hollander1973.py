"""Signed ranks on nine patients before and after therapy (``hollander1973``).

Standing: readings, V = 40 and one-sided p = 0.01953 from memory (they are an example of R's own
test); V, p = 10/2^9 and the middle 0.46 are computed.
"""

from __future__ import annotations

import pytest

from quirewell.science.evidence.ordinal import signed_rank

BEFORE = [1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30]
AFTER = [0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29]


def test_the_depression_scale_went_down() -> None:
    found = signed_rank(BEFORE, AFTER)
    assert found.v == 40 and found.same == 0
    assert found.p_down == pytest.approx(10 / 2**9, rel=1e-12)
    assert found.p == pytest.approx(0.0390625, rel=1e-12)
    assert found.p_up > 0.98
    assert found.middle == pytest.approx(-0.46, abs=5e-4)
