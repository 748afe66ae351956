"""Which way a colour moved, against the definition of its parts and by drawing at random."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from quirewell.science.colour.ways import K3, hue_word, ways, words


def test_the_parts_add_up_to_the_whole_distance() -> None:
    """CIE 15: dE*ab squared is the sum of the squares of dL*, dC*ab and dH*ab."""
    rng = np.random.default_rng(15)
    for _ in range(200):
        one, two = (tuple(rng.uniform((0, -60, -60), (100, 60, 60))) for _ in range(2))
        moved = ways(one, two, (1.0, 1.0, 1.0))  # type: ignore[arg-type]
        whole = sum((b - a) ** 2 for a, b in zip(one, two, strict=True))
        assert moved.dL**2 + moved.dC**2 + moved.dH**2 == pytest.approx(whole, rel=1e-9)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ((50, 60, 0), (50, 50, 0), "paler in colour"),
        ((50, 40, 40), (56, 40, 40), "lighter"),
        ((50, 0, 50), (50, 8, 50), "redder"),
        ((50, 0, 50), (50, -8, 50), "greener"),
        ((50, 50, 0), (50, 50, 8), "yellower"),
        ((50, 50, 0), (50, 50, -8), "bluer"),
        ((20, 0, 0), (15, 0, 0), "darker"),
        ((50, 60, 0), (50.5, 59.5, 0.5), ""),
    ],
)
def test_only_what_is_surely_seen_is_said(before: tuple, after: tuple, said: str) -> None:  # type: ignore[type-arg]
    moved = ways(before, after, (0.5, 0.5, 0.5))
    hue = hue_word(moved.dH, after[1], after[2])
    found = words((moved.dL, 0.5), (moved.dC, moved.u_dC), (moved.dH, moved.u_dH, hue))
    assert said in found if said else found == ""


def test_u_is_the_spread_of_the_parts_and_words_are_seldom_false() -> None:
    rng = np.random.default_rng(95)
    kept, u = (45.0, 42.0, 25.0), (0.5, 0.3, 0.7)
    drawn = [ways(kept, tuple(rng.normal(kept, u)), u) for _ in range(4000)]  # type: ignore[arg-type]
    for part in ("dL", "dC", "dH"):
        spread = float(np.std([getattr(one, part) for one in drawn]))
        assert spread == pytest.approx(getattr(drawn[0], f"u_{part}"), rel=0.06)
    false = sum(
        bool(words((m.dL, m.u_dL), (m.dC, m.u_dC), (m.dH, m.u_dH, "redder"))) for m in drawn
    )
    assert false / len(drawn) < 0.06
    assert pytest.approx(2.394, abs=0.001) == K3


def test_the_quantile_is_the_normal_one_for_three_looks() -> None:
    assert pytest.approx(scipy.special.ndtri(1 - 0.05 / 6), rel=1e-15) == K3
