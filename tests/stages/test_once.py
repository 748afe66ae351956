"""An entry sent again is saved once: one after the other, at the same moment, and after a crash."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from quirewell.record.nouns import ItemState
from quirewell.stages import today_keep
from quirewell.stages.once import Kept, send, undo_entry
from quirewell.stages.overview import open_item
from quirewell.stages.refusal import Refusal
from quirewell.studio.faults import Stale
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"
AT = "2026-11-28T19:42:00Z"


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as made:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "9"}
        made.append(ITEM, 0, open_item(ITEM, form))
        yield made


def number(at: int) -> str:
    return f"{at:032x}"


def sent(studio: Studio, one: int, command: str, **form: str) -> Kept:
    whole = {"once": number(one), "command": command, "at": AT, **form}
    act = undo_entry(studio, ITEM) if command == "undo" else today_keep.COMMANDS[command]
    return send(studio, ITEM, whole, act)


def count(studio: Studio) -> Counter[str]:
    return Counter(event.kind for event in studio.events(ITEM))


def test_the_same_entry_again_saves_nothing_and_is_answered_with_the_first_number(
    studio: Studio,
) -> None:
    first = sent(studio, 1, "reading", value="pH 7.9 at 21C", place="w03")
    sent(studio, 2, "note", words="the red holds", place="w03")
    again = sent(studio, 1, "reading", value="pH 7.9 at 21C", place="w03")
    assert not first.again and again.again
    assert again.seq == first.seq and again.entry == first.entry
    assert count(studio) == {
        "item.opened": 1, "gathering.described": 1, "reading.taken": 1, "item.described": 1,
        "entry.sent": 2,
    }  # fmt: skip
    entry = studio.state(ITEM).sent[number(1)]
    assert (entry.at, entry.command) == (AT, "reading")
    assert entry.record in studio.state(ITEM).readings


def test_the_entry_and_what_it_did_are_one_append(studio: Studio) -> None:
    sent(studio, 1, "reading", value="184.5 x 260", place="w02")
    events = studio.events(ITEM)[-3:]
    assert [event.kind for event in events] == ["reading.taken", "reading.taken", "entry.sent"]
    with pytest.raises(Refusal):
        sent(studio, 2, "reading", value="pH 79", place="w02")
    assert number(2) not in studio.state(ITEM).sent, "a refused entry may be sent again, set right"
    assert not sent(studio, 2, "reading", value="pH 7.9", place="w02").again


def test_two_sendings_at_the_same_moment_save_once(studio: Studio) -> None:
    answers: list[Kept] = []
    for at in range(12):
        gate = threading.Barrier(6)

        def go(at: int = at, gate: threading.Barrier = gate) -> None:
            gate.wait()
            answers.append(sent(studio, at, "reading", value=f"pH 7.{at % 10} at 21C", place="w01"))

        threads = [threading.Thread(target=go) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert count(studio)["reading.taken"] == count(studio)["entry.sent"] == 12
    for at in range(12):
        mine = [one for one in answers if one.entry.id == number(at)]
        assert len(mine) == 6 and sum(not one.again for one in mine) == 1
        assert len({one.seq for one in mine}) == 1


def test_different_entries_at_the_same_moment_are_all_saved(studio: Studio) -> None:
    sent(studio, 100, "start", kind="surface-clean", places="w01")
    step = next(iter(studio.state(ITEM).steps))
    gate = threading.Barrier(8)

    def go(at: int) -> None:
        gate.wait()
        sent(studio, at, "note", id=step, words=f"line {at}")

    threads = [threading.Thread(target=go, args=(at,)) for at in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lines = studio.state(ITEM).steps[step].note.splitlines()
    assert sorted(lines) == [f"line {at}" for at in range(8)]


def test_a_number_used_for_something_else_or_none_at_all_is_refused(studio: Studio) -> None:
    sent(studio, 1, "note", words="looked at")
    with pytest.raises(Refusal, match="another entry"):
        sent(studio, 1, "reading", value="pH 7.9")
    for bad in ("", "12", "xyz" * 8, "A" * 32, "0" * 65):
        with pytest.raises(Refusal, match="own number"):
            send(studio, ITEM, {"once": bad, "command": "note", "words": "x"}, today_keep.note)
    assert count(studio)["entry.sent"] == 1


def test_a_form_that_edits_one_record_never_overwrites_what_another_saved(studio: Studio) -> None:
    sent(studio, 1, "start", kind="surface-clean", places="w01")
    state = studio.state(ITEM)
    (step,) = state.steps
    seen = str(state.touched[step])
    sent(studio, 2, "correct", id=step, record=step, touched=seen, note="by the one tablet")
    with pytest.raises(Stale):
        sent(studio, 3, "correct", id=step, record=step, touched=seen, note="by the other")
    assert studio.state(ITEM).steps[step].note == "by the one tablet"


def test_undo_counters_all_an_entry_did_and_only_once(studio: Studio) -> None:
    first = sent(studio, 1, "reading", value="184.5 x 260", place="w02")
    assert first.undo and len(first.events) == 2
    sent(studio, 2, "undo", entry=number(1))
    assert not studio.state(ITEM).readings
    again = sent(studio, 2, "undo", entry=number(1))
    assert again.again and count(studio)["event.undone"] == 2
    assert not sent(studio, 1, "reading", value="184.5 x 260", place="w02").undo
    assert not studio.state(ITEM).readings, "an entry undone is not done again by a late sending"


def test_what_wetted_paper_is_not_undone_and_a_done_may_go_on(studio: Studio) -> None:
    begun = sent(
        studio, 1, "start", kind="wash", places="w03", override="tested last week, on paper",
        planned="20 min", most="30",
    )  # fmt: skip
    assert not begun.undo
    with pytest.raises(Refusal, match="wetted paper"):
        sent(studio, 2, "undo", entry=number(1))
    sent(studio, 3, "done", of=number(1), at="2026-11-28T20:05:10Z")
    (step,) = studio.state(ITEM).steps.values()
    assert (step.state, step.done_at) == ("done", "2026-11-28T20:05:10Z")
    assert [step.minutes, step.planned_minutes, step.most_minutes] == [Decimal(23), 20, 30]
    sent(studio, 4, "not-done", id=step.id)
    (step,) = studio.state(ITEM).steps.values()
    assert (step.state, step.minutes, step.done_at, step.started_at) == ("started", None, "", AT)


def test_a_start_undone_with_its_override(studio: Studio) -> None:
    dry = {"kind": "press", "places": "w01", "temperature": "60"}
    sent(studio, 1, "start", kind="humidify", places="w01")
    with pytest.raises(Refusal) as refused:
        sent(studio, 2, "start", **dry)
    assert refused.value.rule == "heat-on-damp"
    begun = sent(studio, 2, "start", **dry, override="a spare wrap for a trial")
    assert begun.undo
    sent(studio, 3, "undo", entry=number(2))
    state: ItemState = studio.state(ITEM)
    assert [step.kind for step in state.steps.values()] == ["humidify"] and not state.overrides


def test_a_reading_outlives_the_program(studio: Studio) -> None:
    sent(studio, 1, "reading", value="12.5 g", place="w01")
    with Studio.open(studio.folder) as other:
        assert sent(other, 1, "reading", value="12.5 g", place="w01").again
        assert len(other.state(ITEM).readings) == 1
        assert not other.rebuild_differs()
