"""The bench's press held against a dummy: its log and weights drawn from a press planted in secret.

The planted press is a setting within the bounds of what nobody knows, followed by the same
equations with a probe's offset, a logger's noise and a kitchen scale laid over it: it shows that
the calibration finds what was planted, and says nothing about the equations themselves.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from quirewell.science.press.calibrate import lost, read
from quirewell.science.press.course import answers, follow
from quirewell.science.press.known import Bounds, knobs_of
from quirewell.science.press.stack import Knobs
from quirewell.stages.press_entry import read_pressing

PRESS = "the bench's book press"
# Nine wraps of old newsprint of no value, damp from a chamber over table salt, so that weighing
# tells much, pressed as the Annual will be.
STACK = {
    "wraps": "9", "start_rh_pct": "75", "platen_c": "60", "minutes": "15", "heat": "above",
    "above": "aluminium; thin board; card", "below": "blotter; blotter; thin board; thin board",
    "centre": "thin board 0.5", "cooling": "in place", "room_c": "20", "room_rh_pct": "48",
    "width_mm": "194", "height_mm": "265",
}  # fmt: skip
WARM_UP = "0 min 21 C; 4 min 48 C; 9 min 60 C"
SCALE_G, PROBE_OFFSET_C, NOISE_C = 0.1, 0.5, 0.15


def planted(seed: int) -> Knobs:
    """The press as it really is, which the bench never learns."""
    return knobs_of(Bounds(), 64)[(17 * seed + 10) % 64]


def planted_answers(seed: int) -> dict[str, float]:
    """What really happened in the dummy: centre [C] and water lost [g/m2] when heating ended."""
    found = answers(follow(read_pressing({**STACK, "schedule": WARM_UP}), planted(seed)))
    return {"centre_c": found.centre_c, "lost_g_m2": found.lost_g_m2}


def write_dummy_log(target: Path, seed: int) -> dict[str, str]:
    """Write the logger's file and give the rest of the form: the stack and both weights."""
    course = follow(read_pressing({**STACK, "schedule": WARM_UP}), planted(seed))
    rng = np.random.default_rng(seed)
    t_s = np.arange(0.0, 3000.0, 20.0)
    centre = read(course, "centre", "C", t_s) + PROBE_OFFSET_C + rng.normal(0, NOISE_C, len(t_s))
    platen = np.interp(t_s / 60, [0, 4, 9], [21, 48, 60])
    lines = ["time_s,platen C,centre C"]
    for t, hot, fold in zip(t_s, platen, centre, strict=True):
        lines.append(f"{t:.0f},{hot if t <= 900 else float('nan'):.1f},{fold:.1f}")
    target.write_text("\n".join(lines).replace("nan", "") + "\n", encoding="utf-8")
    grams = lost(course, 900.0) * 0.194 * 0.265
    before = 63.4
    return {
        **STACK, "before_g": f"{before:.1f}", "after_g": f"{before - grams:.1f}",
        "weighed_min": "15", "scale_g": f"{SCALE_G:g}",
    }  # fmt: skip
