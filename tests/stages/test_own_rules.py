"""Own grading rules in the studio's stream: dated versions, each kept, used by the next grade."""

from __future__ import annotations

import pytest

from quirewell.record.apply_bench import apply_bench
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Item, ItemState
from quirewell.science.condition.rules import KINDS, Rule
from quirewell.science.condition.scale import TRADE
from quirewell.stages import own_rules
from quirewell.stages.books_begin import from_books
from quirewell.stages.grading import METHOD, as_json
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.stages.rule_table import built_in, read_rules, read_scale
from quirewell.studio.studio import STUDIO

OWN = "rule,value\ntear-cover,0.01\n"
TEAR = "code,location,extent,unit\ntear,cover,40,mm\n"


def put(bench: BenchState, **form: str) -> BenchState:
    return after(bench, *own_rules.set_rules(bench, {"today": "2026-03-01", **form}))


def after(bench: BenchState, *drafts: Draft) -> BenchState:
    for draft in drafts:
        number = bench.version + 1
        event = Event(
            seq=number, stream=STUDIO, version=number, at="2026-03-01T10:00:00.000Z", zone="UTC",
            actor="bench", kind=draft.kind, body=draft.body, prev="", hash="",
        )  # fmt: skip
        bench = apply_bench(bench, event)
    return bench


def test_the_built_in_rules_are_in_force_until_others_are_set() -> None:
    seen = own_rules.view(EMPTY_BENCH)
    assert len(seen.lines) == len(built_in().rows) and not any(one.own for one in seen.lines)
    assert not seen.kept and "version 1" in seen.says
    assert read_rules(own_rules.table(EMPTY_BENCH, "built-in")) == built_in().rows
    assert read_scale(own_rules.table(EMPTY_BENCH, "scale")) == TRADE
    with pytest.raises(KeyError):
        own_rules.table(EMPTY_BENCH, "../secret")


def test_own_rows_are_dated_versioned_and_kept_beside_the_ones_before() -> None:
    bench = put(EMPTY_BENCH, rules=OWN, note="my receiver minds tears less")
    bench = put(bench, rules="# version mine 2\n" + OWN, scale="value,words\n2,low\n6,fine\n")
    seen = own_rules.view(bench)
    assert [one.in_force for one in seen.kept] == [True, False]
    assert "mine 2" in seen.kept[0].version and "2026-03-01" in seen.kept[1].version
    assert [one.rule for one in seen.lines if one.own] == ["tear-cover"]
    assert seen.steps == (("2", "low"), ("6", "fine"))
    rows = read_rules(own_rules.table(bench, "in-force"))
    assert next(rule for rule in rows if rule.id == "tear-cover").value == 0.01
    bench = after(bench, *own_rules.set_aside(bench, {"id": seen.kept[0].id}))
    assert own_rules.view(bench).kept[0].in_force and own_rules.view(bench).steps[0][0] == "0.5"


def test_the_next_grade_begins_with_them_and_keeps_which_it_used() -> None:
    bench = put(EMPTY_BENCH, rules=OWN, adding="root")
    state = ItemState("annual", 1, Item("Copperbeck Garden Annual"))
    begun = from_books(state, bench, "grade")
    run = run_method(METHOD, "plan", {}, (), {"defects": TEAR, **begun})
    out = as_json(run)
    assert out["raw"]["value"] == pytest.approx(9.6)
    assert "2026-03-01" in out["rules"]["version"] and run.params["rules"] == begun["rules"]
    assert run.params["adding"] == "root"
    later = put(bench, rules=OWN.replace("0.01", "0.02"))
    assert from_books(state, later, "grade")["rules"] != run.params["rules"]


def test_all_empty_sets_the_built_in_ones_again() -> None:
    bench = put(EMPTY_BENCH, rules=OWN)
    bench = put(bench)
    assert not any(one.own for one in own_rules.view(bench).lines)
    assert len(bench.grade_rules) == 2
    with pytest.raises(Refusal, match="in force already"):
        put(bench)


@pytest.mark.parametrize(
    ("form", "field", "says"),
    [
        ({"rules": "nonsense"}, "rules", "no column"),
        ({"rules": "rule,value\ntear-cover,minus\n"}, "rules", "Line 2"),
        ({"rules": "rule,value\ntear-cover,11\n"}, "rules", "between 0 and 10"),
        ({"rules": "rule,kind\nnever-was,off\n"}, "rules", "cannot be switched off"),
        ({"scale": "value,words\n6,fine\n2,low\n"}, "scale", "scale"),
        ({"scale": "value,words\n11,beyond\n"}, "scale", "between 0 and 10"),
        ({"rules": "rule\n" + "x" * 300_000}, "rules", "characters"),
    ],
)
def test_a_wrong_table_is_refused_at_its_box(form: dict[str, str], field: str, says: str) -> None:
    with pytest.raises(Refusal, match=says) as caught:
        put(EMPTY_BENCH, **form)
    assert caught.value.problems[0].field == field


def test_every_kind_of_rule_is_told_in_words() -> None:
    for kind in KINDS:
        rule = Rule("r", "" if kind == "offset" else "tear", kind, unit="mm", start=1.0, value=2.0)
        assert own_rules.does(rule)
    assert all(line.does for line in own_rules.view(EMPTY_BENCH).lines)
