"""Time spent on an item: a timer that is started and stopped, or minutes typed afterwards.

The timer is a record with its start and no end, so that it runs on over a reload, a sleeping
tablet or a stopped server. One runs at a time on an item. Stages know no clock: the moment of a
press comes in the form as ``at`` (an ISO 8601 instant, UTC).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal

from quirewell.record.codec import to_body
from quirewell.record.dealing import TimeSpent
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages import typed
from quirewell.stages.refusal import Problem, Refusal, no

Form = Mapping[str, str]
# A timer that ran longer was most likely forgotten; common sense, no source.
FORGOTTEN_S = 12 * 3600
_HUNDREDTH = Decimal("0.01")


# --- view -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TimeLine:
    """A stretch of work as a page shows it; ``minutes`` to the nearest whole one."""

    id: str
    doing: str
    says: str
    day: str
    minutes: str
    running: bool
    typed: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class TimeView:
    """All time of an item: its stretches, newest first, the one that runs, and the sum."""

    lines: tuple[TimeLine, ...]
    running: TimeLine | None
    hours: Decimal
    says: str


def time_view(state: ItemState) -> TimeView:
    """The time spent on an item in words."""
    spent = tuple(reversed(state.times.values()))
    on = running(state)
    hours = hours_of(state.times.values())
    says = f"{hours} h noted" if spent else "No time is noted yet."
    if on is not None:
        says += ", and a timer runs"
    return TimeView(
        tuple(_line(one) for one in spent), _line(on) if on else None, hours,
        says if says.endswith(".") else f"{says}.",
    )  # fmt: skip


def _line(one: TimeSpent) -> TimeLine:
    seconds = seconds_of(one)
    minutes = f"{_whole(seconds / 60)} min" if seconds else "0 min"
    return TimeLine(
        one.id, one.doing or "work", _said(one), one.started_at[:10], minutes,
        is_running(one), one.minutes is not None, one.note,
    )  # fmt: skip


def _said(one: TimeSpent) -> str:
    if is_running(one):
        return f"since {one.started_at[11:16]} UTC on {one.started_at[:10]}"
    if one.minutes is not None:
        return "typed"
    return f"{one.started_at[11:16]} to {one.ended_at[11:16]} UTC"


def is_running(one: TimeSpent) -> bool:
    """Whether a timer was started and not stopped."""
    return bool(one.started_at) and not one.ended_at and one.minutes is None


def running(state: ItemState) -> TimeSpent | None:
    """The timer that runs on an item; None where none does."""
    return next((one for one in state.times.values() if is_running(one)), None)


def seconds_of(one: TimeSpent) -> Decimal:
    """How long a stretch took [s]: what was typed before what the timer says; 0 while it runs."""
    if one.minutes is not None:
        return one.minutes * 60
    if not one.started_at or not one.ended_at:
        return Decimal(0)
    return Decimal(_between(one.started_at, one.ended_at))


def hours_of(spent: Iterable[TimeSpent]) -> Decimal:
    """Their sum in hours, rounded once to hundredths (36 s), halves up.

    >>> hours_of([TimeSpent("a", "mending", minutes=Decimal(50)),
    ...           TimeSpent("b", "drying", "2026-03-31T10:00:00Z", "2026-03-31T10:25:30Z")])
    Decimal('1.26')
    """
    total = sum((seconds_of(one) for one in spent), Decimal(0)) / 3600
    return total.quantize(_HUNDREDTH, ROUND_HALF_UP)


def _between(start: str, end: str) -> int:
    """Whole seconds from one instant to another; 0 where the clock was set back."""
    return max(0, round((_instant(end) - _instant(start)).total_seconds()))


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def _whole(number: Decimal) -> Decimal:
    return number.quantize(Decimal(1), ROUND_HALF_UP)


# --- commands -------------------------------------------------------------------------------


def start_timer(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Start the timer: ``doing`` in words (may be empty), ``wraps`` it is for, ``who``; ``at`` the
    moment.

    The same button pressed twice changes nothing.

    Raises:
        Refusal: another timer runs on this item.
    """
    doing = form.get("doing", "").strip()
    on = running(state)
    if on is not None:
        if on.doing == doing:
            return ()
        says = f"A timer runs already ({on.doing or 'work'}, {_said(on)}); stop that one first."
        raise no(form, "doing", says)
    made = TimeSpent(
        f"time-{state.version + 1}", doing, started_at=form["at"],
        who=form.get("who", "").strip(), note=form.get("note", "").strip(), wraps=_wraps(form),
    )  # fmt: skip
    return (_noted(state, made),)


def stop_timer(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Stop the timer that runs; ``minutes`` where it was forgotten and less was worked.

    Raises:
        Refusal: none runs, or it ran so long that somebody must say how long the work took.
    """
    on = running(state)
    if on is None:
        raise no(form, "stop", "No timer runs on this item.")
    minutes = _minutes(form, needed=False)
    if minutes is None and _between(on.started_at, form["at"]) > FORGOTTEN_S:
        says = (
            f"The timer has run {_said(on)}, more than {FORGOTTEN_S // 3600} hours; write how long "
            "the work took, as 90 or 1 h 30."
        )
        raise no(form, "minutes", says)
    wraps = _wraps(form) or on.wraps
    return (_noted(state, replace(on, ended_at=form["at"], minutes=minutes, wraps=wraps)),)


def note_time(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Note work done: ``doing``, ``minutes`` as typed ("90", "1 h 30"), ``wraps`` it was for,
    ``who``, ``note``; an ``id`` corrects a stretch already noted.

    Raises:
        Refusal: no time, or one that cannot be.
    """
    minutes = _minutes(form, needed=True)
    known = state.times.get(form.get("id", ""))
    if form.get("id") and known is None:
        raise no(form, "minutes", "That stretch of work was set aside meanwhile; note it anew.")
    made = TimeSpent(
        known.id if known else f"time-{state.version + 1}",
        form.get("doing", "").strip(),
        known.started_at if known else "",
        known.ended_at if known else "",
        minutes,
        _wraps(form) or (known.wraps if known else None),
        form.get("who", "").strip(),
        form.get("note", "").strip(),
    )
    return (_noted(state, made),)


def set_time_aside(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Set a stretch of work aside; it stays in the journal.

    Raises:
        Refusal: there is no such record.
    """
    known = form.get("id", "")
    if known not in state.times:
        raise no(form, "id", "That stretch of work is already set aside.")
    retracted = Retract(known, form.get("reason", "").strip())
    return (Draft(state.id, "record.retracted", to_body(retracted)),)


def _minutes(form: Form, *, needed: bool) -> Decimal | None:
    text = form.get("minutes", "").strip()
    if not text:
        if needed:
            raise no(form, "minutes", "Write how long it took, as 90 or 1 h 30.")
        return None
    try:
        minutes = typed.minutes(text)
        TimeSpent("time", "", minutes=minutes)
    except ValueError as error:
        raise no(form, "minutes", f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    return minutes


def _wraps(form: Form) -> int | None:
    text = form.get("wraps", "").strip()
    if not text:
        return None
    if not (text.isdecimal() and 1 <= int(text[:4]) <= 99):
        raise no(form, "wraps", f"Wraps are a whole number of 1 to 99, got {text[:20]}.")
    return int(text)


def _noted(state: ItemState, spent: TimeSpent) -> Draft:
    try:
        body = to_body(spent)
    except ValueError as error:
        raise Refusal((Problem("doing", f"{error}."),)) from error
    return Draft(state.id, "time.noted", body)
