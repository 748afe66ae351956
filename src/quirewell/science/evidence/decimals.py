"""Readings as they were typed: centred in decimal, before a float can lose their last digits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Context, Decimal, localcontext

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_DIGITS = 60


def centred(values: Sequence[Decimal]) -> tuple[Decimal, Array]:
    """The middle reading, and each reading less it (same unit), exact before it becomes a float.

    Converted first and centred afterwards, 1000000000000.4 has lost the digits that count.

    Raises:
        ValueError: none given, or one that is no finite number.

    >>> centred([Decimal("1000000000000.4"), Decimal("1000000000000.3")])[1].tolist()
    [0.0, -0.1]
    """
    exact = finite(values)
    centre = sorted(exact)[len(exact) // 2]
    with localcontext(Context(prec=_DIGITS)):
        return centre, np.array([float(value - centre) for value in exact])


def finite(values: Iterable[Decimal | float]) -> list[Decimal]:
    """The values as decimals.

    Raises:
        ValueError: none given, or one that is no finite number.
    """
    exact = [value if isinstance(value, Decimal) else Decimal(str(value)) for value in values]
    if not exact:
        raise ValueError("at least one reading is needed, got none")
    for value in exact:
        if not value.is_finite():
            raise ValueError(f"a reading is a finite number, got {value}")
    return exact


Numbers = Sequence[Decimal] | Sequence[float] | Sequence[int]


def less(after: Numbers, before: Numbers) -> list[Decimal]:
    """After less before, pair by pair, exact in decimal.

    Raises:
        ValueError: when the two differ in length.

    >>> less([Decimal("168.1")], [Decimal("168.4")])
    [Decimal('-0.3')]
    """
    if len(after) != len(before):
        raise ValueError(f"each reading needs its partner, got {len(before)} and {len(after)}")
    with localcontext(Context(prec=_DIGITS)):
        return [a - b for a, b in zip(finite(after), finite(before), strict=True)]
