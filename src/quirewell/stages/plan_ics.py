"""A plan for the bench as a calendar file (RFC 5545, [desruisseaux2009]).

An event is a sitting: works of hands where one follows the other. Its UID is that of the step it
begins with, so that a plan worked out anew moves the same events: it is written over ``former``,
with a higher SEQUENCE, and a sitting that is gone stands there as cancelled. Times are instants
in UTC, which any change of clocks leaves alone. The moment of writing is passed in.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from icalendar import Alarm, Calendar, Component, Event

from quirewell.stages.plan_told import length, sheets_words, until

PRODUCT = "-//quirewell//bench plan//EN"
# Sittings closer than this are one; the bell rings so long before one begins.
GAP_MIN, BELL_MIN = 10, 10
_SPACE = uuid.uuid5(uuid.NAMESPACE_DNS, "bench-plan.quirewell.invalid")
MOST_BYTES = 4_000_000
Row = Mapping[str, Any]


def sittings(told: Mapping[str, Any]) -> list[list[Row]]:
    """Works of hands, those that follow one another within ten minutes together."""
    out: list[list[Row]] = []
    for row in sorted((r for r in told["steps"] if r["hands"]), key=lambda r: r["start_min"]):
        if out and row["start_min"] - max(one["end_min"] for one in out[-1]) <= GAP_MIN:
            out[-1].append(row)
        else:
            out.append([row])
    return out


def uid_of(told: Mapping[str, Any], row: Row) -> str:
    """The name of a sitting that begins with a step: the same in every plan of the same work."""
    return str(uuid.uuid5(_SPACE, f"{told['start']} {row['id']}"))


def calendar(told: Mapping[str, Any], stamp: datetime, former: bytes = b"") -> bytes:
    """The plan's calendar as it goes into a file; ``former`` is the file it takes the place of.

    Raises:
        ValueError: a moment without a zone, or a former file that is no calendar of a plan.
    """
    if stamp.tzinfo is None:
        raise ValueError("a calendar is stamped with a moment that carries its zone")
    at = stamp.astimezone(UTC).replace(microsecond=0)
    known = _former(former)
    out = Calendar()
    out.add("prodid", PRODUCT)
    out.add("version", "2.0")
    out.add("calscale", "GREGORIAN")
    out.add("method", "PUBLISH")
    sequence = 1 + max((number for number, _ in known.values()), default=-1)
    here = set()
    for rows in sittings(told):
        uid = uid_of(told, rows[0])
        here.add(uid)
        out.add_component(_event(rows, uid, at, sequence))
    for uid in sorted(set(known) - here):
        out.add_component(_cancelled(known[uid][1], uid, at, sequence))
    return bytes(out.to_ical())


def _event(rows: Sequence[Row], uid: str, at: datetime, sequence: int) -> Event:
    names = list(dict.fromkeys(row["name"] for row in rows))
    items = list(dict.fromkeys(row["item"] for row in rows))
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", at)
    event.add("sequence", sequence)
    event.add("dtstart", _utc(rows[0]["start"]))
    event.add("dtend", max(_utc(row["end"]) for row in rows))
    summary = f"{names[0]}; {len(names) - 1} more" if len(names) > 1 else names[0]
    event.add("summary", f"{', '.join(items)}: {summary}")
    event.add("description", description(rows))
    event.add("status", "CONFIRMED")
    event.add("transp", "OPAQUE")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"{', '.join(items)}: {names[0]}")
    alarm.add("trigger", timedelta(minutes=-BELL_MIN))
    event.add_component(alarm)
    return event


def description(rows: Sequence[Row]) -> str:
    """What is done in a sitting, a line a step: time, sheets, and how long it can wait."""
    lines = []
    for row in rows:
        begin = datetime.fromisoformat(row["start"])
        sheets = sheets_words(row["sheets"]) or "the item"
        lines.append(f"{begin:%H:%M} to {until(row)} {row['name']} ({row['item']}): {sheets}")
        if row["can_wait"]:
            lines.append(f"  can wait: {row['can_wait']}")
        if row["slack_min"]:
            lines.append(f"  may end {length(row['slack_min'])} later without moving the end")
    lines.append("Times are local to the bench.")
    return "\n".join(lines)


def _cancelled(old: Component, uid: str, at: datetime, sequence: int) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", at)
    event.add("sequence", sequence)
    for name in ("dtstart", "dtend"):
        event.add(name, old.decoded(name))
    event.add("summary", str(old.get("summary", "")))
    event.add("status", "CANCELLED")
    event.add("transp", "TRANSPARENT")
    return event


def _former(text: bytes) -> dict[str, tuple[int, Component]]:
    """Events of the file before: their SEQUENCE and themselves, by UID."""
    if not text.strip():
        return {}
    says = "the file there is no calendar of a bench plan; name another"
    if len(text) > MOST_BYTES:
        raise ValueError(says)
    try:
        held = Calendar.from_ical(text)
        if str(held.get("prodid", "")) != PRODUCT:
            raise ValueError(says)
        return {
            str(one["uid"]): (int(one.decoded("sequence", 0)), one)
            for one in held.walk("VEVENT")
            if "dtstart" in one and "dtend" in one
        }
    except (ValueError, KeyError, TypeError, IndexError) as error:
        raise ValueError(says) from error


def _utc(iso: str) -> datetime:
    return datetime.fromisoformat(iso).astimezone(UTC)
