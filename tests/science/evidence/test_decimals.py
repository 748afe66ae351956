from __future__ import annotations

from decimal import Decimal, localcontext

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from quirewell.science.evidence.decimals import centred, less


@example([0, 1], 10**25)
@given(st.lists(st.integers(-(10**6), 10**6), min_size=1, max_size=12), st.integers(0, 10**25))
def test_an_offset_of_any_size_leaves_the_differences_exact(small: list[int], offset: int) -> None:
    with localcontext(prec=60):  # the usual 28 digits would round the readings themselves
        values = [Decimal(offset) + Decimal(one) / 1000 for one in small]
        centre, rest = centred(values)
        wanted = [float(Decimal(one) / 1000 - (centre - Decimal(offset))) for one in small]
    assert centre in values
    assert rest.tolist() == pytest.approx(wanted, abs=0, rel=1e-15)


def test_nothing_and_no_number_are_refused() -> None:
    with pytest.raises(ValueError, match="got none"):
        centred([])
    with pytest.raises(ValueError, match="finite number"):
        centred([Decimal("Infinity")])
    with pytest.raises(ValueError, match="needs its partner"):
        less([Decimal(1)], [])
