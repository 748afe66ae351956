"""The plan's calendar, read back by another library and held against RFC 5545."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import icalendar
import pytest
import vobject

from quirewell.stages.plan_ics import calendar, sittings

STAMP = datetime(2026, 11, 28, 12, 0, tzinfo=UTC)


def row(id: str, begin: str, minutes: int, hands: bool = True, **more):
    start = datetime.fromisoformat(begin)
    zero = datetime.fromisoformat("2026-12-01T18:00+00:00")
    return {
        "id": id, "item": "Copperbeck Garden Annual", "name": id.split("/")[-1].capitalize(),
        "sheets": ["w01", "w02"], "hands": hands, "start": start.isoformat(timespec="minutes"),
        "end": (start + timedelta(minutes=minutes)).isoformat(timespec="minutes"),
        "start_min": int((start - zero).total_seconds() // 60),
        "end_min": int((start - zero).total_seconds() // 60) + minutes,
        "can_wait": "", "slack_min": 0, **more,
    }  # fmt: skip


def told(*rows):
    return {"start": "2026-12-01T18:00+00:00", "steps": list(rows)}


PLAN = told(
    row("a/w01+w02/fill", "2026-12-01T18:00+00:00", 5),
    row("a/w01+w02/wash", "2026-12-01T18:05+00:00", 30, hands=False),
    row("a/w01+w02/clean", "2026-12-01T18:05+00:00", 20, can_wait="a day, dry; under a board"),
    row("a/w01+w02/lift", "2026-12-01T20:05+00:00", 15),
)


def unfolded(text: bytes) -> str:
    return text.decode().replace("\r\n ", "").replace("\r\n\t", "")


def test_sittings_take_what_follows_within_ten_minutes_and_leave_baths_alone():
    assert [[r["id"].split("/")[-1] for r in group] for group in sittings(PLAN)] == [
        ["fill", "clean"], ["lift"],
    ]  # fmt: skip


def test_another_library_reads_the_same_times_names_and_alarm():
    events = vobject.readOne(calendar(PLAN, STAMP).decode()).vevent_list
    assert [(e.dtstart.value, e.dtend.value) for e in events] == [
        (datetime(2026, 12, 1, 18, 0, tzinfo=UTC), datetime(2026, 12, 1, 18, 25, tzinfo=UTC)),
        (datetime(2026, 12, 1, 20, 5, tzinfo=UTC), datetime(2026, 12, 1, 20, 20, tzinfo=UTC)),
    ]
    assert events[0].summary.value == "Copperbeck Garden Annual: Fill; 1 more"
    assert "can wait: a day, dry; under a board" in events[0].description.value
    assert "wraps 1-2" in events[0].description.value
    assert events[0].valarm.trigger.value == timedelta(minutes=-10)
    assert events[0].valarm.action.value == "DISPLAY" and events[0].valarm.description.value


def test_lines_end_in_crlf_and_fold_at_75_octets():
    """RFC 5545 3.1: CRLF, no line longer than 75 octets, no sign torn by a fold."""
    name = "Gärten, Ziergräser; \\ und «Blüten» 園芸年鑑 " * 4
    text = calendar(told(row("a/-/x", "2026-12-01T18:00+00:00", 5, item=name, name="y")), STAMP)
    assert text.endswith(b"\r\n") and b"\n" not in text.replace(b"\r\n", b"")
    lines = text.split(b"\r\n")
    assert max(map(len, lines)) <= 75 and any(line[:1] == b" " for line in lines)
    for line in lines:
        line.decode()
    event = vobject.readOne(text.decode()).vevent
    assert event.summary.value == f"{name}: y"


def test_commas_semicolons_backslashes_and_newlines_are_escaped():
    """RFC 5545 3.3.11; a title that tries to end its line stays in it."""
    name = "One, two; three\\four\nDTSTART:19000101T000000Z\r\nEND:VCALENDAR"
    text = calendar(told(row("a/-/x", "2026-12-01T18:00+00:00", 5, item=name)), STAMP)
    whole = unfolded(text)
    assert "One\\, two\\; three\\\\four\\nDTSTART" in whole
    assert len(re.findall("^DTSTART", whole, re.M)) == 1
    assert len(re.findall("^END:VCALENDAR", whole, re.M)) == 1
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert event["dtstart"].dt == datetime(2026, 12, 1, 18, tzinfo=UTC)
    assert "three\\four" in vobject.readOne(text.decode()).vevent.summary.value


def test_what_rfc_5545_asks_of_every_event_is_there():
    cal = icalendar.Calendar.from_ical(calendar(PLAN, STAMP))
    assert cal["version"] == "2.0" and cal["prodid"]
    uids = []
    for event in cal.walk("VEVENT"):
        assert event["dtstamp"].dt == STAMP
        uids.append(str(event["uid"]))
        assert event["sequence"] == 0
    assert len(set(uids)) == len(uids) == 2


def test_a_plan_worked_out_anew_moves_the_same_events_and_cancels_those_gone():
    first = calendar(PLAN, STAMP)
    later = told(
        row("a/w01+w02/lift", "2026-12-02T18:00+00:00", 15),
        row("a/w01+w02/mend", "2026-12-03T18:00+00:00", 15),
    )
    second = calendar(later, STAMP + timedelta(hours=3), first)
    old = {str(e["uid"]): e for e in icalendar.Calendar.from_ical(first).walk("VEVENT")}
    new = {str(e["uid"]): e for e in icalendar.Calendar.from_ical(second).walk("VEVENT")}
    assert len(new) == 3 and set(old) < set(new)
    assert {int(e["sequence"]) for e in new.values()} == {1}
    moved = [e for u, e in new.items() if u in old and e["status"] == "CONFIRMED"]
    assert [e["dtstart"].dt for e in moved] == [datetime(2026, 12, 2, 18, tzinfo=UTC)]
    gone = [e for e in new.values() if e["status"] == "CANCELLED"]
    assert len(gone) == 1 and not gone[0].walk("VALARM")
    third = icalendar.Calendar.from_ical(calendar(PLAN, STAMP, second)).walk("VEVENT")
    assert {int(e["sequence"]) for e in third} == {2}


def test_a_change_of_the_clocks_moves_no_sitting():
    """In local time 18:00 on both sides of the last Sunday of October; an hour apart in UTC."""
    both = told(
        row("a/-/x", "2026-10-24T18:00+01:00", 5), row("a/-/y", "2026-10-25T18:00+00:00", 5)
    )
    begins = [e.dtstart.value for e in vobject.readOne(calendar(both, STAMP).decode()).vevent_list]
    assert begins[1] - begins[0] == timedelta(hours=25)


@pytest.mark.parametrize(
    "former", [b"hello", b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n", b"\xff\xfe\x00", b"x" * 5_000_000]
)
def test_a_file_that_is_no_such_calendar_is_not_written_over(former):
    with pytest.raises(ValueError, match="no calendar of a bench plan"):
        calendar(PLAN, STAMP, former)


def test_a_stamp_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="zone"):
        calendar(PLAN, datetime(2026, 11, 28, 12))
