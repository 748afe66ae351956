"""Tables of damage, rules, scale and returns, and the method that grades by them."""

from __future__ import annotations

from pathlib import Path

import pytest

from quirewell.science.condition.scale import TRADE, Scale
from quirewell.stages.defect_table import read_defects, read_returns
from quirewell.stages.examine import DEFECT_TERMS
from quirewell.stages.grading import METHOD, as_json
from quirewell.stages.methods import METHODS, run_method
from quirewell.stages.plain_table import TableError
from quirewell.stages.repairs import NOTHING, REPAIRS
from quirewell.stages.rule_table import (
    built_in,
    digest,
    read_rules,
    read_scale,
    rules_in_force,
    write_rules,
    write_scale,
)
from quirewell.stages.standard_terms import TERMS
from quirewell.stages.step_table import STEP_KINDS

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/condition"
HEAD = "code,location,extent,u,unit\n"


def read(row: str, head: str = HEAD):
    return read_defects(head + row, built_in())[0]


def graded(defects: str, **more: str):
    return as_json(run_method(METHOD, "item", {}, (), {"defects": defects, **more}))


def test_the_rules_that_ship_are_the_ones_this_version_of_the_method_was_made_with():
    """Where this differs numbers change: raise the method's version and say so in the changelog."""
    sha = digest(built_in(), TRADE)
    run_method(METHOD, "item", {}, (), {"defects": "code\nnone"})
    assert (METHODS[METHOD].version, built_in().version, sha[:16]) == (1, "1", "6694df8d1e30f093")


def test_every_word_of_the_record_for_damage_has_a_code():
    terms = {rule.term for rule in built_in().rows if rule.term}
    assert terms == set(DEFECT_TERMS)


def test_rules_and_scale_come_back_from_their_own_text():
    assert read_rules(write_rules(built_in())) == built_in().rows
    assert read_scale(write_scale(TRADE)) == TRADE
    again = rules_in_force(write_rules(rules_in_force(_text("own-rules.csv"))))
    assert again.rows == rules_in_force(_text("own-rules.csv")).rows


def test_the_order_of_rows_in_a_file_does_not_touch_the_hash():
    head, *rows = write_rules(built_in()).splitlines()[1:]
    turned = "\n".join([head, *reversed(rows)])
    assert digest(rules_in_force(turned), TRADE) == digest(built_in(), TRADE)


def _text(name: str) -> str:
    return (EXAMPLES / name).read_text(encoding="utf-8")


