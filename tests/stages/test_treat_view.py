"""What the treat stage shows is plain, complete, and honest about permanence."""

import json
from decimal import Decimal

import pytest

from folding import annual, ready
from quirewell.record.nouns import Reading
from quirewell.stages import treat
from quirewell.stages.cautions import CAUTIONS
from quirewell.stages.step_table import STEP_KINDS, step_kind
from quirewell.stages.treat_view import reading_u


def test_view_of_an_untouched_item_is_plain_data_with_something_to_say():
    seen = treat.view(annual().state)
    assert json.loads(json.dumps(seen)) == seen
    assert seen["steps"] == [] and seen["cautions"] and seen["cheap_tool"]
    assert seen["untested"][:2] == ["c", "w01"]


def test_planned_step_says_what_is_missing_before_it_starts():
    bench = annual()
    bench.do(treat.plan_step(bench.state, {"kind": "lime-bath", "places": "w01"}))
    (row,) = treat.view(bench.state)["steps"]
    assert "No ink test" in row["before"][0]
    assert row["cautions"][0]["to"] == "object"
    assert row["can"] == ["start", "correct", "set aside"]


def test_permanent_step_says_what_evidence_it_took():
    bench = annual()
    bench.do(treat.start_step(bench.state, {"kind": "press", "places": "all"}))
    (gone,) = treat.view(bench.state)["permanent"]
    assert "thickness" in gone["evidence"]


def test_wet_sheets_are_shown_until_dried():
    bench = ready(annual())
    test = {"place": "item", "colour": "all", "liquid": "water", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    bench.do(treat.start_step(bench.state, {"kind": "wash", "places": "w02"}))
    assert treat.view(bench.state)["wet_now"] == ["w02"]
    assert treat.view(bench.state)["steps"][0]["can"] == ["finish", "correct"]
    bench.do(treat.start_step(bench.state, {"kind": "dry", "places": "w02"}))
    assert treat.view(bench.state)["wet_now"] == ["w02"]
    bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1]}))
    assert treat.view(bench.state)["wet_now"] == []


def test_materials_are_gathered_once_with_the_steps_they_went_into():
    bench = annual()
    for place in ("w01", "w02"):
        form = {"kind": "dry", "places": place, "lots": "blotter; B7\nspun polyester"}
        bench.do(treat.start_step(bench.state, form))
    rows = treat.view(bench.state)["materials"]
    assert [(row["material"], row["lot"], len(row["steps"])) for row in rows] == [
        ("blotter", "B7", 2),
        ("spun polyester", "", 2),
    ]


def test_cheapest_tool_follows_what_is_recorded():
    bench = annual()
    strip = {"quantity": "pH", "value": "5", "method": "strip on the paper", "place": "w01"}
    bench.do(treat.record_reading(bench.state, strip))
    assert "Narrow-range pH strips" in treat.view(bench.state)["cheap_tool"]
    bench.do(treat.mix_bath(bench.state, {"temperature_c": "20"}))
    assert "pocket scale" in treat.view(bench.state)["cheap_tool"]


@pytest.mark.parametrize("key", STEP_KINDS)
def test_every_kind_of_step_is_complete(key):
    kind = step_kind(key)
    assert kind.name and kind.does.endswith(".") and kind.materials and kind.cautions
    assert set(kind.cautions) <= set(CAUTIONS)
    assert (kind.permanence == "permanent") == bool(kind.evidence)
    assert kind.standing == "common practice, no source" or kind.source
    if kind.aqueous:
        assert kind.cautions[0] == "ink-first"
    if kind.alkaline:
        assert {"lime-eyes", "groundwood-alkali"} <= set(kind.cautions)


def test_washing_deacidifying_and_pressing_are_permanent():
    assert {STEP_KINDS[key].permanence for key in ("wash", "lime-bath", "press")} == {"permanent"}


def test_unknown_kind_lists_those_there_are():
    with pytest.raises(KeyError, match="lime-bath"):
        step_kind("varnish")


def test_strip_reading_is_wider_than_an_electrode_reading():
    def reading(method: str, resolution: str) -> Reading:
        return Reading("r", "w01", "pH", Decimal("7"), "pH", method,
                       resolution=Decimal(resolution))  # fmt: skip

    strip, basis = reading_u(reading("strip on the paper", "0.5"))
    electrode, _ = reading_u(reading("electrode in the bath", "0.01"))
    assert strip == pytest.approx((0.4**2 + 0.5**2 / 12) ** 0.5)
    assert electrode == pytest.approx((0.05**2 + 0.01**2 / 12) ** 0.5)
    assert "common practice, no source" in basis


def test_correcting_a_wash_after_drying_does_not_make_the_sheet_wet_again():
    bench = ready(annual())
    test = {"place": "item", "colour": "all", "liquid": "water", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    for kind in ("wash", "dry"):
        bench.do(treat.start_step(bench.state, {"kind": kind, "places": "w02"}))
        bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1]}))
    wash = next(iter(bench.state.steps))
    bench.do(treat.correct_step(bench.state, {"id": wash, "minutes": "25"}))
    assert treat.view(bench.state)["wet_now"] == []


def test_times_decide_where_steps_were_written_down_out_of_order():
    bench = ready(annual())
    test = {"place": "item", "colour": "all", "liquid": "water", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    for kind, begun, done in (
        ("dry", "2026-03-02T10:00:00Z", "2026-03-02T18:00:00Z"),
        ("wash", "2026-03-01T10:00:00Z", "2026-03-01T11:00:00Z"),
    ):
        bench.do(treat.start_step(bench.state, {"kind": kind, "places": "w02", "at": begun}))
        bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1], "at": done}))
    assert treat.view(bench.state)["wet_now"] == []
