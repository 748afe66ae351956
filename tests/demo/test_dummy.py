"""The demo's press: what was planted in secret lies in the calibrated bands, which are narrower."""

from pathlib import Path
from typing import Any

from scipy.stats import binom

from quirewell.demo.dummy import planted_answers, write_dummy_log
from quirewell.record.finding import Input
from quirewell.stages.methods import run_method
from quirewell.stages.press_calibrating import METHOD, as_json

SEEDS = (1936, 7, 1, 2, 3)


def _calibrated(log: Path, seed: int) -> dict[str, Any]:
    form = write_dummy_log(log, seed)
    run = run_method(METHOD, "press", {"log": log}, (Input("log", log.name, "0" * 64),), form)
    return as_json(run)


def test_planted_presses_are_found(tmp_path: Path) -> None:
    """A band called 90 % misses one in ten, and so one planting says little: of ten bands over five
    presses, the demo's among them, at least eight hold, and a miss is a near one."""
    misses, bands = [], 0
    for seed in SEEDS:
        out = _calibrated(tmp_path / f"{seed}.csv", seed)
        assert out["contradiction"] is None
        for name, truth in planted_answers(seed).items():
            now, was = out["calibrated"][name], out["before"][name]
            width = now["high90"] - now["low90"]
            assert width < was["high90"] - was["low90"]
            bands += 1
            beyond = max(now["low90"] - truth, truth - now["high90"], 0.0)
            if beyond > 0:
                misses.append(beyond / width)
    assert binom.sf(1, bands, 0.1) > 0.05  # Two misses of ten are no surprise ...
    assert binom.sf(2, bands, 0.1) < 0.1  # ... three would be one.
    assert len(misses) <= 2
    assert all(miss < 0.2 for miss in misses)