def test_own_rows_replace_add_switch_off_and_need_only_what_differs():
    rules = rules_in_force("# version ours 3\nrule,value\nspine-roll,0.2\ntear-cover,0.05")
    assert rules.codes["spine_roll"][0].value == 0.2 and rules.codes["spine_roll"][0].cap == 1.5
    assert rules.version == "1, with own rows ours 3"
    off = rules_in_force("rule,kind\nmould,off\ntanning-limit,ceiling")
    assert [one.kind for one in off.codes["mould"]] == ["off", "flag"]
    assert [one.kind for one in off.codes["tanning"]] == ["deduct", "ceiling"]
    own = rules_in_force("rule,code,kind,unit,from,value\nworm,worm_track,ceiling,mm,40,3")
    assert own.codes["worm_track"][0].spread == 0.5


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("rule,value\nspine-roll,11", "line 2: value lies between 0 and 10 points, got 11"),
        ("rule,value\nspine-roll,much", "line 2: value is 'much', which is no number"),
        ("rule,value\nspine-roll,-1", "line 2: value lies between"),
        ("rule,kind\nspine-roll,bonus", "line 2: kind is one of"),
        ("rule,kind\nno-such,off", "line 2: rule 'no-such' cannot be switched off"),
        ("rule,value\nnew-one,2", "line 2: code is empty; a new rule needs"),
        ("rule,code,kind\nnew-one,worm,deduct", "line 2: value is empty"),
        ("rule,value\nspine-roll,1\nspine-roll,2", "line 3: rule 'spine-roll' is there twice"),
        ("rule,colour\nspine-roll,1", "'colour' is no column"),
        ("rule,per\nspine-roll,0", "line 2: per is above 0"),
        ("rule", "at least one row"),
    ],
)
def test_a_wrong_rule_names_its_line_and_column(text: str, says: str):
    with pytest.raises(TableError) as error:
        rules_in_force(text)
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("value,words\n1,worn\n11,new", "line 3: value lies between 0 and 10, got 11"),
        ("value,words\n1,worn", "at least two steps"),
        ("value,words\n5,worn\n1,new", "go up from the lowest"),
        ("value,words\nx,worn\n1,new", "line 2: value:"),
        ("value,words\n1,\n2,new", "line 2: words are empty"),
    ],
)
def test_a_wrong_scale_is_a_sentence(text: str, says: str):
    with pytest.raises(TableError) as error:
        read_scale(text)
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("row", "code", "where", "extent", "u", "unit"),
    [
        ("tear_cover,cover,40,1,mm", "tear_cover", "cover", 40, 1, "mm"),
        ("tear,c.outer.right,40,,", "tear_cover", "cover", 40, 0.35, "mm"),
        ("tear,w03.outer.left,about 30 mm,,", "tear_interior", "interior", 30, 9, "mm"),
        ("tear,w03,~30,,mm", "tear_interior", "interior", 30, 9, "mm"),
        ("tear_cover,,10 to 16 mm,,", "tear_cover", "cover", 13, 3**0.5, "mm"),
        ("spine_stress,,3-4,,", "spine_stress", "spine", 3.5, 0.5 / 3**0.5, "n"),
        ("tear_cover,,4 cm,,", "tear_cover", "cover", 40, 0.35, "mm"),
        ("tear_cover,,4,0.1,cm", "tear_cover", "cover", 40, 1, "mm"),
        ("spine split,c,24 mm,,", "spine_split", "spine", 24, 0.35, "mm"),
        ("spine split,w01,15,,mm", "fold_split", "interior", 15, 0.35, "mm"),
        ("spine_split,spine,60 %,,", "spine_split", "spine", 60, 12, "pct"),
        ("rusted staple,staples,,,", "staple_rust", "spine", 1, 0, "flag"),
        ("brittle edge,w01,yes,,", "brittleness", "interior", 1, 0, "flag"),
        ("mould,item,no,,", "mould", "", 0, 0, "flag"),
        ("loss,c,2 cm²,,", "loss_cover", "cover", 200, 20, "mm2"),
        ("spine_stress,,3,,", "spine_stress", "spine", 3, 0, "n"),
        ("tanning,,3,,step", "tanning", "interior", 3, 0.5, "step"),
        ("leaf_missing,,,,", "leaf_missing", "interior", 1, 0, "n"),
        ("fading,front,about 4,,dE", "fading", "cover", 4, 1.2, "dE"),
        ('tear_cover,,"12,5",,mm', "tear_cover", "cover", 12.5, 0.35, "mm"),
    ],
)
def test_a_row_of_damage_is_read(row, code, where, extent, u, unit):
    one = read(row)
    assert (one.code, one.location, one.unit) == (code, where, unit)
    assert (one.extent, one.u) == (pytest.approx(extent), pytest.approx(u))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("tare,cover,4,,mm", "line 2: 'tare' is no code of the rules; did you mean tear"),
        ("zzzzzz,cover,4,,mm", "--rules-out FILE"),
        ("tear_cover,cover,-4,,mm", "line 2: extent is 0 or more, got -4"),
        ("tear_cover,cover,4,,pct", "line 2: tear_cover is given in mm (millimetres), not in pct"),
        ("tear_cover,cover,4 mm,,pct", "which is it?"),
        ("tear_cover,cover,4,,inch", "line 2: unit is one of"),
        ("tear_cover,cover,4 parsec,,", "is no unit here"),
        ("tear_cover,cover,,,", "line 2: tear_cover needs its extent, length of each tear"),
        ("tear_cover,w03,4,,mm", "Write tear_interior there"),
        ("tear,,4,,mm", "line 2: say where the tear is: location is cover or interior"),
        ("not_looked_at,,,,", "say where the not_looked_at is: location is cover or"),
        ("tear,attic,4,,mm", "line 2: location 'attic' names no place"),
        ("tear_cover,cover,long,,mm", "line 2: extent:"),
        ("tear_cover,cover,4,-1,mm", "line 2: u is 0 or more"),
        ("tear_cover,cover,4,x,mm", "line 2: u:"),
        ("spine_split,,60,,", "unit of spine_split is mm or pct; say which"),
        ("foxing,w02,120,,pct", "extent is at most 100 pct"),
        ("spine_stress,,2.5,,n", "whole numbers"),
        ("mould,item,5 mm,,", "mould is given in flag (present or not)"),
    ],
)
def test_a_wrong_row_of_damage_is_a_sentence(row: str, says: str):
    with pytest.raises(TableError) as error:
        read(row)
    assert says in str(error.value)


