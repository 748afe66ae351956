"""Readings of an instrument from a colour measurement file, and whether a picture agrees.

A spectrum or CIELAB measured on the paper itself is worth more than any picture; where both are
there the difference is stated with its uncertainty, and said in words: agree, or quarrel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.cgats import BadColourFile, ColourTable, read_cgats
from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import (
    WHITE_D50,
    WHITE_D65,
    bradford,
    lab_from_xyz,
    xyz_from_lab,
)
from quirewell.science.colour.spectra import (
    BadSpectrum,
    Whiteness,
    cie_whiteness,
    lab_of_spectrum,
    r457,
    xyz_of_spectrum,
)
from quirewell.science.colour.target24 import edition_lab
from quirewell.science.colour.yellowness import yellowness

Array = NDArray[np.float64]
Lab = tuple[float, float, float]
# Two instruments of one kind on the same spot differ by about so much [L, a, b] (from memory);
# they average a few millimetres, a picture the whole leaf.
INSTRUMENT_U_LAB = (0.3, 0.2, 0.3)
_QUARREL = 2.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of an instrument, CIELAB D50, 2 degrees.

    ``yellowness`` is E313 (D65, 10 degrees from spectra; D65, 2 degrees, adapted from D50, else);
    ``brightness_r457`` [%] and ``whiteness`` come from spectra only.
    """

    name: str
    lab: Lab
    yellowness: float
    seen_by: str
    brightness_r457: float | None
    whiteness: Whiteness | None
    note: str


def readings_in(text: str) -> tuple[Reading, ...]:
    """All readings of a file that gives spectra, CIELAB or XYZ.

    Raises
    ------
    BadColourFile
        when it gives none of them, or its values are no reflectances or colours; a sentence
    """
    found: list[Reading] = []
    for table in read_cgats(text):
        try:
            spectra = table.spectra()
            if spectra is not None:
                nm, values = spectra
                found += [
                    _of_spectrum(name, nm, row)
                    for name, row in zip(table.names, values, strict=True)
                ]
                continue
        except BadSpectrum as error:
            raise BadColourFile(str(error)) from None
        found += [
            _of_lab(name, row) for name, row in zip(table.names, table_lab(table), strict=True)
        ]
    return tuple(found)


def table_lab(table: ColourTable) -> Array:
    """CIELAB D50 (rows, 3) of a table, from what it gives: spectra, CIELAB or XYZ (as D50).

    Raises
    ------
    BadColourFile
        when it gives none, or no colours
    """
    try:
        spectra = table.spectra()
        if spectra is not None:
            return lab_of_spectrum(*spectra)
    except BadSpectrum as error:
        raise BadColourFile(str(error)) from None
    lab = table.lab()
    xyz = table.xyz() if lab is None else None
    if xyz is not None:
        lab = lab_from_xyz(xyz, WHITE_D50)
    if lab is None:
        raise BadColourFile(
            "the file gives no colours: it needs columns LAB_L LAB_A LAB_B, or XYZ_X XYZ_Y XYZ_Z "
            "(both D50), or spectra (SPECTRAL_NM400 and so on)"
        )
    if (lab[:, 0] < -1).any() or (lab[:, 0] > 110).any() or np.abs(lab[:, 1:]).max() > 200:
        raise BadColourFile("the file's colours are no CIELAB: L* runs from 0 to 100")
    return lab


def _of_spectrum(name: str, nm: Array, values: Array) -> Reading:
    lab = lab_of_spectrum(nm, values)
    xyz = xyz_of_spectrum(nm, values, "D65", "10")
    try:
        bright = float(r457(nm, values))
        note = ""
    except BadSpectrum as error:
        bright, note = None, str(error)
    return Reading(
        name, _triple(lab), float(yellowness(xyz, "D65/10")), "D65/10", bright,
        cie_whiteness(xyz, "10"), note,
    )  # fmt: skip


def _of_lab(name: str, lab: Array) -> Reading:
    xyz = xyz_from_lab(lab) @ bradford(WHITE_D50, WHITE_D65).T
    return Reading(
        name, _triple(lab), float(yellowness(xyz, "D65/2")), "D65/2", None, None,
        "R457 brightness and CIE whiteness need a spectrum",
    )  # fmt: skip


def reference_lab(text: str) -> Array:
    """CIELAB (24, 3) of a 24-patch target, from its own file, in the order of the target.

    Rows may stand in any order: each is told by its colour.

    Raises
    ------
    BadColourFile
        when the file does not hold the 24 patches; a sentence
    """
    tables = [table for table in read_cgats(text) if len(table.rows) >= 24]
    if not tables:
        raise BadColourFile("the file of a 24-patch target has 24 rows of colour, this one fewer")
    lab = table_lab(tables[0])
    usual = edition_lab("after-2014")
    away = ciede2000(usual[:, None, :], lab[None, :, :])
    rows = np.argmin(away, axis=1)
    worst = int(np.argmax(away.min(axis=1)))
    if len(set(rows.tolist())) < 24 or away.min(axis=1).max() > 15.0:
        raise BadColourFile(
            f"the file is not of a 24-patch target: nothing in it is near its patch {worst + 1} "
            f"(CIELAB {usual[worst][0]:.0f}, {usual[worst][1]:.0f}, {usual[worst][2]:.0f})"
        )
    return np.asarray(lab[rows])


@dataclass(frozen=True, slots=True)
class Reconciled:
    """Instrument against picture: ``difference`` picture less instrument, its ``u``, and words."""

    difference: Lab
    u: Lab
    de00: float
    agree: bool
    says: str


def reconcile(
    instrument: Lab, picture: Lab, picture_u: Lab, instrument_u: Lab = INSTRUMENT_U_LAB
) -> Reconciled:
    """Whether a picture's paper tone agrees with an instrument's, CIELAB D50 both."""
    apart = [p - i for p, i in zip(picture, instrument, strict=True)]
    u = [math.hypot(p, i) for p, i in zip(picture_u, instrument_u, strict=True)]
    de00 = float(ciede2000(np.array(instrument), np.array(picture)))
    far = [
        f"{name}* {value:+.1f} (allowed {_QUARREL * spread:.1f})"
        for name, value, spread in zip("Lab", apart, u, strict=True)
        if abs(value) > _QUARREL * spread
    ]
    if not far:
        says = (
            f"Picture and instrument agree: they differ by {de00:.1f} CIEDE2000, within what both "
            "allow. The instrument's value is the closer one."
        )
    else:
        says = (
            f"Picture and instrument quarrel: {', '.join(far)}. Was the same paper read, and is "
            "the file under D50, 2 degrees? Else fit the 24-patch target; until then trust the "
            "instrument for the tone and the picture for nothing but differences."
        )
    return Reconciled(_three(apart), _three(u), de00, not far, says)


def _triple(values: Array) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])


def _three(values: list[float]) -> Lab:
    return values[0], values[1], values[2]
