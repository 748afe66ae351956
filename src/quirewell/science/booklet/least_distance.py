"""Least squares under linear limits, as Lawson and Hanson's least-distance problem [lawson1974]."""

from __future__ import annotations

import numpy as np
import scipy

from quirewell.science.booklet.rigid import Array

TOLERANCE = 1e-9
# A limit that is missed by more than this share of the way to it was not kept at all.
_KEPT = 1e-6


class NoRoom(ValueError):
    """No step keeps all limits."""


def limited_step(hessian: Array, gradient: Array, rows: Array, least: Array) -> Array:
    """The d with the least 1/2 d'Hd + g'd among those with rows @ d >= least.

    H = L L'; y = L'(d - d0) about the free answer d0 turns it into the least ||y|| under
    (L^-1 rows')'y >= b, which non-negative least squares answers: u >= 0 with the least
    ||E u - e||, E = [L^-1 rows'; b'], e = (0 .. 0, 1), r = E u - e, y = -r[:n] / r[n]. Only limits
    that are broken enter, more as they come to be.

    Raises:
        NoRoom: when no d keeps all limits.
    """
    inverse = np.linalg.inv(np.linalg.cholesky(hessian))
    free = -inverse.T @ (inverse @ gradient)
    wanting = least - rows @ free
    taken = wanting > TOLERANCE
    if not taken.any():
        return np.asarray(free)
    step = np.zeros_like(free)
    for _ in range(len(least)):
        normals = inverse @ rows[taken].T
        lengths = np.maximum(np.linalg.norm(normals, axis=0), 1e-300)
        step = inverse.T @ _nearest(normals / lengths, wanting[taken] / lengths)
        missing = wanting - rows @ step
        if (missing[taken] > _KEPT * (1.0 + wanting.max())).any():
            raise NoRoom("no step keeps all limits")
        broken = (missing > TOLERANCE) & ~taken
        if not broken.any():
            break
        taken |= broken
    return np.asarray(free + step)


def _nearest(normals: Array, bounds: Array) -> Array:
    """The shortest y with normals' y >= bounds; normals of length 1."""
    # In units of the farthest single limit y is of the order of 1, which keeps r[n] well off 0.
    unit = float(bounds.max())
    system = np.vstack([normals, bounds / unit])
    aim = np.zeros(len(system))
    aim[-1] = 1.0
    solution, _ = scipy.optimize.nnls(system, aim, maxiter=30 * system.shape[1])
    rest = system @ solution - aim
    if -rest[-1] < 1e-13:
        raise NoRoom("no step keeps all limits")
    return np.asarray(-unit * rest[:-1] / rest[-1])
