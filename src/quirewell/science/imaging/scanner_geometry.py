"""A flatbed's own errors from repeat scans of one thing: scale, repeatability, geometry.

The same points (marks of the strip, corners of a board, ends of a rule) are seen in several
placements. With g a point of the glass by the stated resolution and t its true place, from
the middle of the glass [mm],

    t = g + (sx x + h y, sy y) + P(g) + (ax_i x, ay_i y),     t = R_i ((1 + l) a + k a' + d) + c_i

where sx, sy are the scale errors, h the want of squareness, P a polynomial of degree 2 and 3
(the geometry), ax_i, ay_i what scan i differs by (repeatability), a the artefact's points, d
what each is out by, l what the artefact's length may be out by, k what a printer may draw
across more than along (a' is a's part across), R_i and c_i how it lay. All
are solved together by least squares with the stated standard uncertainties as priors; the
spreads of P, of the scans and of the reading are estimated along (expectation-maximisation,
each begun from the published figure of an unchecked flatbed, isprs1996). So whatever the
placements do not show stays as uncertain as it was before.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHEET_MM = (170.0, 260.0)
HALF_MM = 150.0
# isprs1996: 7 um rms once the steady part is gone (as a slope over a sheet), up to 240 um with it.
REPEAT_START = math.sqrt(12) * 7e-3 / SHEET_MM[1]
FIELD_START_MM = 0.240 / math.sqrt(3) / math.sqrt(2)
NOISE_FLOOR_PX = 0.02
_PRIOR_WEIGHT = 2.0
_ROUNDS = 40
_DRAWS = 400
# Solved for freely: a turn [rad], a place [mm], scale errors and squareness [-].
_TURN_U, _PLACE_U, _SCALE_U = 0.1, 10.0, 0.03
_POWERS = ((2, 0), (1, 1), (0, 2), (3, 0), (2, 1), (1, 2), (0, 3))


@dataclass(frozen=True, slots=True)
class Placement:
    """The artefact in one scan: its points by number [mm] and in the picture [px]."""

    ids: NDArray[np.int64]
    points_mm: Array
    points_px: Array


@dataclass(frozen=True, slots=True)
class ScannerGeometry:
    """What repeat scans say of a scanner.

    ``scale_x``, ``scale_y`` [-]: by how much a true length exceeds the stated one, and
    ``covariance`` (2, 2) of the two. ``squareness_rad``: how far the axes are from a right
    angle. ``repeat`` [-]: standard deviation of the scale from scan to scan.
    ``geometry_rms_um``: what is not even, over the glass. ``length_u_um``: standard
    uncertainty of a length across a sheet once the scale errors are taken away.
    ``field_um`` (rows, columns, 2) are the mean errors on a grid of the glass at ``field_mm``.
    """

    scale_x: float
    scale_y: float
    covariance: Array
    squareness_rad: float
    u_squareness_rad: float
    repeat: float
    u_repeat: float
    geometry_rms_um: float
    u_geometry_rms_um: float
    length_u_um: float
    u_length_u_um: float
    noise_px: float
    scans: int
    points: int
    field_mm: Array
    field_um: Array
    scan_scales: Array


@dataclass(slots=True)
class _Spread:
    """Standard deviations that are estimated along."""

    repeat: float = REPEAT_START
    field_mm: float = FIELD_START_MM
    noise_mm: float = 0.01


def scanner_geometry(
    placements: Sequence[Placement],
    um_per_px: tuple[float, float],
    size_px: tuple[int, int],
    length_u: float,
    point_u_um: float,
    aspect_u: float = 0.0,
    noise_px: float = NOISE_FLOOR_PX,
) -> ScannerGeometry:
    """Scale errors, repeatability and geometry of a scanner.

    Parameters
    ----------
    placements
        three or more scans of one artefact, differently laid
    um_per_px
        pixel size by the stated resolution, x and y [um]
    size_px
        width and height of the pictures, the whole glass [px]
    length_u
        standard uncertainty of the artefact's length [-], common to all scans
    point_u_um
        standard uncertainty of the place of each point on the artefact [um]
    aspect_u
        standard uncertainty of the artefact's scale across against that along [-]
    noise_px
        a point is never taken to be seen better than this [px]

    Raises
    ------
    ValueError
        with fewer than three placements or a placement of fewer than two points
    """
    if len(placements) < 3:
        raise ValueError(
            f"a scanner is calibrated from three scans or more, got {len(placements)}; scan the "
            "same strip, rule or board again in another place, and once turned by a quarter"
        )
    if any(len(one.ids) < 2 for one in placements):
        raise ValueError("each scan must show at least two points of the artefact")
    model = _Model(placements, um_per_px, size_px, (length_u, aspect_u), point_u_um)
    spread = _Spread(noise_mm=0.1 * um_per_px[0] / 1000)
    floor_mm = noise_px * min(um_per_px) / 1000
    mean, cov = model.solve(spread)
    for _ in range(_ROUNDS):
        spread = model.spread(mean, cov, spread, floor_mm)
        mean, cov = model.solve(spread)
    return _said(model, mean, cov, spread, um_per_px)


class _Model:
    """The linear model about a first placing of the artefact in each scan."""

    def __init__(
        self,
        placements: Sequence[Placement],
        um_per_px: tuple[float, float],
        size_px: tuple[int, int],
        size_u: tuple[float, float],
        point_u_um: float,
    ) -> None:
        self.scans = len(placements)
        self.numbers = sorted({int(id_) for one in placements for id_ in one.ids})
        self.size_mm = np.array(size_px) * np.array(um_per_px) / 1000
        self.size_u, self.point_u_mm = np.maximum(size_u, 1e-9), max(point_u_um, 0.01) / 1000
        middle = np.mean([one.points_mm.mean(axis=0) for one in placements], axis=0)
        self.glass = [
            one.points_px * np.array(um_per_px) / 1000 - self.size_mm / 2 for one in placements
        ]
        self.art = [one.points_mm - middle for one in placements]
        self.ids = [np.array([self.numbers.index(int(i)) for i in one.ids]) for one in placements]
        self.turns = np.array([_turn(a, g) for a, g in zip(self.art, self.glass, strict=True)])
        self.at_scan = 0
        self.at_scale = 5 * self.scans
        self.at_field = self.at_scale + 3
        self.at_length = self.at_field + 2 * len(_POWERS)
        self.at_points = self.at_length + 2
        self.count = self.at_points + 2 * len(self.numbers)
        self._settle_turns()

    def _settle_turns(self) -> None:
        """Take the turns about which all is linear from a first solution."""
        for _ in range(3):
            self.design, self.seen = self._design()
            mean, _ = self.solve(_Spread())
            self.turns = self.turns + mean[0 : self.at_scale : 5]
        self.design, self.seen = self._design()

    def _design(self) -> tuple[Array, Array]:
        rows, seen = [], []
        for scan in range(self.scans):
            for axis in (0, 1):
                block, values = self._rows(scan, axis)
                rows.append(block)
                seen.append(values)
        return np.concatenate(rows), np.concatenate(seen)

    def _rows(self, scan: int, axis: int) -> tuple[Array, Array]:
        """What is seen along one axis in one scan, as a linear function of all unknowns."""
        g, ids = self.glass[scan], self.ids[scan]
        cos, sin = math.cos(self.turns[scan]), math.sin(self.turns[scan])
        turn = np.array([[cos, -sin], [sin, cos]])
        laid = self.art[scan] @ turn.T
        place = (g - laid).mean(axis=0)
        block = np.zeros((len(g), self.count))
        first = 5 * scan
        block[:, first] = laid[:, 1] if axis == 0 else -laid[:, 0]
        block[:, first + 1 + axis] = -1.0
        block[:, first + 3 + axis] = g[:, axis]
        block[:, self.at_scale + axis] = g[:, axis]
        if axis == 0:
            block[:, self.at_scale + 2] = g[:, 1]
        block[:, self.at_field + axis * len(_POWERS) :][:, : len(_POWERS)] = _field_terms(g)
        block[:, self.at_length] = -laid[:, axis]
        block[:, self.at_length + 1] = -turn[axis, 1] * self.art[scan][:, 1]
        for part in (0, 1):
            block[np.arange(len(g)), self.at_points + 2 * ids + part] = -turn[axis, part]
        return block, (laid + place - g)[:, axis]

    def prior_u(self, spread: _Spread) -> Array:
        """Standard deviation of every unknown beforehand."""
        u = np.empty(self.count)
        one = [_TURN_U, _PLACE_U, _PLACE_U, spread.repeat, spread.repeat]
        u[: self.at_scale] = one * self.scans
        u[self.at_scale : self.at_field] = _SCALE_U
        u[self.at_field : self.at_length] = spread.field_mm
        u[self.at_length : self.at_points] = self.size_u
        u[self.at_points :] = self.point_u_mm
        return u

    def solve(self, spread: _Spread) -> tuple[Array, Array]:
        """Mean and covariance of the unknowns."""
        u = self.prior_u(spread)
        scaled = self.design * u / spread.noise_mm
        precision = scaled.T @ scaled + np.eye(self.count)
        cov = np.linalg.inv(precision)
        mean = cov @ (scaled.T @ (self.seen / spread.noise_mm))
        return u * mean, cov * np.outer(u, u)

    def spread(self, mean: Array, cov: Array, old: _Spread, floor_mm: float) -> _Spread:
        """One step of expectation-maximisation for the three spreads."""
        square = mean**2 + np.diag(cov)
        scans = square[: self.at_scale].reshape(self.scans, 5)[:, 3:]
        field = square[self.at_field : self.at_length]
        miss = self.seen - self.design @ mean
        noise = np.sum(miss**2) + np.sum((self.design @ cov) * self.design)
        return _Spread(
            _eased(scans, REPEAT_START),
            _eased(field, FIELD_START_MM),
            max(math.sqrt(float(noise) / miss.size), floor_mm),
        )

    def known_scans(self, cov: Array, spread: _Spread) -> float:
        """How many scan-to-scan deviations the scans really show, less the two means."""
        var = np.diag(cov)[: self.at_scale].reshape(self.scans, 5)[:, 3:]
        return max(0.0, float(np.sum(1.0 - var / spread.repeat**2)))


def _eased(squares: Array, start: float) -> float:
    total = float(np.sum(squares)) + _PRIOR_WEIGHT * start**2
    return math.sqrt(total / (squares.size + _PRIOR_WEIGHT))


def _turn(art: Array, glass: Array) -> float:
    p, q = (art - art.mean(axis=0)) @ [1, 1j], (glass - glass.mean(axis=0)) @ [1, 1j]
    return float(np.angle(np.vdot(p, q)))


def _field_terms(glass: Array) -> Array:
    x, y = (glass / HALF_MM).T
    return np.column_stack([x**i * y**j for i, j in _POWERS])


def _said(
    model: _Model, mean: Array, cov: Array, spread: _Spread, um_per_px: tuple[float, float]
) -> ScannerGeometry:
    at = slice(model.at_scale, model.at_scale + 2)
    square = model.at_scale + 2
    fields = slice(model.at_field, model.at_length)
    draws = np.random.default_rng(1996).multivariate_normal(
        mean[fields], cov[fields, fields], _DRAWS, method="cholesky", check_valid="ignore"
    )
    grid = _grid(model.size_mm)
    terms = _field_terms(grid.reshape(-1, 2))
    rms = np.array([_rms_um(terms, one) for one in draws])
    lengths = _length_errors_um(model.size_mm, draws)
    bent = float(np.sqrt(np.mean(lengths**2)))
    steady = 1000 * spread.repeat * SHEET_MM[1]
    known = model.known_scans(cov, spread) + _PRIOR_WEIGHT
    length_u = math.hypot(bent, steady)
    u_bent = float(np.std(np.sqrt(np.mean(lengths**2, axis=1))))
    u_steady = steady / math.sqrt(2 * known)
    count = len(_POWERS)
    centre = np.column_stack([terms @ mean[fields][:count], terms @ mean[fields][count:]])
    scans = mean[: model.at_scale].reshape(model.scans, 5)[:, 3:]
    return ScannerGeometry(
        float(mean[at][0]), float(mean[at][1]), cov[at, at],
        float(mean[square]), math.sqrt(cov[square, square]),
        spread.repeat, spread.repeat / math.sqrt(2 * known),
        float(rms.mean()), float(rms.std()),
        length_u, math.hypot(bent * u_bent, steady * u_steady) / length_u,
        1000 * spread.noise_mm / math.sqrt(um_per_px[0] * um_per_px[1]),
        model.scans, sum(len(one) for one in model.ids),
        grid, 1000 * centre.reshape(grid.shape), scans + mean[at],
    )  # fmt: skip


def _grid(size_mm: Array) -> Array:
    x = np.linspace(-0.5, 0.5, 9) * min(size_mm[0], 2 * HALF_MM)
    y = np.linspace(-0.5, 0.5, 13) * min(size_mm[1], 2 * HALF_MM)
    return np.stack(np.meshgrid(x, y), axis=-1)


def _rms_um(terms: Array, coefficients: Array) -> float:
    count = len(_POWERS)
    both = (terms @ coefficients[:count]) ** 2 + (terms @ coefficients[count:]) ** 2
    return 1000 * math.sqrt(float(both.mean()) / 2)


def _length_errors_um(size_mm: Array, draws: Array) -> Array:
    """Errors of lengths across a sheet, (draws, lines) [um], along both axes, in five places."""
    count, out = len(_POWERS), []
    for axis in (0, 1):
        half = min(SHEET_MM[axis], float(size_mm[axis])) / 2
        reach = float(min(size_mm[1 - axis], SHEET_MM[1 - axis])) / 2
        for place in np.linspace(-reach, reach, 5):
            ends = np.array([[place, place], [place, place]])
            ends[:, axis] = (-half, half)
            low, high = _field_terms(ends)
            out.append(1000 * draws[:, axis * count : (axis + 1) * count] @ (high - low))
    return np.array(out).T
