"""A fitted target in a line of text, and its use on the tone of a leaf.

The text is what a measurement is told (parameter ``target``), so that a run can be computed again
without the target's picture: model, matrix, and how wrong a paper tone may be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.characterise import MODELS, Model, TargetFit, terms
from quirewell.science.colour.spaces import lab_from_xyz, linear_from_lab

Array = NDArray[np.float64]
_TERMS = {"linear": 3, "root": 6}
_LONGEST = 1000


@dataclass(frozen=True, slots=True)
class TargetUse:
    """What a fitted target does to light: ``matrix`` (3, 3 or 6) to XYZ under D50.

    ``u_lab`` is how wrong an absolute paper tone may be.
    """

    model: Model
    matrix: Array
    u_lab: tuple[float, float, float]

    def predict(self, rgb_linear: NDArray[np.floating]) -> Array:
        """CIELAB D50 (..., 3) of linear light (..., 3)."""
        return lab_from_xyz(terms(rgb_linear, self.model) @ self.matrix.T)

    def correct(self, lab: NDArray[np.floating]) -> Array:
        """CIELAB as the target has it, of CIELAB read as if the picture were true sRGB."""
        return self.predict(linear_from_lab(lab))


def use_of(fit: TargetFit) -> TargetUse:
    """The part of a fit that is applied to pictures."""
    return TargetUse(fit.model, fit.matrix, fit.u_lab)


def target_text(use: TargetUse) -> str:
    """One line: "root | matrix, row by row | u of L a b"."""
    matrix = " ".join(f"{value:.9g}" for value in use.matrix.ravel())
    return f"{use.model} | {matrix} | {' '.join(f'{u:.4g}' for u in use.u_lab)}"


def target_from_text(text: str) -> TargetUse:
    """Read :func:`target_text`.

    Raises
    ------
    ValueError
        in a sentence, for anything else
    """
    parts = [part.split() for part in text.split("|")] if len(text) <= _LONGEST else []
    good = len(parts) == 3 and len(parts[0]) == 1 and parts[0][0] in MODELS
    if good:
        try:
            matrix, u = ([float(word) for word in part] for part in parts[1:])
        except ValueError:
            good = False
        else:
            good = len(matrix) == 3 * _TERMS[parts[0][0]] and len(u) == 3
            good = good and all(map(math.isfinite, [*matrix, *u])) and min(u) > 0 and max(u) < 50
    if not good:
        raise ValueError(
            "a target is the line that quirewell target fit gives under target.use (a model, its "
            f"matrix, three uncertainties), got {text[:60]!r}"
        )
    model: Model = "root" if parts[0][0] == "root" else "linear"
    return TargetUse(model, np.array(matrix).reshape(3, -1), (u[0], u[1], u[2]))
