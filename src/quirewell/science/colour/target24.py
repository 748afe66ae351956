"""Reference values of the 24-patch colour target, six columns by four rows.

The first patch (a dark brown) lies upper left, the six neutral steps from white to black are the
last row. The pigments changed in November 2014, and some patches by several units with them, so
the edition has to be asked. Values of CIELAB D50, 2 degrees, come from the tables that
``colourscience2025`` carries: they are of the edition, not of your own copy, which ages. A
measured file of your own copy always wins.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Edition = Literal["before-2014", "after-2014"]
EDITIONS: tuple[Edition, ...] = ("before-2014", "after-2014")
COLUMNS, ROWS = 6, 4
STANDING = (
    "values of the edition, read in public code that carries them (not from the maker's sheet, "
    "and not of your own copy)"
)

_TEXT = """
dark_brown      37.99   13.56   14.06    37.54   14.37   14.92
light_skin      65.71   18.13   17.81    64.66   19.27   17.50
sky_blue        49.93   -4.88  -21.90    49.32   -3.82  -22.54
leaf_green      43.14  -13.09   21.90    43.46  -12.74   22.72
flower_blue     55.11    8.84  -25.40    54.94    9.61  -24.79
bluish_green    70.72  -33.40   -0.20    70.48  -32.26   -0.37
orange          62.66   36.07   57.10    62.73   35.83   56.50
purplish_blue   40.02   10.41  -45.96    39.43   10.75  -45.17
moderate_red    51.12   48.24   16.25    50.57   48.64   16.67
purple          30.33   22.98  -21.59    30.10   22.54  -20.87
yellow_green    72.53  -23.71   57.26    71.77  -24.13   58.19
orange_yellow   71.94   19.36   67.86    71.51   18.24   67.37
blue            28.78   14.18  -50.30    28.37   15.42  -49.80
green           55.26  -38.34   31.37    54.38  -39.72   32.27
red             42.10   53.38   28.19    42.43   51.05   28.62
yellow          81.73    4.04   79.82    81.80    2.67   80.41
magenta         51.94   49.99  -14.57    50.63   51.28  -14.12
cyan            51.04  -28.63  -28.64    49.57  -29.71  -28.32
white           96.54   -0.43    1.19    95.19   -1.03    2.93
grey_8          81.26   -0.64   -0.33    81.29   -0.57    0.44
grey_6.5        66.77   -0.73   -0.50    66.89   -0.75   -0.06
grey_5          50.87   -0.15   -0.27    50.76   -0.13    0.14
grey_3.5        35.66   -0.42   -1.23    35.63   -0.46   -0.48
black           20.46   -0.08   -0.97    20.64    0.07   -0.46
"""
_ROWS = [line.split() for line in _TEXT.strip().split("\n")]
PATCHES = tuple(row[0].replace("_", " ") for row in _ROWS)
NEUTRALS = tuple(range(18, 24))


def edition_lab(edition: str) -> Array:
    """CIELAB D50 of the 24 patches (24, 3), row by row from the upper left.

    Raises
    ------
    ValueError
        for any other edition, in a sentence
    """
    if edition not in EDITIONS:
        raise ValueError(
            f"the edition of the 24-patch target is {' or '.join(EDITIONS)} (made before or after "
            f"November 2014; look on its back), got {edition!r}"
        )
    first = 1 + 3 * EDITIONS.index(edition)
    return np.array([[float(part) for part in row[first : first + 3]] for row in _ROWS])
