"""The door for entries that are sent once: JSON answers, late instants, photographs, refusals."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from web.conftest import ITEM, Bench, picture_bytes


def number(at: int) -> str:
    return f"{at:032x}"


def send(bench: Bench, at: int, command: str, **form: str) -> tuple[int, dict[str, Any]]:
    data = {"once": number(at), "item": ITEM, "command": command, **form}
    answer = bench.client.post("/today/send", data=data, headers={"accept": "application/json"})
    return answer.status_code, answer.json()


def test_an_entry_sent_twice_is_saved_once_and_answered_alike(bench: Bench) -> None:
    form = {"value": "pH 7.9 at 21C", "place": "w01", "moment": "after"}
    status, first = send(bench, 1, "reading", **form)
    assert status == 200 and first["saved"] and first["undo"] and not first["again"]
    assert first["says"] == "pH 7.9 at 21 °C (strip on the damp surface) on wrap 1, after treatment"
    status, again = send(bench, 1, "reading", **form)
    assert status == 200 and again["again"] and again["seq"] == first["seq"]
    assert again["says"] == first["says"]
    assert len(bench.state.readings) == 1
    status, undone = send(bench, 2, "undo", entry=number(1))
    assert status == 200 and undone["says"] == "Undone" and not bench.state.readings


def test_a_late_start_counts_from_when_it_was_typed_on_a_clock_that_is_off(bench: Bench) -> None:
    clock = datetime.now(UTC) - timedelta(minutes=7)
    send(bench, 1, "start", kind="surface-clean", places="w01", take="now")
    status, told = send(
        bench, 2, "start", kind="surface-clean", places="w02",
        typed_at=clock.isoformat(), sent_at=clock.isoformat(),
    )  # fmt: skip
    assert status == 200 and told["clock"].startswith("This device's clock is 7 min behind")
    assert 415 < told["off_s"] < 425
    step = next(one for one in bench.state.steps.values() if one.places == ("w02",))
    true = datetime.fromisoformat(step.started_at.replace("Z", "+00:00"))
    assert abs((datetime.now(UTC) - true).total_seconds()) < 5
    status, told = send(bench, 3, "note", words="x", typed_at="2001-01-01T00:00:00Z")
    assert status == 422 and told["problems"][0]["field"] == "typed_at"
    assert "before the item was opened" in told["says"]


def test_a_picture_is_kept_once_with_its_place(bench: Bench) -> None:
    for _ in range(2):
        answer = bench.client.post(
            "/today/send",
            data={"once": number(9), "item": ITEM, "command": "photo", "place": "w02"},
            files={"photo": ("snap.png", picture_bytes(91), "image/png")},
            headers={"accept": "application/json"},
        )
        assert answer.status_code == 200, answer.text
    captures = [one for one in bench.state.captures.values() if one.view == "bench"]
    assert [one.place for one in captures] == ["w02"]
    assert answer.json()["says"] == "A picture of wrap 2"
    kinds = [event.kind for event in bench.studio.events(ITEM)]
    assert kinds.count("entry.sent") == 1
    bad = bench.client.post(
        "/today/send", data={"once": number(10), "item": ITEM, "command": "photo"},
        files={"photo": ("snap.png", b"not a picture", "image/png")},
        headers={"accept": "application/json"},
    )  # fmt: skip
    assert bad.status_code == 422 and not bad.json()["saved"]
    status, told = send(bench, 11, "photo", place="w02")
    assert status == 422 and "picture first" in told["says"]


def test_cautions_come_as_a_rule_that_a_reason_lifts(bench: Bench) -> None:
    status, told = send(bench, 1, "start", kind="wash", places="w01")
    assert status == 422 and told["rule"] == "ink-test" and "ink test" in told["says"]
    assert not bench.state.steps and not bench.state.sent
    status, told = send(
        bench, 1, "start", kind="wash", places="w01", override="a trial sheet of no value"
    )
    assert status == 200 and not told["undo"] and bench.state.overrides


def test_ugly_entries_are_told_in_a_sentence_and_save_nothing(bench: Bench) -> None:
    before = len(bench.studio.events(ITEM))
    for form in (
        {"command": "nonsense"},
        {"command": ""},
        {"command": "done", "id": "step-99"},
        {"command": "done", "of": number(77)},
        {"command": "reading", "value": "pH 79"},
        {"command": "reading", "value": "7.9"},
        {"command": "note", "words": ""},
        {"command": "note", "words": "x" * 5000},
        {"command": "start", "kind": "wash", "places": "w44"},
        {"command": "more-time", "id": "x", "more": "soon"},
        {"command": "undo", "entry": "no"},
    ):
        status, told = send(bench, 5, **form)
        assert status == 422 and told["says"].endswith((".", "?")), form
    assert send(bench, 5, "note", words="x", item="no-such-item")[0] == 422
    data = {"item": ITEM, "command": "note", "words": "x"}
    for accept in ("application/json", "text/html"):
        answer = bench.client.post("/today/send", data=data, headers={"accept": accept})
        assert answer.status_code == 422 and "own number" in answer.text
    assert len(bench.studio.events(ITEM)) == before


def test_two_tablets_editing_one_step_see_both_versions(bench: Bench) -> None:
    send(bench, 1, "start", kind="surface-clean", places="w01")
    (step,) = bench.state.steps
    seen = str(bench.state.touched[step])
    edit = {"id": step, "record": step, "touched": seen}
    assert send(bench, 2, "correct", **edit, note="soft brush")[0] == 200
    status, told = send(bench, 3, "correct", **edit, note="eraser crumbs")
    assert status == 409 and told["stale"]
    assert {"name": "note", "saved": "soft brush", "yours": "eraser crumbs"} in told["both"]
    assert bench.state.steps[step].note == "soft brush"


def test_a_reading_is_read_back_without_saving(bench: Bench) -> None:
    form = {"item": ITEM, "value": "184.5 x 260", "place": "w01"}
    answer = bench.client.post("/today/read", data=form)
    assert answer.json()["says"].startswith("Size 184.5 x 260 mm")
    bad = bench.client.post("/today/read", data={**form, "value": "7"})
    assert bad.status_code == 422 and bad.json()["problems"]
    assert not bench.state.readings
