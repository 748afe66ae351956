"""The bench page without a script: one thing, plain forms, read back before saving."""

from __future__ import annotations

import re

from quirewell.web.house import islands_built
from web.conftest import ITEM, Bench


def once_of(page: str, command: str) -> str:
    form = next(
        one for one in re.findall(r"<form.*?</form>", page, re.DOTALL)
        if f'name="command" value="{command}"' in one
    )  # fmt: skip
    found = re.search(r'name="once" value="([0-9a-f]+)"', form)
    assert found
    return found[1]


def test_the_page_opens_on_an_untouched_studio_and_begins_a_step_by_hand(bench: Bench) -> None:
    page = bench.client.get("/today")
    assert page.status_code == 200 and "Begin any step on any sheets below" in page.text
    form = {
        "once": once_of(page.text, "start"), "command": "start", "item": ITEM,
        "kind": "surface-clean", "places": "1", "planned": "20 min", "most": "30",
    }  # fmt: skip
    for _ in range(2):  # the button pressed twice
        saved = bench.client.post("/today/send", data=form)
        assert saved.status_code == 200 and "Saved on the disk:" in saved.text
    (step,) = bench.state.steps.values()
    assert (step.state, step.places, float(step.planned_minutes or 0)) == ("started", ("w01",), 20)
    page_now = bench.client.get("/today").text
    assert "Surface cleaned" in page_now and f'data-start="{step.started_at}"' in page_now
    done = {"once": once_of(page_now, "done"), "command": "done", "item": ITEM, "id": step.id}
    assert bench.client.post("/today/send", data=done).status_code == 200
    assert bench.state.steps[step.id].state == "done"


def test_a_reading_is_read_back_and_saved_by_the_second_touch(bench: Bench) -> None:
    page = bench.client.get("/today").text
    form = {
        "once": once_of(page, "reading"), "command": "reading", "item": ITEM,
        "value": "pH 7.9 at 21C", "place": "w01", "moment": "after",
    }  # fmt: skip
    asked = bench.client.post("/today/send", data=form).text
    assert "pH 7.9 at 21 °C (strip on the damp surface) on wrap 1, after treatment: right?" in asked
    assert not bench.state.readings
    assert 'name="right" value="yes"' in asked and form["once"] in asked
    for _ in range(2):
        assert bench.client.post("/today/send", data={**form, "right": "yes"}).status_code == 200
    assert len(bench.state.readings) == 1
    wrong = bench.client.post("/today/send", data={**form, "once": "f" * 32, "value": "pH 79"})
    assert wrong.status_code == 422 and "is a decimal point missing?" in wrong.text
    assert 'value="pH 79"' in wrong.text, "what was typed is still there"


def test_what_wets_paper_is_asked_twice_and_held_up_by_its_caution(bench: Bench) -> None:
    form = {"once": "a" * 32, "command": "start", "item": ITEM, "kind": "wash", "places": "1"}
    page = bench.client.post("/today/send", data=form)
    assert page.status_code == 422 and "Begin all the same, because" in page.text
    asked = bench.client.post("/today/send", data={**form, "override": "a spare wrap for a trial"})
    assert asked.status_code == 200 and "Washed, wrap 1: begin now?" in asked.text
    assert not bench.state.steps
    yes = {**form, "override": "a spare wrap for a trial", "right": "yes"}
    assert bench.client.post("/today/send", data=yes).status_code == 200
    assert [step.state for step in bench.state.steps.values()] == ["started"]
    page_now = bench.client.get("/today").text
    assert 'data-hold="yes"' in page_now and "Not yet" not in page_now


def test_the_state_for_the_other_tablet_changes_its_mark_with_every_save(bench: Bench) -> None:
    first = bench.client.get("/today/state.json").json()
    assert first["under_way"] == [] and first["now"].endswith("Z")
    form = {"once": "b" * 32, "command": "start", "item": ITEM, "kind": "house", "places": "1"}
    bench.client.post("/today/send", data=form)
    second = bench.client.get("/today/state.json").json()
    assert second["mark"] != first["mark"]
    assert [one["name"] for one in second["under_way"]] == ["Housed"]
    assert f'data-mark="{second["mark"]}"' in bench.client.get("/today").text


def test_ugly_addresses_and_words_do_no_harm(bench: Bench) -> None:
    for query in ("?at=s:nobody:step-1", "?at=%00", "?item=nobody", "?saved=zz", "?at=p:%3Cb%3E"):
        assert bench.client.get(f"/today{query}").status_code == 200
    form = {"once": "c" * 32, "command": "start", "item": ITEM, "kind": "house", "places": "1"}
    bench.client.post("/today/send", data=form)
    (step,) = bench.state.steps
    note = {"once": "d" * 32, "command": "note", "item": ITEM, "id": step}
    bench.client.post("/today/send", data={**note, "words": "<script>alert(1)</script>"})
    page = bench.client.get("/today").text
    assert "<script>alert" not in page and "&lt;script&gt;alert" in page


def test_the_service_worker_is_served_from_the_root_under_the_same_policy(bench: Bench) -> None:
    answer = bench.client.get("/sw.js")
    if not islands_built():
        assert answer.status_code == 404 and "not built" in answer.text
        return
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "unsafe" not in answer.headers["content-security-policy"]


def test_the_bench_page_of_one_item_asks_for_no_step_of_another(bench: Bench) -> None:
    from quirewell.stages.overview import open_item

    bench.studio.append("other", 0, open_item("other", {"title": "Fenwren Almanac"}))
    form = {"kind": "surface-clean", "places": "w01"}
    bench.client.post(bench.url("/treat/plan"), data=form)
    assert "Surface cleaned" in bench.client.get("/today").text.split("Next up")[0]
    assert "Surface cleaned" not in bench.client.get("/today?item=other").text.split("Next up")[0]
