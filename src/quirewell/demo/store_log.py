"""The demo's store: a year of a small logger in a cupboard, drawn from a planted climate."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

MEAN_C, SEASON_C = 17.0, 3.0
MEAN_PCT, SEASON_PCT = 48.0, 6.0
EVERY_HOURS = 2


def write_store_log(path: Path, seed: int) -> Path:
    """Write the log: every two hours of 2025, to 0.1 C and 0.1 %, with two days lost."""
    rng = np.random.default_rng([seed, 411])
    hours = np.arange(0, 8760, EVERY_HOURS)
    season = np.sin(2 * np.pi * (hours - 2600) / 8760)
    warm = MEAN_C + SEASON_C * season + rng.normal(0, 0.2, len(hours))
    damp = MEAN_PCT + SEASON_PCT * season + rng.normal(0, 1.0, len(hours))
    start = datetime(2025, 1, 1)
    lines = ["Time,Temperature (C),Humidity (% RH)"]
    for hour, t, h in zip(hours, warm, damp, strict=True):
        if not 5000 <= hour < 5048:
            lines.append(f"{start + timedelta(hours=int(hour))},{t:.1f},{h:.1f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
