"""Humidity over saturated salts: the handbook's table (``wexler_crc``) and ``greenspan1977``."""

from __future__ import annotations

import pytest

from quirewell.science.press.salts import salt_rh

# Polynomials [%; C], signs checked against the tables.
GREENSPAN = {
    "MgCl2": (33.6686, -0.00797397, -0.00108988),
    "NaCl": (75.5164, 0.0398321, -0.00265459, 2.848e-5),
    "KCl": (88.6190, -0.193340, 8.99706e-4),
    "K2SO4": (98.7792, -0.0590502),
}


@pytest.mark.parametrize(
    ("salt", "rh"), [("NaCl", 75.25), ("MgCl2", 32.79), ("KCl", 84.17), ("K2SO4", 97.23)]
)
def test_at_25_c(salt, rh):
    assert salt_rh(salt, 25.0) == pytest.approx(rh, abs=0.01)


@pytest.mark.parametrize("salt", GREENSPAN)
def test_the_two_sources_agree(salt):
    """Within 0.2 at 25 C and within the table's own 2 % from 15 to 35 C."""
    for celsius in (15.0, 20.0, 25.0, 30.0, 35.0):
        polynomial = sum(a * celsius**k for k, a in enumerate(GREENSPAN[salt]))
        allowed = 0.2 if celsius == 25.0 else 2.0
        assert salt_rh(salt, celsius) == pytest.approx(polynomial, abs=allowed)


def test_no_known_salt_is_refused():
    with pytest.raises(ValueError, match="the salt is one of"):
        salt_rh("LiCl")
