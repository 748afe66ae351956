"""The light's part and the paper's part of a change of lightness, against planted ones."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.colour.exposure import KnownGreys, expose_pair
from quirewell.science.colour.spaces import (
    lab_from_srgb,
    linear_from_lab,
    linear_from_srgb,
    srgb_from_linear,
)
from quirewell.science.imaging.light_split import LightSplit, raw_change, split_light
from quirewell.science.imaging.paper_change import (
    LIGHT_SHARE,
    SCANNER_REPEAT_LAB,
    light_change,
    paper_change,
)
from quirewell.science.imaging.strip import GREYS

SHAPE = (30, 22)
BEFORE, CLEAR = (80.0, 3.5, 17.0), np.ones(SHAPE, dtype=bool)


def lab_of(light: np.ndarray) -> np.ndarray:
    return lab_from_srgb(srgb_from_linear(light))


def scene(rng: np.random.Generator, paper_dL: float, gain: float):  # type: ignore[no-untyped-def]
    """Tiles before and after as read, and the steps' sRGB in both; the after lamp is ``gain`` times
    as bright, each tone drifts as a scanner's does, and the paper changes unevenly."""
    clouds = rng.normal(0, 1.0, (*SHAPE, 3))
    first = np.asarray(BEFORE) + clouds
    second = first + [paper_dL, -0.4, -1.5] + 0.4 * rng.normal(0, 1.0, (*SHAPE, 3))
    drift = rng.normal(0, np.asarray(SCANNER_REPEAT_LAB) / np.sqrt(2), (2, 3))
    read = first + drift[0], lab_of(gain * linear_from_lab(second + drift[1]))
    light = linear_from_srgb(np.array(GREYS) / 255.0)
    steps = [
        tuple(255 * srgb_from_linear(g * light) + rng.normal(0, 0.3, len(GREYS))) for g in (1, gain)
    ]
    as_lit_after = lab_of(gain * linear_from_lab(second))
    planted = float(np.median(as_lit_after[..., 0]) - np.median(second[..., 0]))
    return read, steps, planted


def split_of(read, steps):  # type: ignore[no-untyped-def]
    """What the stage does where the steps' own greys are not known."""
    light = light_change(*steps)
    assert light is not None and not light.withheld
    if not light.differs:
        paper = paper_change(read[0], read[1], CLEAR)
        return split_light(read, read[1], None, CLEAR, 0.0, light.steps_L), paper
    relit = lab_of(np.maximum(linear_from_lab(read[1]) - light.offset, 0) / light.gain)
    left = LIGHT_SHARE * abs(np.nanmedian(relit - read[1], axis=(0, 1)))
    split = split_light(read, relit, None, CLEAR, float(left[0]))
    return split, paper_change(read[0], relit, CLEAR, light_u_lab=left)


@pytest.mark.parametrize(
    ("paper", "stops"), [(0.0, 0.06), (3.0, 0.0), (3.0, 0.06)], ids=["light", "paper", "both"]
)
def test_planted_parts_come_back_within_twice_u_in_95_of_100_scenes(
    paper: float, stops: float
) -> None:
    rng = np.random.default_rng(1936)
    hits = [0, 0]
    for _ in range(100):
        change, gain = paper * rng.uniform(0.3, 1.5), float(np.exp(rng.uniform(-1, 1) * stops))
        read, steps, planted = scene(rng, change, gain)
        split, told = split_of(read, steps)
        assert isinstance(split, LightSplit) and split.light is not None and told is not None
        assert split.raw.dL == pytest.approx(split.light.dL + told.change[0], abs=1e-9)
        hits[0] += abs(split.light.dL - planted) <= 2 * split.light.u
        hits[1] += abs(told.change[0] - change) <= 2 * told.u_lab[0]
    assert min(hits) >= 95, hits


def test_u_of_the_light_is_no_larger_than_it_need_be() -> None:
    """Of light alone, errors of the light's part are a good share of the u that is told."""
    rng = np.random.default_rng(7)
    ratio = []
    for _ in range(100):
        read, steps, planted = scene(rng, 0.0, float(np.exp(rng.uniform(0.03, 0.06))))
        split, _ = split_of(read, steps)
        assert split.light is not None
        ratio.append((split.light.dL - planted) / split.light.u)
    assert 0.02 < float(np.sqrt(np.mean(np.square(ratio)))) < 1.2


def test_a_scanner_s_own_curve_is_neither_light_nor_paper() -> None:
    """Both scans bend tones alike: none of it is called light, and the known greys take it out."""
    rng = np.random.default_rng(3)
    true = np.asarray(BEFORE) + rng.normal(0, 1.0, (*SHAPE, 3))
    later = true + np.array([4.0, 0.0, 0.0])
    curve = lambda light: 0.003 + 0.97 * light**1.3  # noqa: E731
    read = tuple(lab_of(curve(linear_from_lab(one))) for one in (true, later))
    steps = np.repeat(np.array(GREYS)[:, None] / 255.0, 3, axis=1)
    known = KnownGreys(tuple(float(v) for v in lab_from_srgb(steps)[:, 0]), 0.3, True)
    srgb = srgb_from_linear(curve(linear_from_srgb(steps)))
    held = expose_pair(srgb, srgb, known)
    assert held is not None
    told = held.lab("before", read[0], True), held.lab("after", read[1], True)
    split = split_light(read, held.lab("after", read[1], False), told, CLEAR, 0.1)
    assert split is not None and split.light is not None and split.scanner is not None
    assert abs(split.light.dL) < 0.02
    assert split.raw.dL - split.light.dL - split.scanner.dL == pytest.approx(4.0, abs=0.15)
    assert split.raw.dL > 4.5


def test_without_enough_paper_nothing_is_split() -> None:
    empty = np.full((*SHAPE, 3), np.nan)
    assert raw_change(empty, empty, CLEAR) is None
    assert split_light((empty, empty), empty, None, CLEAR, 0.1) is None
