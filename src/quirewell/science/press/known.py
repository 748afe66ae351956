"""What is not known of a press: its bounds, settings drawn from them, and what a bench found out.

A calibration is the logs of six factors with their covariance, by each curve of sorption; it is
kept as text and goes into a run's parameters, so that the run can be computed again anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.paper.sorption import CURVES, Curve
from quirewell.science.press.materials import CONTACT_BOUNDS, Contacts
from quirewell.science.press.stack import Knobs

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is not known of a press: (low, high) of contacts [W/(m2 K)] and of factors on the table.

    A weight or a calibration narrows them; nothing goes beyond them.
    """

    paper: tuple[float, float] = CONTACT_BOUNDS["paper"]
    hard: tuple[float, float] = CONTACT_BOUNDS["hard"]
    platen: tuple[float, float] = CONTACT_BOUNDS["platen"]
    leaf_mu: tuple[float, float] = (3 / 8, 30 / 8)
    other_mu: tuple[float, float] = (0.4, 3.0)
    conducts: tuple[float, float] = (0.85, 1.2)


NAMES = ("paper", "hard", "platen", "leaf_mu", "other_mu", "conducts")


@dataclass(frozen=True, slots=True)
class OneCurve:
    """One curve's fit: its share of belief; logs of the six factors (6,), their covariance."""

    curve: Curve
    share: float
    logs: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class Known:
    """What a bench knows of its press: a fit by each curve."""

    curves: tuple[OneCurve, ...]

    def middle(self, curve: Curve) -> Knobs:
        """The fitted factors by one curve."""
        one = next(one for one in self.curves if one.curve == curve)
        return knobs_at(curve, one.logs)

    @property
    def best(self) -> Knobs:
        """The fitted factors by the curve believed most."""
        return self.middle(max(self.curves, key=lambda one: one.share).curve)


def scale_of(bounds: Bounds) -> tuple[Array, Array]:
    """Middles and half widths of the bounds in logs, each (6,)."""
    ends = np.log(np.array([getattr(bounds, name) for name in NAMES]))
    return ends.mean(axis=1), (ends[:, 1] - ends[:, 0]) / 2


def knobs_at(curve: Curve, logs: Array) -> Knobs:
    """Settings from the logs of the six factors (6,)."""
    paper, hard, platen, leaf_mu, other_mu, conducts = (math.exp(one) for one in logs)
    return Knobs(curve, Contacts(paper, hard, platen), leaf_mu, other_mu, conducts)


def knobs_of(bounds: Bounds, draws: int) -> list[Knobs]:
    """So many settings of what is unknown, the two curves in turn; always the same ones."""
    middle, half = scale_of(bounds)
    even = scipy.stats.qmc.Sobol(len(NAMES), scramble=True, rng=np.random.default_rng(1936)).random(
        draws
    )
    return [
        knobs_at(CURVES[number % 2], middle + half * (2 * row - 1))
        for number, row in enumerate(even)
    ]


def draws_of(known: Known, draws: int, bounds: Bounds | None = None) -> list[Knobs]:
    """Settings drawn from what a calibration leaves open, always the same ones."""
    middle, half = scale_of(Bounds() if bounds is None else bounds)
    shares = [one.share for one in known.curves]
    counts = [max(1, round(draws * share)) for share in shares]
    counts[int(np.argmax(counts))] += draws - sum(counts)
    out: list[Knobs] = []
    for one, many in zip(known.curves, counts, strict=True):
        spread = np.linalg.cholesky(one.covariance + 1e-12 * np.eye(len(NAMES)))
        even = scipy.stats.qmc.Sobol(
            len(NAMES), scramble=True, rng=np.random.default_rng(1936)
        ).random(4096)
        logs = one.logs + scipy.stats.norm.ppf(np.clip(even, 1e-6, 1 - 1e-6)) @ spread.T
        inside = (np.abs(logs - middle) <= half).all(axis=1)
        chosen = logs[inside][:many]
        if len(chosen) < many:
            rest = np.clip(logs[~inside][: many - len(chosen)], middle - half, middle + half)
            chosen = np.concatenate([chosen, rest])
        out += [knobs_at(one.curve, row) for row in chosen]
    return out


def to_text(known: Known) -> str:
    """A calibration as text, for a run's parameters and for keeping with the press."""
    lower = np.tril_indices(len(NAMES))
    return " | ".join(
        " ".join((
            one.curve, f"{one.share:.4g}", *(f"{value:.5g}" for value in one.logs),
            *(f"{value:.5g}" for value in one.covariance[lower]),
        ))
        for one in known.curves
    )  # fmt: skip


def from_text(text: str) -> Known:
    """A calibration from its text.

    Raises
    ------
    ValueError
        For what :func:`to_text` did not write.
    """
    count = len(NAMES)
    many = count * (count + 1) // 2
    out = []
    says = "this is no calibration of a press; choose one that quirewell press calibrate kept"
    for part in text.split("|"):
        words = part.split()
        if len(words) != 2 + count + many or words[0] not in CURVES:
            raise ValueError(says)
        try:
            numbers = np.array([float(word) for word in words[1:]])
        except ValueError as error:
            raise ValueError(says) from error
        covariance = np.zeros((count, count))
        covariance[np.tril_indices(count)] = numbers[1 + count :]
        covariance = covariance + np.tril(covariance, -1).T
        fine = (
            np.isfinite(numbers).all()
            and 0 < numbers[0] <= 1
            and np.linalg.eigvalsh(covariance).min() > -1e-6
            and np.abs(numbers[1 : 1 + count]).max() < 12
            and np.abs(covariance).max() < 25
        )
        if not fine:
            raise ValueError(says)
        out.append(OneCurve(words[0], float(numbers[0]), numbers[1 : 1 + count], covariance))
    if {one.curve for one in out} != set(CURVES):
        raise ValueError(says)
    return Known(tuple(out))
