"""What the evening asks of one person: start now, hands free until, next touch, safe stop.

Worked out of a bench plan as told (:func:`.bench_planning.as_json`, with the state each step has
by the record) and the moment now. A stretch is a step and what must follow it until its sheets
may lie: it ends with a step after which they may (``safe_stop``), and where that step needs no
hands (drying on the rack), when it begins. A stretch is begun only where all its steps of hands
lie within the time there is; it is taken as long as planned, begun later where it is late.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from quirewell.stages.plan_time import moment_of, zone_of
from quirewell.stages.plan_told import over_words, sheets_words

Row = Mapping[str, Any]
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Said:
    """One answer: a moment where it has one, and words."""

    at: datetime | None
    says: str


@dataclass(frozen=True, slots=True)
class Tonight:
    """One stretch that may still be begun: whether it reaches a safe stop in the time there is."""

    row: Row
    begins: datetime
    stops: datetime
    fits: bool
    says: str

    @property
    def what(self) -> str:
        """The step it begins with, in a few words."""
        return what(self.row)


@dataclass(frozen=True, slots=True)
class Evening:
    """The four answers; ``tonight`` what can still be done safely, ``until`` the time there is."""

    yes: bool
    start_now: Said
    next_touch: Said
    hands_free_until: Said
    safe_stop: Said
    until: datetime | None = None
    tonight: tuple[Tonight, ...] = ()


def evening(told: Mapping[str, Any], now: datetime, until: datetime | None = None) -> Evening:
    """The answers at ``now``; ``until`` puts another end in place of the working hours'."""
    now = now.astimezone(zone_of(told["zone"])).replace(second=0, microsecond=0)
    if until is not None:
        until = until
    board = _Board(told, now)
    if not board.rows:
        return _nothing("There is no plan to work by.")
    if all(row["state"] == "done" for row in board.rows):
        return _nothing("Nothing is left: every step is done.")
    end = until or board.shift_end()
    tonight = tuple(board.tonight(end)) if end else ()
    touch, touch_says = board.touch(end)
    yes, start = _start(board, end, tonight)
    return Evening(
        yes, start, Said(touch, touch_says), _free(board, touch), _safe(board, end), end, tonight
    )


def _nothing(says: str) -> Evening:
    none = Said(None, "Nothing.")
    return Evening(False, Said(None, says), none, none, Said(None, "Nothing is under way."))


