"""What paired differences allow to be said: unchanged, changed, or that it cannot be told.

One rule for all: *unchanged* when the paired TOST passes against a margin fixed beforehand (the
90 % interval of the mean lies within it, ``schuirmann1987``); *changed* when it does not pass and
that interval leaves out zero; else *cannot tell*. A claim "unchanged" is wrong in at most 5 % of
cases, a claim of a direction in at most 5 %; where nothing changed at all, "changed" comes up in
at most 10 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import scipy

from quirewell.science.evidence.equivalence import (
    Equivalence,
    equivalence_power,
    paired_equivalence,
    pairs_needed,
    scatter_grid,
)

Word = Literal["unchanged", "changed", "cannot tell"]
UNCHANGED: Word = "unchanged"
CHANGED: Word = "changed"
CANNOT_TELL: Word = "cannot tell"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A verdict and the numbers behind it; sizes in the unit of the differences.

    ``inside``: the whole 90 % interval lies within the margin; ``shifted``: it leaves out zero
    (both can hold: a change, and one that does not matter); ``beyond``: it lies wholly outside
    the margin. ``needed``: fewest pairs that would show "unchanged" with 80 % chance if nothing
    changed in truth, ``needed_as_seen``: if the mean seen is the truth; None where no number
    would do. ``power`` [0..1]: that chance for the pairs there are. ``smallest_seen``: the
    smallest true change of the mean that would have shown as a shift with 95 % chance.
    """

    word: Word
    inside: bool
    shifted: bool
    beyond: bool
    margin: float
    equivalence: Equivalence
    needed: int | None
    needed_as_seen: int | None
    power: float
    smallest_seen: float


def judge(
    differences: Sequence[float] | Sequence[Decimal],
    margin: float | Decimal,
    resolution: float | Decimal = 0.0,
    single_sd: float = 0.0,
) -> Verdict:
    """The verdict on paired differences, a leaf each (a reading is not a leaf).

    ``single_sd``: scatter of single differences, where each given one is a mean of several.

    Raises:
        ValueError: as ``paired_equivalence``.

    >>> judge([0.02, -0.03, 0.01, 0.0, 0.02, -0.01], 0.1).word
    'unchanged'
    """
    limit = float(margin)
    seen = paired_equivalence(differences, limit, float(resolution), single_sd=single_sd)
    shifted = seen.low > 0 or seen.high < 0
    beyond = seen.low > limit or seen.high < -limit
    if seen.passes:
        word = UNCHANGED
    else:
        word = CHANGED if shifted else CANNOT_TELL
    shared = seen.hidden > 0 and seen.hidden >= float(resolution)
    room = limit - seen.hidden
    if shared:  # a step that all leaves may share is no matter of their number
        room = limit if seen.hidden < limit else 0.0
    return Verdict(
        word, seen.passes, shifted, beyond, limit, seen,
        _needed(room, seen.sd, 0.0),
        _needed(room if not shared or abs(seen.mean) + seen.hidden <= limit else 0.0,
                seen.sd, abs(seen.mean)),
        equivalence_power(seen.pairs, room, seen.sd) if room > 0 else 0.0,
        smallest_shift(seen.pairs, seen.sd) + seen.hidden,
    )  # fmt: skip


def _needed(room: float, sd: float, true_change: float) -> int | None:
    """Pairs for an 80 % chance; None where more than 2000, or no number, would do."""
    if room <= true_change:
        return None
    try:
        return pairs_needed(room, sd, 0.80, true_change)
    except ValueError:
        return None


def smallest_shift(pairs: int, sd: float, chance: float = 0.95, level: float = 0.90) -> float:
    """Smallest true change of a mean (unit of ``sd``) whose interval leaves out zero, by chance.

    Raises:
        ValueError: fewer than two pairs, or a scatter that is not above 0.
    """
    if pairs < 2 or not 0 < sd < math.inf:
        raise ValueError(f"2 pairs and a scatter above 0 are needed, got {pairs} and {sd}")
    return seen_shift(pairs - 1, chance, level) * sd / math.sqrt(pairs)


def seen_shift(dof: float, chance: float = 0.95, level: float = 0.90) -> float:
    """The same in standard errors [-], whose scatter is known by ``dof`` degrees of freedom.

    Solves the mean over the sample standard deviation u (in units of sigma) of
    Phi(d - t u) + Phi(-d - t u) = chance, with the shift d: the power of Student's t, by the same
    integral as that of equivalence (own derivation), good at one degree of freedom, too.

    >>> round(seen_shift(1e6), 3)
    3.29
    """
    limit = float(scipy.stats.t.ppf(0.5 + level / 2, dof))
    u, share = scatter_grid(dof)

    def lacking(shift: float) -> float:
        shown = scipy.special.ndtr(shift - limit * u) + scipy.special.ndtr(-shift - limit * u)
        return float(shown @ share) - chance

    top = limit
    while lacking(top) < 0:
        top *= 2
    return float(scipy.optimize.brentq(lacking, 0.0, top, xtol=1e-9))
