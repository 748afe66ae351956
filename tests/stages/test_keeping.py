"""The keep list: named, placed, shown before water and cleaning, tested before water."""

import pytest

from folding import annual, ready
from quirewell.stages import treat
from quirewell.stages.gates import objections, pointers
from quirewell.stages.keeping import keeps_at, note_keep
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS

STAMP = {"what": "violet date stamp", "place": "w03.outer.left", "why": "day it reached the shop"}


def test_an_entry_is_kept_changed_and_set_aside() -> None:
    bench = annual()
    bench.do(note_keep(bench.state, STAMP))
    (keep,) = bench.state.keeps.values()
    assert (keep.what, keep.place, keep.why) == tuple(STAMP.values())
    bench.do(note_keep(bench.state, {**STAMP, "id": keep.id, "what": "blue date stamp"}))
    assert [one.what for one in bench.state.keeps.values()] == ["blue date stamp"]
    bench.do(treat.set_aside(bench.state, {"id": keep.id}))
    assert bench.state.keeps == {}
    with pytest.raises(Refusal, match="set aside meanwhile"):
        note_keep(bench.state, {**STAMP, "id": keep.id})


def test_it_is_found_where_a_step_reaches() -> None:
    bench = annual()
    bench.do(note_keep(bench.state, STAMP))
    assert keeps_at(bench.state, ("w03",)) and keeps_at(bench.state, ("item",))
    assert keeps_at(bench.state, ("w03.outer.left",))
    assert not keeps_at(bench.state, ("w03.outer.right",)) and not keeps_at(bench.state, ("w02",))


@pytest.mark.parametrize("kind", ["wash", "mend", "humidify", "surface-clean"])
def test_it_is_shown_before_every_step_that_wets_or_cleans(kind):
    bench = annual()
    bench.do(note_keep(bench.state, STAMP))
    says = " ".join(pointers(bench.state, STEP_KINDS[kind], ("w03",)))
    assert "violet date stamp on wrap 3, outer side, left" in says
    assert pointers(bench.state, STEP_KINDS["press"], ("w03",)) == ()


@pytest.mark.parametrize("kind", ["wash", "lime-bath", "mend"])
def test_its_ink_is_tested_before_water_reaches_it(kind):
    bench = ready(annual())
    bench.do(note_keep(bench.state, STAMP))
    test = {"place": "w03", "colour": "black", "liquid": "lime water", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    (found,) = objections(bench.state, STEP_KINDS[kind], ("w03",))
    assert found.rule == "keep-untested" and "history" not in found.says
    assert objections(bench.state, STEP_KINDS["humidify"], ("w03",)) == ()
    assert objections(bench.state, STEP_KINDS["mend"], ("w03.inner.right",)) == ()
    bench.do(treat.record_spot_test(bench.state, {**test, "colour": "date stamp"}))
    assert objections(bench.state, STEP_KINDS[kind], ("w03",)) == ()


def test_a_keep_of_the_whole_item_is_tested_wherever_the_test_was_made() -> None:
    bench = ready(annual())
    bench.do(note_keep(bench.state, {"what": "pencil notes"}))
    test = {"place": "w03", "colour": "pencil", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, {**test, "place": "item", "colour": "black"}))
    assert [o.rule for o in objections(bench.state, STEP_KINDS["wash"], ("w01",))] == [
        "keep-untested"
    ]
    bench.do(treat.record_spot_test(bench.state, test))
    assert objections(bench.state, STEP_KINDS["wash"], ("w01",)) == ()


@pytest.mark.parametrize("form", [{}, {"what": " "}, {"what": "x", "capture": "none"}])
def test_what_is_no_entry_is_refused(form):
    with pytest.raises(Refusal):
        note_keep(annual().state, form)