def stretches(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """What belongs to the stretch that begins with each step: itself, and what must follow it
    until its sheets may lie."""
    after = _followers(rows)
    out: dict[str, list[Row]] = {}
    for row in rows:
        found: dict[str, Row] = {}
        stack = [row]
        while stack:
            one = stack.pop()
            if one["id"] in found:
                continue
            found[one["id"]] = one
            if not one["safe_stop"]:
                stack += after[one["id"]]
        out[row["id"]] = sorted(found.values(), key=lambda one: (one["start_min"], one["end_min"]))
    return out


def stops(stretch: Iterable[Row]) -> datetime:
    """When a stretch reaches its safe stop, as planned."""
    return max(
        _time(one["start"] if one["safe_stop"] and not one["hands"] else one["end"])
        for one in stretch
    )


def _followers(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """The steps that come next on the same sheets; one of the whole item is of all its sheets."""
    sheets: dict[str, set[str]] = {}
    for row in rows:
        sheets.setdefault(row["item_id"], set()).update(row["sheets"])
    out: dict[str, list[Row]] = {row["id"]: [] for row in rows}
    last: dict[tuple[str, str], Row] = {}
    for row in sorted(rows, key=lambda one: (one["start_min"], one["end_min"])):
        item = row["item_id"]
        for sheet in row["sheets"] or sorted(sheets[item]) or [""]:
            before = last.get((item, sheet))
            if before is not None and row not in out[before["id"]]:
                out[before["id"]].append(row)
            last[item, sheet] = row
    return out


class _Board:
    """How the work stands at a moment."""

    def __init__(self, told: Mapping[str, Any], now: datetime) -> None:
        self.now = now
        self.rows: list[Row] = sorted(told["steps"], key=lambda one: one["start_min"])
        self.hours = [tuple(_time(text) for text in span) for span in told["hours"]]
        self._due: dict[str, datetime] = {}
        self.stretch = stretches(self.rows)
        self.before: dict[str, list[Row]] = {row["id"]: [] for row in self.rows}
        for id, rows in _followers(self.rows).items():
            mine = next(row for row in self.rows if row["id"] == id)
            for row in rows:
                self.before[row["id"]].append(mine)
        self.live = self._live()

    def _live(self) -> list[Row]:
        """Steps of stretches under way: what has begun and what must follow it."""
        out: dict[str, Row] = {}
        for row in self.rows:
            begun = row["state"] == "started" and (row["hands"] or not row["safe_stop"])
            owed = row["state"] == "done" and not row["safe_stop"]
            if begun or owed:
                for one in self.stretch[row["id"]]:
                    if one["state"] != "done" and not self._lies(one):
                        out[one["id"]] = one
        return sorted(out.values(), key=lambda one: one["start_min"])

    def _lies(self, row: Row) -> bool:
        """Whether a step is one that goes on by itself, safely, its sheets being there."""
        by_itself = row["safe_stop"] and not row["hands"]
        return by_itself and all(one["state"] == "done" for one in self.before[row["id"]])

    def shift_end(self) -> datetime | None:
        """The end of the working hours now is in."""
        return next((b for a, b in self.hours if a <= self.now < b), None)

    def opens(self) -> datetime | None:
        """When the working hours next begin."""
        return next((a for a, _ in self.hours if a > self.now), None)

    def due(self, row: Row) -> datetime:
        """When a step is to begin: as planned, moved by what really came before it."""
        if row["id"] not in self._due:
            before = [one for one in self.before[row["id"]] if not one["safe_stop"]]
            moved = [self.ends(one) - _time(one["end"]) for one in before]
            self._due[row["id"]] = _time(row["start"]) + max(moved, default=timedelta())
        return self._due[row["id"]]

    def ends(self, row: Row) -> datetime:
        """When a step ends: as it did, or as long after its beginning as planned."""
        if row.get("done_at"):
            return _instant(row["done_at"])
        begun = _instant(row["begun_at"]) if row.get("begun_at") else self.due(row)
        if row["state"] == "planned" and row["hands"]:
            begun = max(begun, self.now.astimezone(UTC)) if self._owed(row) else begun
        return begun + (_time(row["end"]) - _time(row["start"]))

    def _owed(self, row: Row) -> bool:
        return any(one["state"] != "planned" for one in self.before[row["id"]])

    def waits(self, row: Row) -> str:
        """How long its sheets may wait for a step, as the recipe says of the step before."""
        said = dict.fromkeys(one["can_wait"] for one in self.before[row["id"]] if one["can_wait"])
        words = "; ".join(one[:1].lower() + one[1:].rstrip(".") for one in said)
        return f" It can wait: {words}." if words else ""

    def at_work(self) -> list[Row]:
        """Steps of hands that are being done."""
        return [row for row in self.rows if row["state"] == "started" and row["hands"]]

    def ready(self) -> list[Row]:
        """Steps of hands that begin a stretch and can be begun: all before them is done."""
        live = {row["id"] for row in self.live}
        return [
            row for row in self.rows
            if row["state"] == "planned" and row["hands"] and row["id"] not in live
            and all(one["state"] == "done" for one in self.before[row["id"]])
        ]  # fmt: skip

    def touch(self, end: datetime | None) -> tuple[datetime | None, str]:
        """When hands are needed next, and for what."""
        if busy := self.at_work():
            return self.now, f"Now: {what(busy[0])}."
        live = {row["id"] for row in self.live}
        owed = [(self.due(row), row) for row in self.live if row["hands"]]
        planned = [row for row in self.rows if row["state"] == "planned" and row["hands"]]
        coming = [(_time(row["start"]), row) for row in planned if row["id"] not in live]
        if owed or any(due > self.now for due, _ in coming[:1]):
            near = [*owed, *(one for one in coming if one[0] > self.now)]
            due, row = min(near, key=lambda one: one[0])
            return _owed(due, self.now, row, self.waits(row))
        if not planned:
            return None, "No hands are needed any more; what is left goes on by itself."
        due, row = coming[0]
        if end is not None and self.now < end:
            return self.now, f"Now: {what(row)}, planned for {_plain(due, self.now)}."
        opens = self.opens()
        if opens is None:
            return (
                None,
                f"{what(row)} is left, and the plan has no working hours any more: "
                "work it out anew.",
            )
        return opens, f"{_said(opens, self.now)}: {what(row)}, which is late."

    def tonight(self, end: datetime) -> Iterable[Tonight]:
        """Stretches the plan has for the time until ``end``, and whether each can be done; one
        that is late begins now, or when hands are free of what goes before."""
        planned = [row for row in self.rows if row["state"] == "planned" and row["hands"]]
        live = {row["id"] for row in self.live}
        taken: set[str] = set()
        left: set[str] = set()
        last = self._planned_end(end)
        owed = [(self.due(one), self._through(one)) for one in self.live if one["hands"]]
        busy = [*owed, *((self.now, self.ends(one)) for one in self.at_work())]
        for row in planned:
            if row["id"] in live or row["id"] in taken:
                continue
            if _time(row["start"]) >= last:
                break
            taken |= {one["id"] for one in self.stretch[row["id"]]}
            yield self._one(row, end, busy, left)

    def _through(self, row: Row) -> datetime:
        return self.due(row) + (_time(row["end"]) - _time(row["start"]))

    def _planned_end(self, end: datetime) -> datetime:
        """The end of the planned hours that the evening lies in."""
        return max([end, *(b for a, b in self.hours if a < end and b > self.now)])

    def _one(
        self, row: Row, end: datetime, busy: list[tuple[datetime, datetime]], left: set[str]
    ) -> Tonight:
        rows = self.stretch[row["id"]]
        planned = _time(row["start"])
        hands = [(_time(one["start"]), _time(one["end"])) for one in rows if one["hands"]]
        begins = max(planned, self.now.astimezone(UTC))
        if begins > planned:  # late: the first moment from which no two steps need hands at once
            begins = _first_free(begins, planned, hands, busy)
        shift = begins - planned
        stop = stops(rows) + shift
        waits = {one["id"] for one in self.before[row["id"]]} & left
        fits = stop <= end and not waits
        if fits:
            busy += [(a + shift, b + shift) for a, b in hands]
            says = f"safe {_clock(stop, self.now)}"
        elif waits:
            says = "what goes before it is not done tonight"
        else:
            says = (
                f"would be safe only {_clock(stop, self.now)}, {over_words(stop - end)} "
                f"after the end {_clock(end, self.now)}"
            )
        if not fits:
            left |= {one["id"] for one in rows}
        return Tonight(row, begins, stop, fits, says)


def _first_free(
    begins: datetime, planned: datetime, hands: Sequence[tuple[datetime, datetime]],
    busy: Sequence[tuple[datetime, datetime]],
) -> datetime:  # fmt: skip
    while True:
        shift = begins - planned
        push = max(
            (d - (a + shift) for a, b in hands for c, d in busy if a + shift < d and c < b + shift),
            default=timedelta(),
        )
        if push <= timedelta():
            return begins
        begins += push


def _start(board: _Board, end: datetime | None, tonight: Sequence[Tonight]) -> tuple[bool, Said]:
    now = board.now
    if busy := board.at_work():
        return False, Said(None, f"No: hands are at {what(busy[0])}.")
    overdue = [row for row in board.live if row["hands"] and board.due(row) <= now]
    if overdue:
        return False, Said(None, f"No: {what(overdue[0])} comes first, it is due.")
    if end is None or now >= end:
        opens = board.opens()
        when = f"they begin {_clock(opens, now)}" if opens else "the plan has none any more"
        return False, Said(None, f"No: this is outside the working hours; {when}.")
    ready = {row["id"] for row in board.ready()}
    open_now = [one for one in tonight if one.row["id"] in ready and one.begins <= now]
    for one in open_now:
        if one.fits:
            return True, Said(now, _yes(board, one, end))
    if open_now:
        one = open_now[0]
        rest = board.waits(one.row)
        return False, Said(None, f"No: {what(one.row)} {one.says}; nothing is "
                                 f"begun that cannot reach a safe stop.{rest}")  # fmt: skip
    late = [one for one in tonight if one.begins > now]
    if late:
        one = late[0]
        begin = _clock(one.begins, now)
        if one.fits:
            return False, Said(one.begins, f"Not yet: {begin}, {what(one.row)}.")
        return False, Said(None, f"No: {what(one.row)} ({begin}) {one.says}; leave it for "
                                 "another day.")  # fmt: skip
    return False, Said(None, "No: the plan has nothing more to begin tonight.")


def _yes(board: _Board, one: Tonight, end: datetime) -> str:
    now = board.now
    rows = board.stretch[one.row["id"]]
    shift = one.begins - _time(one.row["start"])
    later = [row for row in rows if row["hands"] and row["id"] != one.row["id"]]
    again = " It"
    if later:
        due = _time(later[0]["start"]) + shift
        again = f" Hands are needed again {_clock(due, now)} ({later[0]['name'].lower()}); it"
    return f"Yes: {what(one.row)}.{again} reaches a safe stop {_clock(one.stops, now)}, before " \
           f"the end {_clock(end, now)}."  # fmt: skip


def _free(board: _Board, touch: datetime | None) -> Said:
    now = board.now
    if busy := board.at_work():
        ends = max(board.ends(row) for row in busy)
        if ends > now:
            return Said(None, f"Not now: {what(busy[0])} needs hands until {_plain(ends, now)}.")
        return Said(None, f"Not now: {what(busy[0])} was to end {_clock(ends, now)}; note its end.")
    if touch is None:
        return Said(None, "From now on.")
    if touch <= now:
        return Said(now, "Not now: the next touch is due.")
    return Said(touch, f"{_said(touch, now)}: free for {over_words(touch - now)}.")


def _safe(board: _Board, end: datetime | None) -> Said:
    now = board.now
    if not board.live:
        return Said(now, "Now: no sheet is on its way; all may lie as they are.")
    moments = []
    for row in board.live:
        to_go = board.due(row) - _time(row["start"])
        if row["state"] == "started":
            to_go = board.ends(row) - _time(row["end"])
        moments.append(max(now.astimezone(UTC), stops([row]) + to_go))
    at = max(moments)
    last = max(board.live, key=lambda row: row["end_min"])
    says = f"{_said(at, now)}: then {sheets_words(last['sheets']) or last['item']} may lie"
    close = end or now
    if at > close and any(row["hands"] for row in board.live):
        return Said(at, f"{says}. That is outside the working hours: somebody must be there.")
    return Said(at, f"{says}, if nothing new is begun.")


def _owed(due: datetime, now: datetime, row: Row, wait: str) -> tuple[datetime, str]:
    if due > now:
        return due, f"{_said(due, now)}: {what(row)}."
    if due > now - MINUTE:
        return now, f"Now: {what(row)}."
    return now, f"Now: {what(row)}, due {over_words(now - due)} ago.{wait}"


def what(row: Row) -> str:
    """A step in a few words."""
    return f"{row['name']}, {sheets_words(row['sheets']) or row['item']}"


def until_of(text: str, now: datetime, zone: str) -> datetime:
    """The end a person gives for tonight: "21:30", or a whole day and time.

    Raises:
        ValueError: what cannot be read, or lies before now.
    """
    clock = text.strip().replace(".", ":")
    local = now.astimezone(zone_of(zone))
    try:
        hour, _, minute = clock.partition(":")
        if hour.isdigit() and (not minute or minute.isdigit()):
            end = local.replace(hour=int(hour), minute=int(minute or 0), second=0, microsecond=0)
        else:
            end = moment_of(clock, zone_of(zone), "the end").astimezone(local.tzinfo)
    except ValueError as error:
        raise ValueError(f"Write the time until which you can work, such as 21:30; got "
                         f"{text.strip()[:40]!r}.") from error  # fmt: skip
    if end <= local:
        raise ValueError(f"Write a time later than now ({local:%H:%M}); got {text.strip()[:40]!r}.")
    return end


def _clock(moment: datetime, now: datetime) -> str:
    """A moment as a person says it beside now (in the zone of now)."""
    moment = moment.astimezone(now.tzinfo)
    days = (moment.date() - now.date()).days
    if days == 0:
        return f"at {moment:%H:%M}"
    if days == 1:
        return f"tomorrow at {moment:%H:%M}"
    return f"on {moment:%a} {moment.day} {moment:%b} at {moment:%H:%M}"


def _plain(moment: datetime, now: datetime) -> str:
    return _clock(moment, now).removeprefix("at ").removeprefix("on ")


def _said(moment: datetime, now: datetime) -> str:
    words = _plain(moment, now)
    return words[:1].upper() + words[1:]


def _time(iso: str) -> datetime:
    return datetime.fromisoformat(iso).astimezone(UTC)


def _instant(text: str) -> datetime:
    return moment_of(text, zone_of("UTC"), "a step's time")
