"""A press calibrated on planted truth: bands hold it and tighten; what no press does is told.

The planted presses are invented: settings drawn within the bounds, read with a probe's offset, a
logger's noise and a kitchen scale.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quirewell.science.press.calibrate import Marks, Weighed, calibrate, lost, read
from quirewell.science.press.course import Pressing, answers, follow
from quirewell.science.press.known import (
    NAMES,
    Bounds,
    Known,
    draws_of,
    from_text,
    knobs_of,
    scale_of,
    to_text,
)
from quirewell.science.press.materials import MATERIALS
from quirewell.science.press.stack import Knobs, Layer, Pamphlet, Stack

_M = MATERIALS
STACK = Stack(
    (Layer(_M["aluminium"], 3.2), Layer(_M["thin-board"], 1.5), Layer(_M["card"], 0.25)),
    Pamphlet(wraps=8, start_rh=0.7, centre=Layer(_M["thin-board"], 0.5)),
    (Layer(_M["blotter"], 0.6), Layer(_M["blotter"], 0.6), Layer(_M["thin-board"], 3.0)),
)
PRESSING = Pressing(STACK, platen_c=65.0, minutes=15.0)
SCALE_G_M2, PROBE_C = 1.7, 1.0


def _readings(knobs: Knobs, seed: int) -> tuple[Marks, Weighed]:
    rng = np.random.default_rng(seed)
    course = follow(PRESSING, knobs)
    t_s = np.arange(0.0, 3600.0, 10.0)
    values = read(course, "centre", "C", t_s) + rng.normal(0, PROBE_C) + rng.normal(0, 0.2, 360)
    weight = Weighed(lost(course, None) + rng.normal(0, SCALE_G_M2), SCALE_G_M2)
    return Marks("centre", "C", t_s, values, PROBE_C), weight


def _spans(settings: list[Knobs], name: str) -> tuple[float, float]:
    values = [getattr(answers(follow(PRESSING, knobs)), name) for knobs in settings]
    low, high = np.percentile(values, (5, 95))
    return float(low), float(high)


@pytest.mark.parametrize("number", [3, 10, 40])
def test_the_band_tightens_and_holds_the_planted_press(number: int) -> None:
    hidden = knobs_of(Bounds(), 64)
    probe, weight = _readings(hidden[number], number)
    fitted = calibrate(PRESSING, (probe,), weight)
    assert fitted.against == ()
    assert fitted.counted == 5
    truth = answers(follow(PRESSING, hidden[number]))
    before, after = hidden[::2], draws_of(fitted.known, 32)
    for name, narrower in (("centre_c", 0.85), ("lost_g_m2", 0.6)):
        was, now = _spans(before, name), _spans(after, name)
        assert now[1] - now[0] < narrower * (was[1] - was[0])
        slack = 0.35 * (now[1] - now[0])
        assert now[0] - slack <= getattr(truth, name) <= now[1] + slack


def test_a_weighing_alone_narrows_the_water_and_hardly_the_heat() -> None:
    hidden = knobs_of(Bounds(), 64)
    _, weight = _readings(hidden[10], 1)
    fitted = calibrate(PRESSING, (), weight)
    before, after = hidden[::2], draws_of(fitted.known, 32)
    was, now = _spans(before, "lost_g_m2"), _spans(after, "lost_g_m2")
    assert now[1] - now[0] < 0.6 * (was[1] - was[0])
    was, now = _spans(before, "centre_c"), _spans(after, "centre_c")
    assert now[1] - now[0] > 0.5 * (was[1] - was[0])


def test_what_no_press_does_is_a_contradiction() -> None:
    hidden = knobs_of(Bounds(), 64)
    probe, weight = _readings(hidden[10], 2)
    cooler = replace(probe, values=20 + 0.5 * (probe.values - 20))
    fitted = calibrate(PRESSING, (cooler,), weight)
    assert len(fitted.against) == 1
    assert "in the centrefold the log is" in fitted.against[0]
    assert "cooler" in fitted.against[0]
    heavier = calibrate(PRESSING, (), Weighed(160.0, SCALE_G_M2))
    assert "weighing says" in heavier.against[0]


def test_more_readings_of_one_probe_make_it_no_surer() -> None:
    hidden = knobs_of(Bounds(), 64)
    probe, weight = _readings(hidden[3], 3)
    few = replace(probe, t_s=probe.t_s[::15], values=probe.values[::15])
    many = calibrate(PRESSING, (probe,), weight).known.curves[0]
    less = calibrate(PRESSING, (few,), weight).known.curves[0]
    ratio = np.sqrt(np.diag(many.covariance) / np.diag(less.covariance))
    assert ratio.min() > 0.6
    assert ratio.max() < 1.6


def test_a_calibration_survives_its_text() -> None:
    probe, weight = _readings(knobs_of(Bounds(), 64)[21], 4)
    known = calibrate(PRESSING, (probe,), weight).known
    again = from_text(to_text(known))
    for one, two in zip(known.curves, again.curves, strict=True):
        assert one.curve == two.curve
        assert np.allclose(one.logs, two.logs, rtol=1e-4, atol=1e-4)
        assert np.allclose(one.covariance, two.covariance, rtol=1e-3, atol=1e-4)


def test_draws_keep_within_the_bounds() -> None:
    middle, half = scale_of(Bounds())
    probe, _ = _readings(knobs_of(Bounds(), 64)[52], 5)
    known = calibrate(PRESSING, (probe,), None).known
    for knobs in draws_of(known, 64):
        contacts = knobs.contacts
        logs = np.log([contacts.paper, contacts.hard, contacts.platen, knobs.leaf_mu,
                       knobs.other_mu, knobs.conducts])  # fmt: skip
        assert (np.abs(logs - middle) <= half + 1e-9).all()
    assert len(draws_of(known, 64)) == 64


@pytest.mark.parametrize(
    "text",
    ["", "hello", "tryding 0.5 1 2 3", "tryding " + " ".join(["nan"] * (1 + len(NAMES) + 21))],
)
def test_what_is_no_calibration_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no calibration"):
        from_text(text)


def test_nothing_read_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing was read"):
        calibrate(PRESSING, (), None)


def test_a_platen_on_a_schedule() -> None:
    level = follow(PRESSING)
    same = follow(replace(PRESSING, schedule=((0.0, 65.0), (15.0, 65.0))))
    assert np.abs(same.temperature_c - level.temperature_c).max() < 1e-6
    slow = follow(replace(PRESSING, schedule=((0.0, 20.0), (5.0, 65.0))))
    assert slow.centre_c[30] < level.centre_c[30] - 3
    assert slow.balance_error_rel < 1e-9
    with pytest.raises(ValueError, match="15 to 95 °C"):
        follow(replace(PRESSING, schedule=((0.0, 20.0), (5.0, 121.0))))
    with pytest.raises(ValueError, match="forward in time"):
        follow(replace(PRESSING, schedule=((5.0, 20.0), (5.0, 65.0))))


def test_known_is_a_value() -> None:
    probe, weight = _readings(knobs_of(Bounds(), 64)[63], 6)
    known = calibrate(PRESSING, (probe,), weight).known
    assert isinstance(known, Known)
    assert sum(one.share for one in known.curves) == pytest.approx(1.0)
    assert known.best.curve in ("tryding", "heikkila")
