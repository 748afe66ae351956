"""``creep.fit`` and ``fold.plan``: findings, honest defaults, and sentences for what is wrong."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from head_scenes import head_scene
from quirewell.record.finding import Finding, Run
from quirewell.stages import creeping, folding
from quirewell.stages.asking import NAMES
from quirewell.stages.methods import run_method
from quirewell.stages.width_table import read_steps, read_widths

WIDTHS = "wrap,width_mm,u_mm\n" + "\n".join(
    f"w{i:02d},{368.2 - 0.22 * (i - 1) + 0.05 * (-1) ** i + (1.4 if i == 6 else 0):.2f},0.12"
    for i in range(1, 10)
)


def creep(**params: str) -> Run:
    return run_method(creeping.METHOD, "item", {}, params=params)


def fold(**params: str) -> Run:
    return run_method(folding.METHOD, "item", {}, params=params)


def of(run: Run, quantity: str, subject: str = "item") -> Finding:
    return next(o for o in run.findings if o.quantity == quantity and o.subject == subject)


def test_creep_with_its_odd_wrap_and_terms():
    run = creep(widths=WIDTHS)
    found = of(run, "creep.kappa_t_mm")
    assert found.low90 is not None and found.high90 is not None
    assert found.low90 < 0.11 < found.high90
    out = creeping.as_json(run)
    assert [one["wrap"] for one in out["outliers"]] == ["w06"]
    assert out["outliers"][0]["off_mm"] == pytest.approx(1.4, abs=0.25)
    assert len(out["wraps"]) == 9 and out["against"] == "w01"
    kappa = of(run, "creep.kappa")
    assert kappa.standing == "from memory" and len(kappa.terms) == 2
    assert any("ten leaves together" in says for says in run.warnings)
    assert "Look at wrap 6" in out["says"]


def test_a_measured_leaf_narrows_the_factor():
    wide, near = of(creep(widths=WIDTHS), "creep.kappa"), of(
        creep(widths=WIDTHS, leaf_mm="0,085"), "creep.kappa"
    )  # fmt: skip
    assert near.u is not None and wide.u is not None
    assert near.u < 0.8 * wide.u and near.standing == "measured here"


def test_too_few_wraps_fall_back_on_the_trade_and_say_so():
    run = creep(widths="wrap,width_mm\nc,370\nw01,368\nw02,367.6")
    found = of(run, "creep.kappa_t_mm")
    assert found.value == pytest.approx(1.3 * 0.085) and found.standing == "common practice"
    assert "too few" in of(run, "creep.says").text
    assert of(run, "creep.front_mm", "w01").value == pytest.approx(-1 + 1.3 * 0.1025)
    assert creeping.as_json(run)["outliers"] == []


def test_before_and_steps():
    later = WIDTHS.replace("368.", "370.")
    run = creep(widths=WIDTHS, before=WIDTHS)
    assert "neither" in of(run, "creep.change_mm").text
    assert later
    steps = "leaf;depth_mm\n1;1,0\n4;0,8\n8;0,5\n9;0,2\n10;0,1\n11;0,1\n15;0,4\n18;0,5"
    run = creep(widths=WIDTHS, steps=steps)
    assert {"creep.roll_deg", "creep.vee_mm", "creep.step_mm"} <= {o.quantity for o in run.findings}


def test_loose_wraps_are_told():
    loose = "wrap,width_mm,u_mm\n" + "\n".join(
        f"w{i:02d},{368 + (5 if i % 2 else 0)},0.1" for i in range(1, 9)
    )
    assert any("lie on no line" in says for says in creep(widths=loose).warnings)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "give the widths"),
        ("wrap,width_mm", "at least one row"),
        ("width_mm\n368", "wrap is not there"),
        ("wrap,width_mm,colour\nw01,368,red", "'colour' is no column"),
        ("wrap,width_mm,wrap\nw01,368,w01", "there twice"),
        ("wrap,width_mm\nx,368", "line 2: 'x' names no sheet"),
        ("wrap,width_mm\nw01,368\nw1,367", "line 3: w01 is there twice"),
        ("wrap,width_mm\nw01,wide", "no number"),
        ("wrap,width_mm\nw01,1e9", "no number"),
        ("wrap,width_mm\nw01,36800", "between 20 and 2000"),
        ("wrap,width_mm\nw01,368,2", "3 cells, the header 2"),
        ("wrap,width_mm\nw01,", "needs width_mm, or both"),
        ("wrap,left_mm,right_mm,width_mm\nw01,184,184,372", "measure again"),
        ('wrap,width_mm\n"w01,368', "quote that is not closed"),
        ("wrap,width_mm\nw01,\x00", "no text"),
        ("wrap,width_mm\n" + "#" * 200_001, "at most 200000"),
        ("wrap,width_mm\nc,370", "cover only"),
    ],
)
def test_ugly_tables_get_a_sentence(text, says):
    with pytest.raises(ValueError, match=says):
        creep(widths=text)


def test_tables_of_other_hands_are_read():
    rows = read_widths("\ufeff# ours\nWrap;Left_mm;Right_mm\ncover;-185,2;185,1\nWrap 3;184;183,9")
    assert [(one.name, one.width_mm) for one in rows] == [("c", 370.3), ("w03", 367.9)]
    with pytest.raises(ValueError, match="leaves count from 1"):
        read_steps("leaf,depth_mm\n0,1")
    with pytest.raises(ValueError, match="say how far leaf 3"):
        read_steps("leaf,depth_mm\n3,")


def test_a_first_fold_gives_the_plan_and_the_check():
    run = fold(front_now_mm="1.4", back_now_mm="0,2", choice="even", front_after_mm="0.8",
               back_after_mm="0.8")  # fmt: skip
    out = folding.as_json(run)
    assert out["front_mm"]["value"] == pytest.approx(0.8) and out["shift_mm"][
        "value"
    ] == pytest.approx(-0.6)
    assert out["total_mm"]["value"] == pytest.approx(1.6)
    assert [one["name"] for one in out["choices"] if one["chosen"]] == ["even split"]
    assert out["off_mm"]["says"].startswith("the fold lies where it was meant")
    assert out["front_range_mm"] == [0.0, pytest.approx(1.6)]
    assert any("brittle" in says.lower() for says in out["cautions"])
    assert "humidify it first" in run.warnings[0]


def test_roll_is_checked_against_the_roll_before():
    """Found, as read after, difference, and what would surely have been seen."""
    run = fold(front_now_mm="1.4", back_now_mm="0.2", bevel_mm="1.5", leaves="18", choice="keep",
               front_after_mm="1.3", back_after_mm="0.4", roll_after_mm="0.1")  # fmt: skip
    assert of(run, "fold.front_now_mm").value == 1.4 and of(run, "fold.back_now_mm").value == 0.2
    assert of(run, "fold.front_after_mm").value == 1.3
    assert of(run, "fold.back_after_mm").value == 0.4
    change = of(run, "fold.roll_change_mm")
    assert change.value == pytest.approx(-1.4) and change.u == pytest.approx(0.25 * np.sqrt(2))
    assert change.text.startswith("the roll is less")
    assert of(run, "fold.roll_seen_mm").value == pytest.approx(1.27, abs=0.01)
    assert of(run, "fold.lead_after_mm").value == pytest.approx(0.1)
    alone = folding.as_json(fold(roll_mm="0.4", roll_after_mm="0.2"))
    assert alone["roll_change_mm"]["says"].startswith("no change of the roll was seen")


def test_flat_sizes_alone_are_wide_and_say_what_narrows():
    run = fold(flat_cover_mm="370.5", block_mm="184")
    total, first = (
        of(run, "fold.total_mm"),
        of(fold(front_now_mm="1", back_now_mm="1"), "fold.total_mm"),
    )
    assert total.u is not None and first.u is not None and total.u > 1.5 * first.u
    assert any("fold the cover once round" in says for says in run.warnings)
    known = fold(flat_cover_mm="370.5", block_mm="184", front_now_mm="1", back_now_mm="1")
    assert of(known, "fold.allowance_mm").value == pytest.approx(0.5)


def test_half_widths_move_folds():
    run = fold(widths="wrap,left_mm,right_mm,u_mm\nw01,184.0,184.1,0.1\nw03,184.6,183.2,0.1")
    assert of(run, "fold.move_mm", "w03").value == pytest.approx(0.7)
    assert of(run, "fold.line_mm", "w01").value == 0
    assert "fold.says" not in {one.quantity for one in run.findings}


def test_a_photograph_of_the_head(tmp_path: Path):
    path = tmp_path / "head.png"
    cv2.imwrite(str(path), (255 * np.clip(head_scene(15, seed=2), 0, 1)).astype(np.uint8))
    run = run_method(folding.METHOD, "item", {"head": path}, params={"thickness_mm": "2.6"})
    roll = of(run, "fold.roll_deg")
    assert roll.value == pytest.approx(15, abs=2.5)
    assert of(run, "fold.lead_mm").value == pytest.approx(0.70, abs=0.15)
    under = run_method(folding.METHOD, "item", {"head": path}, params={"front_up": "no"})
    assert of(under, "fold.roll_deg").value == pytest.approx(-(roll.value or 0))
    assert any("in millimetres" in says for says in under.warnings)


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({}, "give something measured"),
        ({"front_now_mm": "1"}, "both front_now_mm and back_now_mm"),
        ({"block_mm": "184"}, "both flat_cover_mm and block_mm"),
        ({"bevel_mm": "1"}, "give leaves or thickness_mm"),
        ({"front_now_mm": "1", "back_now_mm": "1", "choice": "asked"}, "needs ask_front_mm"),
        ({"front_now_mm": "1", "back_now_mm": "1", "choice": "roll"}, "needs roll_mm"),
        ({"front_now_mm": "1", "back_now_mm": "1", "ask_front_mm": "1"}, "ask for both"),
        ({"front_now_mm": "1", "back_now_mm": "1", "back_after_mm": "1"}, "needs both front_after"),
        ({"front_after_mm": "1"}, "needs the plan"),
        ({"front_now_mm": "1", "back_now_mm": "1", "roll_after_mm": "1"}, "needs the roll before"),
        ({"roll_mm": "1", "roll_after_mm": "100"}, "at most 60 mm"),
        ({"front_now_mm": "400", "back_now_mm": "1"}, "at most 60 mm"),
        ({"front_now_mm": "1", "back_now_mm": "1", "u_mm": "0"}, "above 0"),
        ({"thickness_mm": "900", "bevel_mm": "1"}, "0.2 to 60"),
        ({"wings": "2"}, "knows no parameter"),
    ],
)
def test_what_cannot_be_used_gets_a_sentence(params, says):
    with pytest.raises(ValueError, match=says):
        fold(**params)


def test_every_quantity_has_a_name():
    runs = [
        creep(widths=WIDTHS, before=WIDTHS, steps="leaf,depth_mm\n1,1\n2,1\n17,0\n18,0"),
        fold(front_now_mm="1.4", back_now_mm="0.2", bevel_mm="0.5", leaves="18", widths=WIDTHS,
             flat_cover_mm="370", block_mm="184", front_after_mm="1", back_after_mm="1",
             roll_after_mm="0.1"),
    ]  # fmt: skip
    assert {one.quantity for run in runs for one in run.findings} <= set(NAMES)
