"""Single leaves with planted truth, quick enough to measure by the hundred in tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.demo.bench_strip import lay_strip
from quirewell.demo.difference import ciede2000
from quirewell.demo.outline import EDGES, Loss, Movement, Outline, draw_outline, edge_line, size_of
from quirewell.demo.pages import page_plate
from quirewell.demo.scanner import Face, Glass, Ground, Ink, Laid, Pose, scan, to_px
from quirewell.demo.tears import Tear, with_tears
from quirewell.demo.tone import Ageing, ToneField, tone_field
from quirewell.demo.truth import LeafTruth, PairTruth, StripTruth

Image = NDArray[np.uint8]
Lab = tuple[float, float, float]

BEFORE = Ageing((77.0, 5.0, 23.0), (63.0, 9.5, 29.0), tideline=0.6)
AFTER = Ageing((82.5, 3.0, 17.5), (72.0, 6.0, 23.0), tideline=0.25)


def render_leaf(
    seed: int,
    dpi: int,
    *,
    ground: Ground = "dark",
    strip: bool = True,
    skew_deg: float | None = None,
    losses: Sequence[Loss] | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    scale_error: float | None = None,
    strip_error: float | None = None,
    ageing: Ageing = BEFORE,
    printed: bool = True,
    tears: Sequence[Tear] = (),
) -> tuple[Image, LeafTruth]:
    """One whole leaf on the glass with ground all round, and the right answers.

    Parameters
    ----------
    seed
        everything not stated is drawn from it: size (165..196 x 235..264 mm), skew
        (0.2..1 degree either way), losses, corners off square, the scanner's scale
        (standard deviation 0.2 %), the printed page
    dpi
        resolution the file claims [1/inch]; the true scale differs by ``scale_error`` [-]
    strip_error
        share by which the bench strip is longer than it says [-]; 0 unless stated
    tears
        open tears to plant; they take no paper away
    """
    scene = _Scene(seed, dpi, ground, strip, width_mm, height_mm, losses, scale_error, strip_error)
    scene.outline = with_tears(scene.outline, tears)
    return scene.shoot(ageing, Movement(), skew_deg, 0, printed)


def render_pair(
    seed: int,
    dpi: int,
    *,
    change_width_pct: float | None = None,
    change_height_pct: float | None = None,
    warp_um: float | None = None,
    dE: float | None = None,
    ground: Ground = "dark",
    strip: bool = True,
    losses: Sequence[Loss] | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    scale_drift: float | None = None,
    strip_error: float | None = None,
) -> tuple[Image, Image, PairTruth]:
    """One leaf before and after treatment, laid down anew each time, and the right answers.

    Parameters
    ----------
    change_width_pct, change_height_pct
        planted change [%]; from the seed within -0.3..0.4 and -0.05..0.1 unless stated
    warp_um
        height of the smooth warp [um]; from the seed up to 40 unless stated
    dE
        about this CIEDE2000 between the medians of the paper; the truth holds the exact value
    scale_drift
        share by which the scanner's scale differs between the scans [-]; standard deviation
        0.01 % from the seed unless stated
    """
    rng = np.random.default_rng([seed, 41])
    scene = _Scene(seed, dpi, ground, strip, width_mm, height_mm, losses, None, strip_error)
    width_pct = rng.uniform(-0.3, 0.4) if change_width_pct is None else change_width_pct
    height_pct = rng.uniform(-0.05, 0.1) if change_height_pct is None else change_height_pct
    warp = rng.uniform(0.0, 40.0) if warp_um is None else warp_um
    drift = 1e-4 * rng.standard_normal() if scale_drift is None else scale_drift
    movement = Movement(
        width_pct / 100.0,
        height_pct / 100.0,
        warp / 1000.0,
        -0.7 * warp / 1000.0,
        scene.width_mm,
        scene.height_mm,
    )
    after_ageing = AFTER if dE is None else _lightened(BEFORE, AFTER, dE)
    before, before_truth = scene.shoot(BEFORE, Movement(), None, 1, True)
    scene.glass = replace(
        scene.glass,
        um_per_px_x=scene.glass.um_per_px_x * (1 + drift),
        um_per_px_y=scene.glass.um_per_px_y * (1 + drift),
    )
    after, after_truth = scene.shoot(after_ageing, movement, None, 2, True)
    return before, after, pair_truth(before_truth, after_truth, movement)


def pair_truth(before: LeafTruth, after: LeafTruth, movement: Movement) -> PairTruth:
    """The right answers for two scans of one leaf."""
    return PairTruth(
        before,
        after,
        100.0 * (after.width_mm / before.width_mm - 1.0),
        100.0 * (after.height_mm / before.height_mm - 1.0),
        ciede2000(before.tone_median, after.tone_median),
        movement,
    )


class _Scene:
    """A leaf, its page and the scanner, all drawn from one seed."""

    def __init__(
        self,
        seed: int,
        dpi: int,
        ground: Ground,
        strip: bool,
        width_mm: float | None,
        height_mm: float | None,
        losses: Sequence[Loss] | None,
        scale_error: float | None,
        strip_error: float | None,
    ) -> None:
        rng = np.random.default_rng([seed, 31])
        drawn = rng.uniform(165.0, 196.0), rng.uniform(235.0, 264.0)
        self.seed, self.dpi, self.strip = seed, dpi, strip
        self.width_mm = drawn[0] if width_mm is None else width_mm
        self.height_mm = drawn[1] if height_mm is None else height_mm
        drawn_losses = random_losses(rng, self.width_mm, self.height_mm)
        self.losses = drawn_losses if losses is None else tuple(losses)
        scale = 0.002 * rng.standard_normal()
        scale = scale if scale_error is None else scale_error
        self.strip_error = 0.0 if strip_error is None else strip_error
        um = 25400.0 / dpi * (1.0 + scale)
        self.glass = Glass(
            max(216.0, self.width_mm + 18.0), max(297.0, self.height_mm + 33.0), um, um, ground
        )
        self.outline = draw_outline(
            rng,
            self.width_mm,
            self.height_mm,
            losses=self.losses,
            shear=float(0.0012 * rng.standard_normal()),
        )

    def shoot(
        self, ageing: Ageing, movement: Movement, skew_deg: float | None, take: int, printed: bool
    ) -> tuple[Image, LeafTruth]:
        rng = np.random.default_rng([self.seed, 53, take])
        drawn = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 1.0))
        skew = drawn if skew_deg is None else skew_deg
        middle = self.width_mm / 2, self.height_mm / 2
        at = (
            self.glass.width_mm / 2 + rng.uniform(-1.5, 1.5),
            self.height_mm / 2 + 6.0 + rng.uniform(0.0, 2.0),
        )
        pose = Pose(middle, at, skew)
        tone = tone_field(ageing, self.width_mm, self.height_mm, self.seed)
        ink = _page(self.seed % 6 + 1, self.dpi) if printed else None
        if ink is not None:
            ink = replace(ink, px_per_mm=ink.px_per_mm * 195.0 / self.width_mm)
        outline = self.outline.moved(movement)
        face = Face(outline, tone, (ink,) if ink else (), movement, grain_seed=self.seed)
        laid: tuple[Laid, ...] = ()
        if self.strip:
            foot = at[1] + self.height_mm / 2 + 3.5
            spot = (12.0 + rng.uniform(0, 12.0), foot + rng.uniform(0.0, 1.5))
            laid = (lay_strip(spot, float(rng.uniform(-0.5, 0.5)), self.dpi, self.strip_error),)
        picture = scan(face, pose, self.glass, self.seed * 8 + take, laid=laid)
        bare = unprinted(tone, (ink,) if ink else (), self.width_mm, self.height_mm)
        tones = tone_truth(tone, bare, self.width_mm, self.height_mm)
        truth = leaf_truth(
            outline,
            tones,
            pose,
            self.glass,
            float(self.dpi),
            laid[0] if laid else None,
            self.strip_error,
        )
        return picture, truth


def random_losses(rng: np.random.Generator, width_mm: float, height_mm: float) -> tuple[Loss, ...]:
    """Up to four chips, perhaps a lost corner and a hole."""
    losses = []
    lengths = {"head": width_mm, "right": height_mm, "foot": width_mm, "left": height_mm}
    for edge in EDGES:
        if rng.random() < 0.6:
            at = rng.uniform(0.2, 0.8) * lengths[edge]
            losses.append(
                Loss("chip", edge, float(at), 0.0, rng.uniform(3.0, 12.0), rng.uniform(1.5, 5.0))
            )
    if rng.random() < 0.5:
        edge = EDGES[int(rng.integers(4))]
        losses.append(Loss("corner", edge, 0, 0, rng.uniform(4.0, 11.0), rng.uniform(4.0, 11.0)))
    if rng.random() < 0.4:
        x, y = rng.uniform(0.2, 0.8) * width_mm, rng.uniform(0.2, 0.8) * height_mm
        losses.append(Loss("hole", "", x, y, rng.uniform(1.2, 3.0), rng.uniform(1.2, 3.0)))
    return tuple(losses)


@lru_cache(maxsize=12)
def _page(number: int, dpi: int) -> Ink:
    px_per_mm = max(150, min(2 * dpi, 600)) / 25.4
    return Ink(page_plate(number, 1936, 195.0, 265.0, px_per_mm), px_per_mm)


def _lightened(before: Ageing, after: Ageing, dE: float) -> Ageing:
    """Ageing on the way from ``before`` to ``after`` (and beyond) at about ``dE`` CIEDE2000."""
    low, high = 0.0, 3.0
    for _ in range(30):
        share = 0.5 * (low + high)
        reached = ciede2000(before.centre, _between(before.centre, after.centre, share))
        low, high = (share, high) if reached < dE else (low, share)
    return replace(
        before,
        centre=_between(before.centre, after.centre, low),
        edge=_between(before.edge, after.edge, low),
    )


def _between(one: Lab, other: Lab, share: float) -> Lab:
    values = [a + share * (b - a) for a, b in zip(one, other, strict=True)]
    return values[0], values[1], values[2]


def unprinted(
    tone: ToneField, inks: Sequence[Ink], width_mm: float, height_mm: float
) -> NDArray[np.bool_]:
    """Which cells of a tone field are bare paper of the leaf, half a millimetre from any ink."""
    rows, columns = tone.lab.shape[:2]
    x = tone.origin_mm[0] + tone.cell_mm * np.arange(columns, dtype=np.float32)
    y = tone.origin_mm[1] + tone.cell_mm * np.arange(rows, dtype=np.float32)
    inside = ((x > 1.0) & (x < width_mm - 1.0))[None, :] & ((y > 1.0) & (y < height_mm - 1.0))[
        :, None
    ]
    for ink in inks:
        side = max(3, round(ink.px_per_mm * 1.0) | 1)
        near = cv2.dilate(ink.plate, np.ones((side, side), np.uint8))
        at_x = np.tile((x - ink.origin_mm[0]) * ink.px_per_mm - 0.5, (rows, 1))
        at_y = np.tile(((y - ink.origin_mm[1]) * ink.px_per_mm - 0.5)[:, None], (1, columns))
        inside &= cv2.remap(near, at_x, at_y.astype(np.float32), cv2.INTER_NEAREST) == 0
    return np.asarray(inside)


def tone_truth(
    tone: ToneField,
    bare: NDArray[np.bool_],
    width_mm: float,
    height_mm: float,
    outer: Sequence[str] = EDGES,
) -> tuple[Lab, Lab, Lab]:
    """Centre, margin and median tone of bare paper (see ``truth.DEFINITION``)."""
    rows, columns = tone.lab.shape[:2]
    x = (tone.origin_mm[0] + tone.cell_mm * np.arange(columns))[None, :]
    y = (tone.origin_mm[1] + tone.cell_mm * np.arange(rows))[:, None]
    away = {"left": x, "right": width_mm - x, "head": y, "foot": height_mm - y}
    nearest = np.full((rows, columns), np.inf)
    for edge in outer:
        nearest = np.minimum(nearest, away[edge])
    middle = (np.abs(x / width_mm - 0.5) < 0.25) & (np.abs(y / height_mm - 0.5) < 0.25)
    margin = (nearest >= 2.0) & (nearest <= 8.0)
    return (
        _mean(tone.lab[middle]),
        _mean(tone.lab[bare & margin]),
        _lab(np.median(tone.lab[bare], axis=0)),
    )


def _mean(values: NDArray[np.float32]) -> Lab:
    return _lab(values.mean(axis=0, dtype=np.float64))


def _lab(value: NDArray[np.floating]) -> Lab:
    return float(value[0]), float(value[1]), float(value[2])


def leaf_truth(
    outline: Outline,
    tones: tuple[Lab, Lab, Lab],
    pose: Pose,
    glass: Glass,
    tag_dpi: float,
    strip: Laid | None,
    strip_error: float = 0.0,
) -> LeafTruth:
    """The right answers for one leaf whose four edges are all in the scan."""
    size = size_of(outline)
    lines = {edge: edge_line(outline, edge) for edge in EDGES}
    corners = []
    for level, upright in (
        ("head", "left"),
        ("head", "right"),
        ("foot", "right"),
        ("foot", "left"),
    ):
        (a, b), (c, d) = lines[level], lines[upright]
        x = (c + d * a) / (1.0 - b * d)
        corners.append((x, a + b * x))
    placed = to_px(glass, pose.on_glass(np.array(corners)))
    return LeafTruth(
        size.width_mm,
        size.height_mm,
        size.loss_mm2,
        size.corner_deg,
        *tones,
        glass.um_per_px_x,
        glass.um_per_px_y,
        tag_dpi,
        pose.skew_deg,
        tuple((float(x), float(y)) for x, y in placed),
        None if strip is None else strip_truth(strip, glass, strip_error),
    )


def strip_truth(strip: Laid, glass: Glass, error: float) -> StripTruth:
    """Where the strip's marks lie, and the true distance of the outer two [mm]."""
    names = list(strip.marks_mm)
    points = np.array([strip.marks_mm[name] for name in names])
    placed = to_px(glass, strip.pose.on_glass(points))
    length = float(np.hypot(*(points[-1] - points[0])))
    marks = {name: (float(x), float(y)) for name, (x, y) in zip(names, placed, strict=True)}
    return StripTruth(length, length / (1.0 + error), marks)