def test_returns_are_gathered_by_item_and_refused_in_sentences():
    rules = built_in()
    head = "item,returned,code,location,extent,unit\n"
    found = read_returns(
        head + "a,6,tear,cover,20,mm\na,6,corner,,3,mm\nb,9.8,none,,,", rules, TRADE
    )
    assert [(one.item, one.grade, len(one.damages)) for one in found] == [
        ("a", 6, 2),
        ("b", 9.8, 0),
    ]
    for rows, says in (
        ("a,11,none,,,", "line 2: returned is 11; a grade lies between 0.5 and 10"),
        ("a,,none,,,", "line 2: returned:"),
        ("a,6,none,,,\na,7,none,,,", "line 3: a came back with 6"),
        (",6,none,,,", "line 2: item is empty"),
        ("a,6,tare,,,", "line 2: 'tare' is no code"),
    ):
        with pytest.raises(TableError) as error:
            read_returns(head + rows, rules, TRADE)
        assert says in str(error.value)


def test_every_repair_is_a_step_and_every_rated_code_has_a_repair_or_a_reason():
    for repair in REPAIRS:
        assert repair.step in STEP_KINDS and repair.risk and repair.leaves
        assert repair.permanence.split(":")[0] in ("removable", "re-treatable", "permanent")
    reached = {code for repair in REPAIRS for code in repair.codes} | set(NOTHING)
    rated = {rule.code for rule in built_in().rows if rule.kind in ("ceiling", "deduct")}
    assert rated == reached & rated and reached <= set(built_in().codes)
    said = " ".join([one.kind.does + one.risk + one.leaves for one in REPAIRS]).lower()
    for never in ("trim", "bleach", "new hole", "colour is added", "retouch"):
        assert never not in said


def test_a_repair_never_stands_without_risk_and_permanence():
    out = graded(_text("defects.csv"))
    assert {one["step"] for one in out["if_mended"]} == {"mend", "refold", "wash", "rust-reduced"}
    for one in out["if_mended"]:
        assert one["risk"] and one["permanence"] and one["cautions"] and one["gain"]["u"] >= 0
        assert one["raw"]["value"] == pytest.approx(out["raw"]["value"] + one["gain"]["value"])
    assert {one["code"] for one in out["stays"]} == {"crease_colour", "staple_stain"}
    assert out["treatments"] == [{"code": "cleaned", "says": "cleaned (dry only)"}]
    assert any("as if the damage were gone without trace" in says for says in out["warnings"])


def test_with_mould_in_it_no_mending_is_spoken_of():
    out = graded(HEAD + "mould,w02,,,\ntear_cover,,30,1,mm")
    assert out["if_mended"] == [] and out["warnings"][0].startswith("With mould in it no mending")
    assert graded(HEAD + "mould,w02,no,,\ntear_cover,,30,1,mm")["if_mended"] != []


def test_what_was_not_looked_at_is_asked_for():
    plain = graded("code\nnone")
    assert any("row not_looked_at" in says for says in plain["warnings"])
    told = graded(HEAD + "not_looked_at,cover,,,\nnot_looked_at,interior,,,")
    assert not any("row not_looked_at" in says for says in told["warnings"])
    assert told["raw"]["value"] == 10.0 and told["raw"]["low90"] < 7.5


