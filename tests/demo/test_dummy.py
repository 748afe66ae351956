"""The demo's press: what was planted in secret lies in the calibrated bands, which are narrower."""

from pathlib import Path

import pytest

from quirewell.demo.dummy import planted_answers, write_dummy_log
from quirewell.record.finding import Input
from quirewell.stages.methods import run_method
from quirewell.stages.press_calibrating import METHOD, as_json


@pytest.mark.parametrize("seed", [1936, 7])
def test_the_planted_press_is_found(tmp_path: Path, seed: int) -> None:
    log = tmp_path / "log.csv"
    form = write_dummy_log(log, seed)
    run = run_method(METHOD, "press", {"log": log}, (Input("log", log.name, "0" * 64),), form)
    out = as_json(run)
    assert out["contradiction"] is None
    for name, truth in planted_answers(seed).items():
        now, was = out["calibrated"][name], out["before"][name]
        assert now["low90"] <= truth <= now["high90"]
        assert now["high90"] - now["low90"] < was["high90"] - was["low90"]
