"""When an entry was typed: the instant of the device, set right by how far its clock is off.

An entry may reach the studio long after it was typed. The device says when it was typed
(``typed_at``) and when it sends (``sent_at``), both by its own clock, so that the difference from
the studio's clock at the moment of sending is how far the device's clock is off, plus the time on
the way; what was typed is moved by as much. The device also says how far off it last found its
clock before typing (``off_s``, studio less device): where that differs from the one at sending,
the clock was set in between, and the earlier one belongs to what was typed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from quirewell.stages.refusal import no

Form = Mapping[str, str]
AGREES_S = 3.0
CLOCK_SET_S = 10.0
FUTURE_S = 120.0
_MOST_OFF_S = 400 * 24 * 3600.0


@dataclass(frozen=True, slots=True)
class When:
    """The instant (UTC, to the second) an entry counts from; ``says`` what was set right, if
    anything; ``off_s`` how far the device's clock is behind [s], negative where it is ahead."""

    at: str
    says: str = ""
    off_s: float = 0.0


def when_typed(form: Form, now: datetime, opened_at: str) -> When:
    """The instant of an entry: ``typed_at`` set right, or ``now`` where nothing is said.

    ``take`` = "now" takes the studio's time whatever the device says.

    Raises:
        Refusal: no instant, or one in the future or before the item was opened.
    """
    text = form.get("typed_at", "").strip()
    if not text or form.get("take", "") == "now":
        return When(instant(now))
    typed = _read(form, "typed_at", text)
    sent_text = form.get("sent_at", "").strip()
    sent = _read(form, "sent_at", sent_text) if sent_text else None
    off = (now - sent).total_seconds() if sent is not None else 0.0
    off = 0.0 if abs(off) < AGREES_S else off
    used, was_set = off, False
    before = _seconds(form.get("off_s", ""))
    if before is not None and sent is not None and abs(before - off) > CLOCK_SET_S:
        used, was_set = (0.0 if abs(before) < AGREES_S else before), True
    at = typed + timedelta(seconds=used)
    if (at - now).total_seconds() > FUTURE_S:
        raise no(form, "typed_at", _ahead(at, now))
    at = min(at, now)
    if opened_at and at < read_instant(opened_at):
        raise no(
            form, "typed_at",
            f"By this device's clock that was on {_words(at)}, before the item was opened here "
            f"({_words(read_instant(opened_at))}). Set the clock, or save it with the studio's "
            "time.",
        )  # fmt: skip
    return When(instant(at), _says(used, was_set), off)


def read_instant(text: str) -> datetime:
    """An ISO 8601 instant as an aware moment.

    Raises:
        ValueError: no instant, or one without its zone.
    """
    moment = datetime.fromisoformat(text.replace("Z", "+00:00"))
    if moment.tzinfo is None:
        raise ValueError(f"an instant carries its zone, got {text!r}")
    return moment.astimezone(UTC)


def instant(moment: datetime) -> str:
    """A moment as records keep it: UTC to the second."""
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def span_words(seconds: float) -> str:
    """A length of time in the two largest units.

    >>> span_words(8), span_words(192), span_words(7_500), span_words(200_000)
    ('8 s', '3 min 12 s', '2 h 5 min', '2 d 7 h')
    """
    whole = round(abs(seconds))
    for size, name, part, part_name in (
        (86400, "d", 3600, "h"), (3600, "h", 60, "min"), (60, "min", 1, "s"),
    ):  # fmt: skip
        if whole >= size:
            rest = whole % size // part
            return f"{whole // size} {name}{f' {rest} {part_name}' if rest else ''}"
    return f"{whole} s"


def _read(form: Form, field: str, text: str) -> datetime:
    try:
        return read_instant(text)
    except ValueError as error:
        raise no(
            form, field,
            f"The device's time {text[:40]!r} is no instant; write it as 2026-03-31T19:42:00Z.",
        ) from error  # fmt: skip


def _seconds(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) < _MOST_OFF_S else None


def _ahead(at: datetime, now: datetime) -> str:
    ahead = span_words((at - now).total_seconds())
    return (
        f"By this device's clock that is {ahead} in the future ({_words(at)}). Set the clock, or "
        "save it with the studio's time."
    )


def _says(used: float, was_set: bool) -> str:
    if was_set:
        return (
            "The device's clock was set between typing and saving; the time is counted by the "
            "clock as it was when this was typed."
        )
    if not used:
        return ""
    way = "behind" if used > 0 else "ahead"
    return f"This device's clock is {span_words(used)} {way}; the time was set right by that."


def _words(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"