def test_the_band_names_what_would_narrow_it():
    assert "ten grades that came back" in graded(_text("defects.csv"))["narrows"]
    split = graded(HEAD + "spine_split,,about 55,,pct")
    assert "spine split, with a scan of the page" in split["narrows"]
    unseen = graded(HEAD + "tear_cover,,5,0.1,mm\nnot_looked_at,interior,,,")
    assert "look at the interior" in unseen["narrows"]


def test_a_binding_ceiling_is_named_with_its_value():
    out = graded(HEAD + "tear_cover,,80,1,mm\ncorner,,4,0.2,mm")
    assert out["binding"]["rule"] == "tear-cover-limit"
    assert out["binding"]["at_most"]["value"] == out["raw"]["value"] == 4.0
    assert graded("code\nnone")["binding"] is None


def test_flags_come_with_mould_and_trimmed_edges():
    says = [one["says"] for one in graded("code\nmould\ntrimmed")["flags"]]
    assert says[0].startswith("Mould: set it apart") and "trimmed copy" in says[1]


def test_returns_below_ten_change_nothing_and_from_ten_on_the_weights():
    defects, returns = _text("defects.csv"), _text("returns.csv")
    lines = returns.splitlines()
    few = "\n".join(line for line in lines if not line.startswith(("annual-192", "annual-1930")))
    plain, held, learnt = (
        graded(defects), graded(defects, returns=few), graded(defects, returns=returns)
    )  # fmt: skip
    assert held["raw"] == plain["raw"] and not held["returns"]["enough"]
    assert held["returns"]["says"].startswith("Not enough returns yet: 7")
    assert learnt["returns"]["enough"] and learnt["raw"]["value"] < plain["raw"]["value"]
    assert learnt["returns"]["weights"]["tear_cover"]["value"] > 1.0  # planted: 1.5
    assert learnt["returns"]["weights"]["tanning"]["value"] < 1.0  # planted: 0.6
    assert sum(one["chance"] for one in learnt["returns"]["returned"]) > 0.97
    assert "Only what was sent" in learnt["returns"]["selection"]
    assert learnt["rules"]["version"] == "1, with 14 returns"


def test_the_same_call_gives_the_same_numbers_and_refuses_what_it_does_not_know():
    text = _text("defects.csv")
    assert graded(text) == graded(text)
    with pytest.raises(ValueError, match="give the damage"):
        graded("")
    with pytest.raises(ValueError, match="knows no parameter 'colour'"):
        graded(text, colour="red")


def test_a_scale_of_ones_own_gives_its_words():
    scale = read_scale(_text("scale.csv"))
    assert isinstance(scale, Scale)
    out = graded(_text("defects.csv"), scale=_text("scale.csv"))
    assert (out["grade"]["value"], out["grade"]["words"]) == (4.0, "well read")


def test_kinds_added_by_root_are_asked_for_and_said():
    table = "code,location,extent,unit\ntear,cover,40,mm\ntanned margin,,3,step\n"
    plain, rooted = graded(table), graded(table, adding="root")
    assert rooted["raw"]["value"] == pytest.approx(10 - (1.2**2 + 0.75**2) ** 0.5)
    assert plain["raw"]["value"] == pytest.approx(10 - 1.95)
    assert graded(table, adding="plain")["raw"] == plain["raw"]
    assert any("root of their squares" in line for line in rooted["warnings"])
    with pytest.raises(ValueError, match="one of plain, root"):
        graded(table, adding="sum")
    beside = graded(table, adding="root", returns=_text("returns.csv"))
    assert beside["raw"] == rooted["raw"] and "returns" not in beside
    assert any("came back are left out" in line for line in beside["warnings"])


def test_each_general_word_is_defined_used_and_changes_no_number():
    rows = built_in().rows
    assert {rule.standard_term for rule in rows} - {""} == set(TERMS)
    assert all(rule.standard_term for rule in rows if rule.kind not in ("unseen", "offset"))
    own = rules_in_force("rule,standard_term\nspine-roll,my word\n")
    assert next(rule for rule in own.rows if rule.id == "spine-roll").standard_term == "my word"
    assert digest(own, TRADE) == digest(built_in(), TRADE)
    assert read_rules(write_rules(own)) == own.rows
