"""Colour of measured reflectance spectra, and what paper makers read from them.

XYZ is the sum over wavelength of reflectance, illuminant and observer (``cie15``), 380 to 780 nm
by 5 nm. Ends that an instrument leaves out are taken at its first and last value. R457
brightness needs the spectrum; it can never come from a picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.observers import (
    Illuminant,
    Observer,
    matching,
    power,
    wavelengths_nm,
)
from quirewell.science.colour.spaces import WHITE_D50, bradford, lab_from_xyz

Array = NDArray[np.float64]
# R457 weights, 400 to 510 nm by 10 nm, in per cent. Read in public source code, not in the
# standard; their centre is 457.1 nm, as the standard's name asks (``iso2470``).
R457_NM = np.arange(400.0, 511.0, 10.0)
R457_WEIGHTS = np.array([1.0, 6.7, 18.2, 34.5, 57.6, 82.5, 100.0, 88.7, 53.1, 20.3, 5.6, 0.3])
R457_STANDING = "weights read in source code, not in the standard"
_CLEAR_NM = (420.0, 680.0)
WHITENESS_STANDING = "limits of the formula from memory"


class BadSpectrum(ValueError):
    """A spectrum that cannot be used; a sentence."""


def even_spectrum(wavelength_nm: NDArray[np.floating], reflectance: NDArray[np.floating]) -> Array:
    """Reflectance (..., 81) at 380 to 780 nm by 5 nm, between readings in straight lines.

    Raises
    ------
    BadSpectrum
        when the readings leave out part of 420 to 680 nm, or lie farther apart than 20 nm
    """
    nm = np.asarray(wavelength_nm, dtype=np.float64)
    values = np.asarray(reflectance, dtype=np.float64)
    if nm.ndim != 1 or values.shape[-1] != len(nm):
        raise BadSpectrum(f"{values.shape[-1]} reflectances for {nm.size} wavelengths")
    if nm[0] > _CLEAR_NM[0] or nm[-1] < _CLEAR_NM[1]:
        raise BadSpectrum(
            f"a spectrum has to reach from {_CLEAR_NM[0]:g} to {_CLEAR_NM[1]:g} nm to give a "
            f"colour, this one runs from {nm[0]:g} to {nm[-1]:g} nm"
        )
    if np.diff(nm).max() > 20.0:
        raise BadSpectrum(
            f"readings of a spectrum lie at most 20 nm apart, these up to {np.diff(nm).max():g} nm"
        )
    flat = values.reshape(-1, len(nm))
    out = np.stack([np.interp(wavelengths_nm(), nm, row) for row in flat])
    return np.asarray(out.reshape(*values.shape[:-1], -1))


def white_of(illuminant: Illuminant, observer: Observer) -> Array:
    """XYZ (3,) of the perfect diffuser, Y = 1."""
    seen = matching(observer) * power(illuminant)[:, None]
    return np.asarray(seen.sum(axis=0) / seen[:, 1].sum())


def xyz_of_spectrum(
    wavelength_nm: NDArray[np.floating], reflectance: NDArray[np.floating],
    illuminant: Illuminant = "D50", observer: Observer = "2",
) -> Array:  # fmt: skip
    """XYZ (..., 3), the perfect diffuser at Y = 1, of reflectance [0..1] (..., k) (``cie15``).

    Raises
    ------
    BadSpectrum
        see :func:`even_spectrum`
    """
    seen = matching(observer) * power(illuminant)[:, None]
    return np.asarray(even_spectrum(wavelength_nm, reflectance) @ seen / seen[:, 1].sum())


def lab_of_spectrum(
    wavelength_nm: NDArray[np.floating], reflectance: NDArray[np.floating],
    illuminant: Illuminant = "D50", observer: Observer = "2",
) -> Array:  # fmt: skip
    """CIELAB (..., 3) of reflectance [0..1] (..., k), relative to the illuminant's own white."""
    xyz = xyz_of_spectrum(wavelength_nm, reflectance, illuminant, observer)
    return lab_from_xyz(xyz, white_of(illuminant, observer))


def lab_d50(xyz: NDArray[np.floating], white: Array) -> Array:
    """CIELAB D50 of XYZ seen under another white, adapted by Bradford (``cie15``)."""
    return lab_from_xyz(np.asarray(xyz) @ bradford(white, WHITE_D50).T)


def r457(wavelength_nm: NDArray[np.floating], reflectance: NDArray[np.floating]) -> Array:
    """R457 brightness [%] (...,) of reflectance [0..1] (..., k) (``iso2470``).

    Valid for papers without optical brightener; with one, the instrument's ultraviolet counts.

    Raises
    ------
    BadSpectrum
        when the readings do not reach from 400 to 510 nm
    """
    nm = np.asarray(wavelength_nm, dtype=np.float64)
    values = np.asarray(reflectance, dtype=np.float64)
    if nm[0] > R457_NM[0] or nm[-1] < R457_NM[-1] or np.diff(nm).max() > 20.0:
        raise BadSpectrum(
            "R457 brightness needs readings from 400 to 510 nm, 20 nm apart or closer; these run "
            f"from {nm[0]:g} to {nm[-1]:g} nm"
        )
    flat = values.reshape(-1, len(nm))
    at = np.stack([np.interp(R457_NM, nm, row) for row in flat])
    out = 100.0 * at @ R457_WEIGHTS / R457_WEIGHTS.sum()
    return np.asarray(out.reshape(values.shape[:-1]))


@dataclass(frozen=True, slots=True)
class Whiteness:
    """CIE whiteness W and tint T (D65). ``valid`` says whether they mean anything here."""

    whiteness: float
    tint: float
    valid: bool
    says: str


def cie_whiteness(xyz: NDArray[np.floating], observer: Observer = "10") -> Whiteness:
    """CIE whiteness and tint of XYZ under D65, perfect diffuser at Y = 1 or 100 (``cie15``).

    W = Y + 800 (xn - x) + 1700 (yn - y); T = 900 or 1000 (xn - x) - 650 (yn - y). Only near
    white: 40 < W < 5 Y - 280 and -4 < T < +2 (the limits from memory). Aged pulp lies outside.
    """
    values = np.asarray(xyz, dtype=np.float64)
    values = values * (100.0 if values[1] <= 2.0 else 1.0)
    xn, yn = {"2": (0.3127, 0.3290), "10": (0.31382, 0.33100)}[observer]
    x, y = values[:2] / values.sum()
    white = float(values[1] + 800.0 * (xn - x) + 1700.0 * (yn - y))
    tint = float({"2": 1000.0, "10": 900.0}[observer] * (xn - x) - 650.0 * (yn - y))
    top = 5.0 * float(values[1]) - 280.0
    if 40.0 < white < top and -4.0 < tint < 2.0:
        return Whiteness(white, tint, True, "within the formula's limits")
    return Whiteness(
        white, tint, False,
        "CIE whiteness says nothing about this paper: it holds for near whites only (W between 40 "
        f"and {top:.0f}, tint between -4 and +2), and the formula gives W {white:.0f}, tint "
        f"{tint:.1f}. Yellowness and CIELAB hold.",
    )  # fmt: skip
