"""The alarm on the machine itself, by a clock that is set by hand; it rings into a list."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from lan_studio import HandClock
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Step
from quirewell.stages.overview import open_item
from quirewell.studio.studio import Studio
from quirewell.web.alarm import Alarm, due_now, read_command, rings_again

ITEM, OTHER = "copperbeck-garden-annual", "second-copy"
BEGUN = datetime(2031, 3, 2, 20, 34, tzinfo=UTC)
WASH = Step(
    "bath-1", "wash", ("w03",), "started", started_at="2031-03-02T20:34:00Z",
    planned_minutes=Decimal(30), most_minutes=Decimal(45),
)  # fmt: skip


@pytest.fixture
def clock() -> HandClock:
    return HandClock(BEGUN)


@pytest.fixture
def studio(tmp_path: Path, clock: HandClock) -> Iterator[Studio]:
    with Studio.create(tmp_path / "studio", "Larkmoor", clock=clock, zone="UTC") as made:
        for item in (ITEM, OTHER):
            form = {"title": f"Copperbeck {item[:6]}", "year": "1936", "wraps": "9"}
            made.append(item, 0, open_item(item, form))
        yield made


def put(studio: Studio, step: Step, kind: str, item: str = ITEM) -> None:
    studio.append(item, None, (Draft(item, kind, to_body(step)),))


def test_rings_when_due_and_each_minute_until_done(studio: Studio, clock: HandClock) -> None:
    put(studio, WASH, "step.started")
    said: list[str] = []
    alarm = Alarm(said.append, clock=clock)
    clock.move(minutes=29, seconds=59)
    alarm.look(studio)
    assert said == []
    clock.move(seconds=1)
    for _ in range(30):
        alarm.look(studio)
        clock.move(seconds=2)
    assert len(said) == 1
    assert said[0].startswith("\a21:04 wrap 3, Copperbeck copper: ") and said[0].endswith(" is due")
    alarm.look(studio)
    assert len(said) == 2 and "21:05 wrap 3" in said[1]
    clock.move(minutes=14)
    alarm.look(studio)
    assert "over its longest time" in said[2]
    put(studio, replace(WASH, state="done", done_at="2031-03-02T21:20:00Z"), "step.done")
    clock.move(minutes=5)
    alarm.look(studio)
    assert len(said) == 3


def test_a_title_gives_the_terminal_no_orders(studio: Studio, clock: HandClock) -> None:
    item = replace(studio.state(ITEM).item, title="A\x1b]0;x\x07B")
    studio.append(ITEM, None, (Draft(ITEM, "item.described", to_body(item)),))
    put(studio, WASH, "step.started")
    said: list[str] = []
    clock.move(minutes=30)
    Alarm(said.append, clock=clock).look(studio)
    assert "A ]0;x B" in said[0] and "\x1b" not in said[0] and said[0].count("\a") == 1


def test_more_time_is_a_new_alarm(studio: Studio, clock: HandClock) -> None:
    put(studio, WASH, "step.started")
    said: list[str] = []
    alarm = Alarm(said.append, clock=clock)
    clock.move(minutes=30)
    alarm.look(studio)
    put(studio, replace(WASH, planned_minutes=Decimal(40)), "step.corrected")
    clock.move(minutes=5)
    alarm.look(studio)
    assert len(said) == 1
    clock.move(minutes=5)
    alarm.look(studio)
    assert len(said) == 2 and "21:14" in said[1]


def test_watches_every_item_and_the_bench_keeps_its_own_time(tmp_path: Path) -> None:
    clock = HandClock(BEGUN)
    zone = "Europe/Dublin"
    with Studio.create(tmp_path / "s", "Larkmoor", clock=clock, zone=zone) as studio:
        for item in (ITEM, OTHER):
            studio.append(item, 0, open_item(item, {"title": item, "year": "1936", "wraps": "9"}))
        clock.at = datetime(2031, 7, 2, 20, 34, tzinfo=UTC)
        begun = "2031-07-02T20:34:00Z"
        put(studio, replace(WASH, started_at=begun), "step.started")
        put(studio, replace(WASH, started_at=begun, places=("w05",)), "step.started", OTHER)
        said: list[str] = []
        clock.move(minutes=31)
        Alarm(said.append, clock=clock).look(studio)
    assert len(said) == 2 and all(one.startswith("\a22:05 ") for one in said)


@pytest.mark.parametrize(
    "step",
    [
        replace(WASH, planned_minutes=None, most_minutes=None),
        replace(WASH, state="planned", started_at=""),
    ],
)
def test_what_has_no_timer_never_rings(studio: Studio, clock: HandClock, step: Step) -> None:
    put(studio, step, "step.planned" if step.state == "planned" else "step.started")
    clock.move(hours=3)
    assert due_now([studio.state(ITEM)], clock.at) == []


def test_what_was_forgotten_falls_silent(studio: Studio, clock: HandClock) -> None:
    put(studio, WASH, "step.started")
    said: list[str] = []
    alarm = Alarm(said.append, clock=clock)
    for _ in range(48 * 60):
        clock.move(minutes=1)
        alarm.look(studio)
    # Each minute for half an hour after it is due, then each ten minutes to six hours after.
    assert len(said) == 31 + 33


def test_begins_again_after_a_restart(studio: Studio, clock: HandClock) -> None:
    put(studio, WASH, "step.started")
    clock.move(minutes=40)
    for _ in range(2):
        said: list[str] = []
        Alarm(said.append, clock=clock).look(studio)
        assert len(said) == 1


def test_how_often() -> None:
    due = BEGUN
    assert not rings_again(due, None, due - timedelta(seconds=1))
    assert rings_again(due, None, due)
    assert not rings_again(due, due, due + timedelta(seconds=59))
    assert rings_again(due, due, due + timedelta(seconds=60))
    assert not rings_again(due, None, due + timedelta(hours=6, seconds=1))


def test_the_command_gets_the_words_as_one_argument_and_no_shell(
    studio: Studio, clock: HandClock, tmp_path: Path
) -> None:
    heard = tmp_path / "heard.json"
    script = tmp_path / "ring.py"
    script.write_text(
        "import json, sys, pathlib\n"
        f"pathlib.Path({str(heard)!r}).write_text(json.dumps(sys.argv[1:]))\n"
    )
    state = studio.state(ITEM)
    title = "$(touch gone); `x` & 'y' \"z\""
    put_item = replace(state.item, title=title)
    studio.append(ITEM, None, (Draft(ITEM, "item.described", to_body(put_item)),))
    put(studio, WASH, "step.started")
    clock.move(minutes=30)
    command = read_command(f"{sys.executable} '{script}' --loud")
    alarm = Alarm(lambda text: None, command, clock)
    alarm.look(studio)
    for _ in range(100):
        if heard.exists() and heard.read_text():
            break
        time.sleep(0.05)
    alarm.stop()
    flag, words = json.loads(heard.read_text())
    assert flag == "--loud" and words.startswith("21:04 wrap 3, " + title)


@pytest.mark.parametrize(
    ("text", "says"),
    [("'", "without its pair"), ("no-such-program-here x", "no program"), ("  ", "no program")],
)
def test_a_command_that_cannot_be_is_a_sentence(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_command(text)


def test_the_thread_rings_and_ends(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quirewell.web.alarm.LOOK_EVERY_S", 0.02)
    clock = HandClock(BEGUN + timedelta(minutes=30))
    put(studio, WASH, "step.started")
    said: list[str] = []
    alarm = Alarm(said.append, clock=clock)
    alarm.start(studio)
    for _ in range(200):
        if said:
            break
        time.sleep(0.02)
    alarm.stop()
    assert len(said) == 1
