"""Leaves that stand apart from the others: marked and told, never left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from quirewell.science.evidence.outliers import many

FEWEST = 5


@dataclass(frozen=True, slots=True)
class Flagged:
    """Units that stand apart, and why."""

    units: tuple[str, ...]
    says: str = ""


def flagged(changes: Mapping[str, float], step: float) -> Flagged:
    """Leaves whose change stands apart by the generalised test for several outliers at 5 %.

    Differences within one step of the instrument are not told apart: rounding alone makes them.
    """
    values = np.array(list(changes.values()))
    if values.size < FEWEST or np.ptp(values) <= step or not np.ptp(values) > 0:
        return Flagged(())
    units = list(changes)
    found = many(values.tolist(), max(1, values.size // 5))
    if not found:
        return Flagged(())
    return Flagged(
        tuple(units[at] for at in sorted(found)),
        "stands apart from the others by more than chance (5 %, several at once looked for); it "
        "stays in: look at the leaf before you explain it",
    )
