"""The page of the bench plan, as a person goes through it; no script is needed."""

from __future__ import annotations

import html
import io
import json
import re
import time
from pathlib import Path

import pikepdf
import pytest
import vobject

from quirewell.record.finding import Run
from quirewell.stages import plan_search
from web.conftest import ITEM, Bench

PLAN = "/plan"


def _post(bench: Bench, path: str, status: int = 200, **form: str) -> str:
    answer = bench.client.post(path, data=form)
    assert answer.status_code == status, answer.text[:600]
    return html.unescape(answer.text)


def _get(bench: Bench, path: str = PLAN, status: int = 200) -> str:
    answer = bench.client.get(path)
    assert answer.status_code == status
    return html.unescape(answer.text)


def _planned(bench: Bench, **more: str) -> str:
    form = {"items": ITEM, f"recipe:{ITEM}": "dry-clean", "start": "2030-12-02T18:00"} | more
    _post(bench, f"{PLAN}/work-out", **form)
    until = time.monotonic() + 90
    while bench.client.get(f"{PLAN}/in-hand.json").json()["running"]:
        assert time.monotonic() < until
        time.sleep(0.1)
    return _get(bench)


def test_an_empty_page_says_in_a_sentence_what_to_do(bench: Bench) -> None:
    assert "Tick an item, choose its course and press the button." in _get(bench)


def test_a_plan_is_worked_out_drawn_and_told_as_a_table(bench: Bench) -> None:
    page = _planned(bench)
    assert "Proved best: everything is done on Monday 2 December 2030" in page
    assert "Start now?" in page and "outside the working hours" in page
    links = set(re.findall(r'<a href="#(step-[\w-]+)"', page))
    rows = set(re.findall(r'<tr id="(step-[\w-]+)"', page))
    assert links and links == rows
    assert "style=" not in page and "<script>" not in page


def test_the_other_picture_has_rows_by_equipment(bench: Bench) -> None:
    _planned(bench)
    assert ">Hands</text>" in _get(bench, f"{PLAN}?by=equipment")
    assert ">Hands</text>" not in _get(bench)


def test_the_calendar_and_the_days_sheet_can_be_taken_away(bench: Bench) -> None:
    _planned(bench)
    events = list(vobject.readOne(bench.client.get(f"{PLAN}/calendar.ics").text).vevent_list)
    assert events and events[0].dtstart.value.isoformat() == "2030-12-02T18:00:00+00:00"
    answer = bench.client.get(f"{PLAN}/day/2030-12-02.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    with pikepdf.open(io.BytesIO(answer.content)) as held:
        assert len(held.pages) >= 1
    assert bench.client.get(f"{PLAN}/day/2031-01-01.pdf").status_code == 404
    assert bench.client.get(f"{PLAN}/day/nonsense.pdf").status_code == 404


def test_nothing_ticked_is_refused_in_place_and_keeps_what_was_typed(bench: Bench) -> None:
    page = _post(bench, f"{PLAN}/work-out", 422, start="2030-12-02T18:00")
    assert "Choose at least one item to plan." in page
    assert 'value="2030-12-02T18:00"' in page


@pytest.mark.parametrize("start", ["tomorrow", "2030-13-01", "<b>"])
def test_a_beginning_that_cannot_be_read_is_refused(bench: Bench, start: str) -> None:
    form = {"items": ITEM, f"recipe:{ITEM}": "dry-clean", "start": start}
    answer = bench.client.post(f"{PLAN}/work-out", data=form)
    assert answer.status_code == 422
    assert "<b>" not in answer.text.replace("<b>By", "").replace("<b>Can", "")


def test_the_end_of_tonight_is_refused_where_it_cannot_be_read(bench: Bench) -> None:
    _planned(bench)
    assert "Write the time until which you can work" in _get(bench, f"{PLAN}?until=late")


def test_the_bench_is_said_by_a_preset_or_in_the_boxes(bench: Bench) -> None:
    _post(bench, f"{PLAN}/bench", people="2", hours="Mo-Fr 09:00-12:30, 13:15-17:30")
    assert "The bench: 2 people, Mo-Fr 09:00-12:30, 13:15-17:30" in _get(bench)
    page = _post(bench, f"{PLAN}/bench", 422, hours="now and then")
    assert "now and then" in page


def test_worked_out_anew_it_says_what_moved_and_the_plan_before_can_be_set_aside(
    bench: Bench,
) -> None:
    _planned(bench)
    _post(bench, f"{PLAN}/again", at="")
    until = time.monotonic() + 60
    while len(bench.studio.bench().bench_plans) < 2:
        assert time.monotonic() < until
        time.sleep(0.1)
    page = _get(bench)
    assert "Everything is done when it was to be before." in page
    first = next(iter(bench.studio.bench().bench_plans))
    assert "An earlier plan" in _get(bench, f"{PLAN}?plan={first}")
    _post(bench, f"{PLAN}/aside", id=first)
    assert first not in bench.studio.bench().bench_plans
    _post(bench, f"{PLAN}/aside", 422, id="nothing")


def test_an_impossible_plan_lists_the_rules_and_what_to_change(bench: Bench) -> None:
    _post(bench, f"{PLAN}/bench", hours="Mo 18:00-18:10")
    page = _planned(bench, **{f"recipe:{ITEM}": "slow-way"})
    assert "Cannot be done as it is asked" in page
    assert "Change one of these" in page and '<svg viewBox="0 0 780' not in page


def _run(status: str, end: int, bound: int | None) -> Run:
    found = {"status": status, "by": "solver", "bound": bound, "wet_wait": 0,
             "placed": [["a", 0, end, ""]] if status == "found" else []}  # fmt: skip
    return Run("", "bench.plan", 1, "search", "bench", (), {"found": json.dumps(found)})


def test_the_search_goes_on_from_the_best_in_longer_slices_and_stops_when_told() -> None:
    asked: list[dict[str, str]] = []
    answers = [_run("unknown", 0, None), _run("found", 300, 100), _run("found", 400, 100)]

    def ask(params: object) -> Run:
        asked.append(dict(params))  # type: ignore[call-overload]
        return answers[len(asked) - 1]

    told: list[Run] = []
    best = plan_search.in_slices({}, 600, told.append, lambda: len(asked) == 3, ask)
    assert best is answers[1] and told[-1] is best
    assert [float(one["seconds"]) for one in asked] == [2, 4, 8]
    assert json.loads(asked[2]["hint"]) == {"a": 0}


def test_the_search_tells_nothing_before_there_is_a_plan(tmp_path: Path) -> None:
    assert plan_search.told(tmp_path) == ""
