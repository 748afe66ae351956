"""What a bench remembers, from planted histories."""

from __future__ import annotations

from pathlib import Path

import pytest

from quirewell.record.event import Draft
from quirewell.stages import item_money as money
from quirewell.stages.memory import hours_per_wrap, memory_run, table_params
from quirewell.stages.methods import run_method
from quirewell.stages.overview import open_item
from quirewell.stages.reading_entry import record_reading
from quirewell.stages.time_spent import note_time
from quirewell.stages.treat import finish_step, plan_step, start_step
from quirewell.studio.studio import STUDIO, Studio

HOURS = (2, 3, 4, 6, 10, 5)  # of each item, with 4 wraps
FORM = {"title": "Copperbeck Garden Annual", "wraps": "4", "cover": "no"}


def planted(folder: Path, items: int) -> Studio:
    studio = Studio.create(folder, "Larkmoor paper bench")
    rates = {"id": "rates-1", "currency": "EUR", "hour": "20"}
    studio.append(STUDIO, None, [Draft(STUDIO, "rates.set", rates)], "me")
    for number, hours in enumerate(HOURS[:items]):
        key = f"item-{number}"
        studio.append(key, 0, open_item(key, FORM), "me")

        def do(drafts: tuple[Draft, ...], key: str = key) -> None:
            studio.append(key, studio.state(key).version, drafts, "me")

        step = {"kind": "surface-clean", "places": "w01 w02 w03 w04"}
        do(plan_step(studio.state(key), step))
        step_id = next(iter(studio.state(key).steps))
        do(start_step(studio.state(key), {"id": step_id}))
        do(finish_step(studio.state(key), {"id": step_id}))
        for doing, share in (("surface-clean", 60), ("mending", 0)):
            minutes = hours * 60 - 60 if doing == "mending" else share
            do(note_time(studio.state(key), {"doing": doing, "minutes": str(minutes)}))
        if number == 0:
            do(money.note_mishap(studio.state(key), {"what": "a tear", "place": "w02"}))
        bench = studio.bench()
        do(money.note_cost(studio.state(key), {"kind": "bought", "amount": "10"}, bench))
        do(money.sell(studio.state(key), {"price": str(10 + 7 * hours), "fees": "0"}, bench))
        for moment, step_no in (("before", "5"), ("after", "3")):
            form = {"quantity": "tone_step", "value": step_no, "place": "w01", "moment": moment}
            do(record_reading(studio.state(key), form))
    return studio


def test_a_planted_history_comes_back(tmp_path: Path) -> None:
    """Hours 2, 3, 4, 6, 10, 5 over 4 wraps each: the middle of 0.5, 0.75, 1, 1.25, 1.5, 2.5 is
    1.125; with 6 items the least and greatest are the band. Each earned 7 an hour."""
    with planted(tmp_path / "studio", 6) as studio:
        run = memory_run(studio)
        by = {(one.quantity, one.subject): one for one in run.findings}
        hours = by["memory.hours_per_wrap", "item"]
        assert (hours.value, hours.low90, hours.high90) == pytest.approx((1.125, 0.5, 2.5))
        assert hours_per_wrap(studio) == pytest.approx((1.125, 0.5, 2.5, 6))
        assert by["memory.hours_per_wrap", "surface-clean"].value == pytest.approx(0.25)
        assert by["memory.tone_gain", "item"].value == 2
        rate = by["memory.mishap_rate", "item"]
        assert rate.note == "1 of 24 wraps treated"
        assert rate.value == pytest.approx(1 / 24)
        earned = by["memory.profit_per_hour", "item"]
        assert earned.value == pytest.approx(7)
        assert earned.unit == "EUR/h"
        assert run_method(run.method, run.subject, {}, params=run.params) == run


def test_few_items_are_not_enough_yet(tmp_path: Path) -> None:
    with planted(tmp_path / "studio", 4) as studio:
        assert hours_per_wrap(studio) is None
        by = {(one.quantity, one.subject): one for one in memory_run(studio).findings}
        hours = by["memory.hours_per_wrap", "item"]
        assert hours.value is None
        assert hours.text == "not enough yet: 4 of the 5 items it needs"
        assert by["memory.mishap_rate", "item"].value == pytest.approx(1 / 16)


def test_unfinished_items_say_nothing_of_hours(tmp_path: Path) -> None:
    with planted(tmp_path / "studio", 5) as studio:
        state = studio.state("item-0")
        studio.append(
            "item-0", state.version, plan_step(state, {"kind": "wash", "places": "w01"}), "me"
        )
        assert hours_per_wrap(studio) is None


def test_odd_words_for_work_are_no_fault(tmp_path: Path) -> None:
    with planted(tmp_path / "studio", 1) as studio:
        for doing in ("a\0b", "", '=1,"x', "line\nline"):
            state = studio.state("item-0")
            drafts = note_time(state, {"doing": doing, "minutes": "5"})
            studio.append("item-0", state.version, drafts, "me")
        kinds = {one.subject for one in memory_run(studio).findings}
        assert {"work", "a b", '=1,"x', "line line"} <= kinds


def test_an_empty_studio_remembers_nothing(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        run = memory_run(studio)
        assert not run.findings
        assert not run.warnings
        assert table_params((), studio.bench()) == {}


@pytest.mark.parametrize(
    ("params", "words"),
    [
        ({"work": "item,kind,minutes,wraps\na,b,x,1"}, "line 2: minutes"),
        ({"mishaps": "item,wraps,hurt\na,5,6"}, "6 of 5"),
        ({"other": "1"}, "knows no parameter"),
    ],
)
def test_tables_that_cannot_be_are_refused(params: dict[str, str], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        run_method("bench.memory", "bench", {}, params=params)
