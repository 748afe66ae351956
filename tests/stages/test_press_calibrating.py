"""A press calibrated from a log and weights as typed: kept as text, used by the next pressing.

The dummy is invented: a setting drawn within the bounds, its centre logged with an offset and
noise, weighed on a kitchen scale.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quirewell.record.finding import Input, Run
from quirewell.science.press.calibrate import lost, read
from quirewell.science.press.course import follow
from quirewell.science.press.known import Bounds, from_text, knobs_of
from quirewell.stages.methods import run_method
from quirewell.stages.press_calibrating import METHOD, as_json, use_of
from quirewell.stages.press_entry import read_pressing
from quirewell.stages.pressing import METHOD as PRESS
from quirewell.stages.pressing import as_json as press_json

STACK = {"wraps": "6", "start_rh_pct": "70", "below": "blotter; thin board"}


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    knobs = knobs_of(Bounds(), 64)[10]
    course = follow(read_pressing(STACK), knobs)
    t_s = np.arange(0.0, 2400.0, 30.0)
    values = read(course, "centre", "C", t_s) + 0.4
    path = tmp_path_factory.mktemp("log") / "log.csv"
    rows = [f"{300 + t:.0f},{v:.1f}" for t, v in zip(t_s, values, strict=True)]
    # Five minutes of an idle logger first.
    path.write_text("time_s,T1\n" + "0,20.4\n" + "\n".join(rows) + "\n")
    grams = lost(course, None) * 0.184 * 0.26
    weights = {"before_g": "60.0", "after_g": f"{60 - grams:.1f}"}
    return path, {**STACK, **weights, "columns": "centre=T1", "heat_on_min": "5"}


def _run(path: Path | None, params: dict[str, str]) -> Run:
    files = {} if path is None else {"log": path}
    inputs = () if path is None else (Input("log", "log.csv", "0" * 64),)
    return run_method(METHOD, "press", files, inputs, params)


def test_what_is_found_is_used_by_the_next_pressing(log: tuple[Path, dict[str, str]]) -> None:
    run = _run(*log)
    out = as_json(run)
    assert out["contradiction"] is None
    known = from_text(use_of(run))
    assert {one.curve for one in known.curves} == {"tryding", "heikkila"}
    plain = run_method(PRESS, "finish", {}, params=STACK)
    mine = run_method(PRESS, "finish", {}, params={**STACK, "known": use_of(run)})
    for name in ("press.lost_g_m2", "press.centre_c"):
        before, after = (
            next(one for one in each.findings if one.quantity == name) for each in (plain, mine)
        )
        assert before.u is not None
        assert after.u is not None
        assert after.u < 0.8 * before.u
        assert after.standing == "measured here"
    assert press_json(mine)["standing"] == "computed by the calibrated press"
    assert any("never measured" in one for one in plain.warnings)
    assert not any("never measured" in one for one in mine.warnings)


def test_the_band_before_is_the_uncalibrated_one(log: tuple[Path, dict[str, str]]) -> None:
    out = as_json(_run(*log))
    plain = press_json(run_method(PRESS, "finish", {}, params=STACK))
    assert out["before"]["lost_g_m2"]["high90"] == plain["water"]["lost_g_m2"]["high"]
    spans = [out[key]["lost_g_m2"]["high90"] - out[key]["lost_g_m2"]["low90"]
             for key in ("before", "calibrated")]  # fmt: skip
    assert spans[1] < spans[0]


def test_a_weight_alone_will_do(log: tuple[Path, dict[str, str]]) -> None:
    params = {key: text for key, text in log[1].items() if key not in ("columns", "heat_on_min")}
    out = as_json(_run(None, params))
    assert out["contradiction"] is None
    assert [row["signal"] for row in out["misfits"]] == ["weight"]


def test_a_contradiction_is_told_and_narrows_nothing(log: tuple[Path, dict[str, str]]) -> None:
    run = _run(log[0], {**log[1], "platen_c": "90"})
    out = as_json(run)
    assert "cannot follow" in out["contradiction"]
    assert out["use"] is None
    assert out["before"] == {
        key: {**row, "terms": out["before"][key]["terms"]} for key, row in out["before"].items()
    }
    assert out["calibrated"]["centre_c"]["value"] == out["before"]["centre_c"]["value"]
    assert run.warnings[0].startswith("The model cannot follow")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"heat_on_min": "500"}, "fewer than two readings"),
        ({"after_g": ""}, "before and after"),
        ({"after_g": "0"}, "more than such an item holds"),
        ({"scale_g": "500"}, "scale reads in steps"),
        ({"columns": "centre=9"}, "no single column"),
        ({"probe_u_c": "0"}, "a probe is unsure"),
        ({"spine": "1"}, "knows no parameter"),
    ],
)
def test_what_cannot_be_is_a_sentence(
    log: tuple[Path, dict[str, str]], changes: dict[str, str], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        _run(log[0], {**log[1], **changes})


def test_a_logged_platen_is_followed(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    course = follow(read_pressing({**STACK, "schedule": "0 min 20 C; 6 min 65 C"}))
    t_s = np.arange(0.0, 900.0, 20.0)
    values = read(course, "centre", "C", t_s)
    platen = np.interp(t_s, [0, 360], [20, 65])
    lines = [f"{t:.0f},{a:.2f},{b:.2f}" for t, a, b in zip(t_s, platen, values, strict=True)]
    path.write_text("time_s,platen C,centre C\n" + "\n".join(lines) + "\n")
    run = _run(path, dict(STACK))
    assert as_json(run)["contradiction"] is None
    worst = as_json(run)["misfits"][0]
    assert abs(worst["value"]) < 1.5
