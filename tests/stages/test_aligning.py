"""``rejoin.align`` as a method: findings with their u, words, and the JSON of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from laid_sheets import moved_hole, planted, with_edges
from quirewell.record.finding import Run
from quirewell.science.booklet.align import align
from quirewell.stages import aligning
from quirewell.stages.hole_table import write_holes
from quirewell.stages.methods import run_method

EXAMPLE = Path(__file__).parents[2] / "examples/rejoin/holes.csv"


def run(text: str, **params: str) -> Run:
    return run_method(aligning.METHOD, "item", {}, params={"holes": text, **params})


def test_each_sheet_has_shift_and_turn_with_their_u() -> None:
    sheets, _ = planted(np.random.default_rng(1), count=5)
    made = run(write_holes(sheets))
    laid = align(sheets)
    found = {(one.subject, one.quantity): one for one in made.findings}
    for placed in laid.sheets:
        for name in ("dx_mm", "dy_mm", "turn_mrad"):
            one = found[placed.name, f"rejoin.{name}"]
            assert one.value == pytest.approx(getattr(placed, name), abs=2e-3)
            assert one.u == pytest.approx(getattr(placed, f"u_{name}"), rel=1e-3)
            assert one.terms and "add in squares" in one.note
    assert found["item", "rejoin.rms_mm"].value == pytest.approx(laid.rms_mm, abs=1e-4)
    assert found["item", "rejoin.rms_mm"].u is None
    assert "5 sheets lie on one pattern of 4 holes" in found["item", "rejoin.says"].text
    assert aligning.LEFT_OUT in made.warnings


def test_the_same_text_gives_the_same_run() -> None:
    text = EXAMPLE.read_text("utf-8")
    assert run(text) == run(text)


def test_the_example_tells_its_wrong_hole_its_lost_staple_and_its_torn_hole() -> None:
    out = aligning.as_json(run(EXAMPLE.read_text("utf-8")))
    wraps = {one["name"]: one for one in out["wraps"]}
    assert wraps["w06"]["wrong_hole"] == 1 and "hole 1 of wrap 6" in out["says"]
    assert "One staple lost" in wraps["w07"]["flags"][0]
    assert wraps["w07"]["residual_mm"][2:] == [None, None]
    assert wraps["w03"]["residual_mm"][1] > 0.4 > out["max_mm"]
    assert wraps["w05"]["residual_mm"][3] is None
    assert out["infeasible"] == [] and out["reference"] == "c"


def test_json_holds_what_was_promised() -> None:
    rng = np.random.default_rng(2)
    sheets, _ = planted(rng, count=6, size=0.7)
    sheets = [
        with_edges(one, left_mm=-184.0, right_mm=184.0, head_mm=float(y), tail_mm=260.0 + float(y))
        for one, y in zip(sheets, [0.0, *rng.normal(0, 0.25, 5)], strict=True)
    ]
    sheets[4] = moved_hole(sheets[4], 2, 0.0, 1.5)
    out = aligning.as_json(run(write_holes(sheets), head_tail_mm="0,3"))
    assert out["rms_mm"] < out["max_mm"]
    for one in out["wraps"]:
        assert {"value", "u", "low90", "high90", "unit"} <= set(one["dx_mm"])
        assert one["turn_mrad"]["unit"] == "mrad"
        assert len(one["residual_mm"]) == len(one["slack_used"]) == len(one["holes"]) == 4
        assert all(off >= 0 for off in one["residual_mm"])
        assert one["slack_used"][0] == pytest.approx(one["residual_mm"][0] / 0.1, abs=1e-3)
        assert one["edge_excess_mm"] <= 0.3 + 1e-6 or one["infeasible"]
        assert isinstance(one["flags"], list)
        assert all(cost >= 0 for cost in one["costs"].values())
    assert any(one["costs"] for one in out["wraps"])
    assert out["wraps"][4]["wrong_hole"] == 2 and out["method"] == "rejoin.align@1"


def test_what_nothing_holds_has_no_u() -> None:
    sheets, _ = planted(np.random.default_rng(3), count=4)
    text = "\n".join(
        line for line in write_holes(sheets).splitlines() if not line.startswith(("w02,", "w03,"))
    )
    text += "\nw02,1,0.1,60.2,,,\nw03,1,,,,,missing\n"
    out = aligning.as_json(run(text))
    one, none = out["wraps"][2:]
    assert one["dx_mm"]["value"] is not None and one["dx_mm"]["u"] is None
    assert one["turn_mrad"] == {
        "value": None, "u": None, "unit": "mrad", "text": "nothing holds it",
    }  # fmt: skip
    assert none["dx_mm"]["value"] is None and none["residual_mm"] == [None]


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"holes": ""}, "give the holes"),
        ({"holes": "wrap,hole,x_mm,y_mm\nc,1,0,60\n"}, "two sheets or more"),
        ({"holes": "wrap,hole,x_mm,y_mm\nc,1,0,sixty\n"}, "line 2"),
        ({"holes": "x", "scale": "1"}, "knows no parameter 'scale'"),
        ({"wire_mm": "thick"}, "not a number"),
        ({"wire_mm": "9"}, "0 to 2 mm"),
        ({"turn_mrad": "-1"}, "turn lies from 0"),
    ],
)
def test_what_cannot_be_is_refused(params: dict[str, str], says: str) -> None:
    given = {"holes": EXAMPLE.read_text("utf-8"), **params}
    with pytest.raises(ValueError, match=says):
        run_method(aligning.METHOD, "item", {}, params=given)
