"""Tolerances that imaging guidelines publish, to set measured figures beside.

Their standing is weak and is always shown with them: all rows come from one comparison table (a
secondary source), none from the guidelines' own texts; which formula of colour difference each
guideline means is from memory. A class is therefore never stated without the figure itself.
"""

from __future__ import annotations

from dataclasses import dataclass

STANDING = (
    "from one secondary comparison table, not from the guidelines' own texts; which formula of "
    "colour difference each means is from memory"
)


@dataclass(frozen=True, slots=True)
class Limit:
    """Upper limits of one figure in one guideline, strictest class first."""

    quantity: str
    name: str
    guideline: str
    classes: tuple[str, ...]
    limits: tuple[float, ...]
    source: str

    def met(self, value: float) -> str:
        """The strictest class whose limit ``value`` keeps; "none" when it keeps no limit."""
        for name, limit in zip(self.classes, self.limits, strict=True):
            if value <= limit:
                return name
        return "none"


_ISO = ("ISO 19264-1:2021", "iso19264", ("A", "B", "C"))
_FED = ("federal guidelines 2023", "fadgi2023", ("4*", "3*", "2*", "1*"))
_META = ("Metamorfoze 2.0 draft", "metamorfoze2", ("strict", "light", "extra light"))
_ROWS = (
    ("target.tone_dL", "tone, largest error of L*", _ISO, (2, 3, 4)),
    ("target.tone_dL", "tone, largest error of L*", _FED, (1.5, 3, 4.5, 6)),
    ("target.tone_dL", "tone, largest error of L*", _META, (2, 2, 4)),
    ("target.white_dab", "white balance, largest distance in a*b*", _ISO, (3, 4, 5)),
    ("target.white_dab", "white balance, largest distance in a*b*", _FED, (2, 4, 6, 8)),
    ("target.white_dab", "white balance, largest distance in a*b*", _META, (3, 3, 5)),
    ("target.dE00_mean", "colour, mean difference", _ISO, (4, 5, 5)),
    ("target.dE00_mean", "colour, mean difference", _FED, (2, 3.5, 5, 6.5)),
    ("target.dE00_mean", "colour, mean difference", _META, (3, 4)),
    ("target.dE00_p90", "colour, 90th percentile", _FED, (4, 7, 10, 13)),
    ("target.dE00_max", "colour, largest difference", _ISO, (10, 15, 15)),
    ("target.dE00_max", "colour, largest difference", _META, (7, 14)),
    ("target.noise_L", "noise, spread of L*", _ISO, (1.6, 2, 2.2)),
    ("target.noise_L", "noise, spread of L*", _FED, (1, 2, 3, 4)),
    ("target.noise_L", "noise, spread of L*", _META, (1.6, 1.6, 2)),
)
LIMITS = tuple(
    Limit(quantity, name, guideline, classes[: len(values)], tuple(map(float, values)), source)
    for quantity, name, (guideline, source, classes), values in _ROWS
)


def beside(figures: dict[str, float]) -> list[dict[str, object]]:
    """Rows of a table: figure, guideline, limits by class, class met, standing."""
    return [
        {
            "quantity": row.quantity,
            "says": row.name,
            "value": figures[row.quantity],
            "guideline": row.guideline,
            "limits": dict(zip(row.classes, row.limits, strict=True)),
            "meets": row.met(figures[row.quantity]),
            "source": row.source,
            "standing": STANDING,
        }
        for row in LIMITS
        if row.quantity in figures
    ]
