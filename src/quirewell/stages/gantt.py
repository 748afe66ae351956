"""A bench plan as pictures, one for each local day: drawn by the server, plain SVG with classes.

A pure function of the plan as told and the moment now. The time of day is drawn to scale where
somebody is at the bench; nights, and long gaps between, are shortened, marked as broken and said.
Nothing rests on colour alone: works with hands are full, those without are hatched, wet ones carry
waves, late ones a broken edge and "!", done ones a tick. The table of steps is its text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from html import escape
from typing import Any, Literal
from zoneinfo import ZoneInfo

from quirewell.stages.naming import place_words
from quirewell.stages.plan_time import zone_of
from quirewell.stages.plan_told import length, sheets_words, until

Row = Mapping[str, Any]
By = Literal["sheets", "equipment"]

# Units of the drawing; at 820 px of screen one of them is about 0.93 px, so 14 is 13 px.
WIDTH, LEFT, HEAD, HIGH, GAP, BREAK, RIGHT = 780, 118, 44, 34, 4, 46, 8
SIGN = 7.4  # width of a letter of 14 units
LONG = timedelta(minutes=90)  # gaps longer than this are shortened
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Day:
    """One day's picture: its heading, the drawing, whether any of the day is shortened in it, and
    the steps that begin in it."""

    day: date
    title: str
    svg: str
    shortened: bool
    rows: tuple[Row, ...]

    @property
    def over(self) -> bool:
        """Whether all that begins on this day is done."""
        return bool(self.rows) and all(row["state"] == "done" for row in self.rows)


@dataclass(frozen=True, slots=True)
class Scale:
    """Where a moment lies across the drawing: stretches drawn to scale, gaps shortened."""

    points: tuple[tuple[datetime, float], ...]
    breaks: tuple[tuple[float, float], ...]

    def x(self, moment: datetime) -> float:
        """Units from the left of the drawing; a moment outside the day lies at its edge."""
        before = self.points[0]
        if moment <= before[0]:
            return before[1]
        for after in self.points[1:]:
            if moment <= after[0]:
                part = (moment - before[0]) / (after[0] - before[0])
                return before[1] + part * (after[1] - before[1])
            before = after
        return before[1]


def days(told: Mapping[str, Any], now: datetime, by: By = "sheets") -> tuple[Day, ...]:
    """The plan's pictures, a day in which anything begins or ends each."""
    zone = zone_of(told["zone"])
    rows = sorted(told["steps"], key=lambda one: (one["start_min"], one["end_min"]))
    found: dict[date, None] = {}
    for row in rows:
        for name in ("start", "end"):
            found[_time(row[name]).astimezone(zone).date()] = None
    return tuple(_day(told, rows, one, now, by, zone) for one in sorted(found))


def _day(
    told: Mapping[str, Any], rows: Sequence[Row], day: date, now: datetime, by: By, zone: ZoneInfo
) -> Day:
    first = datetime.combine(day, time(), zone).astimezone(UTC)
    last = datetime.combine(day + timedelta(days=1), time(), zone).astimezone(UTC)
    mine = [row for row in rows if _time(row["start"]) < last and _time(row["end"]) > first]
    hours = [(_time(a), _time(b)) for a, b in told["hours"]]
    hours = [(max(a, first), min(b, last)) for a, b in hours if a < last and b > first]
    scale = _scale(first, last, [*hours, *_handled(mine, first, last)], mine)
    lanes = _by_sheets(told, mine) if by == "sheets" else _by_equipment(mine)
    high = HEAD + sum(HIGH * len(lane.rows) for lane in lanes) + 8
    title = f"{day:%A} {day.day} {day:%B}"
    parts = [_patterns(day), _ground(scale, hours, high), _ticks(scale, first, last, zone, high)]
    y = float(HEAD)
    for lane in lanes:
        parts.append(_lane(lane, y, scale, first, last, now, day))
        y += HIGH * len(lane.rows)
    parts.append(_brackets(lanes, scale, first, last) if by == "sheets" else "")
    parts.append(_now(scale, now, first, last, zone, high))
    label = escape(f"{title}: {len(mine)} steps, {_hands(mine, first, last)} with hands. The table "
                   "of steps says the same in words.")  # fmt: skip
    svg = (
        f'<svg viewBox="0 0 {WIDTH} {high:g}" width="{WIDTH}" height="{high:g}" role="group" '
        f'aria-label="{label}">{"".join(parts)}</svg>'
    )
    begun = tuple(row for row in mine if _time(row["start"]) >= first)
    return Day(day, title, svg, bool(scale.breaks), begun)


def _hands(rows: Iterable[Row], first: datetime, last: datetime) -> str:
    spans = [max(timedelta(), min(_time(r["end"]), last) - max(_time(r["start"]), first))
             for r in rows if r["hands"]]  # fmt: skip
    return length(int(sum(spans, timedelta()) / timedelta(minutes=1)))


def _handled(
    rows: Iterable[Row], first: datetime, last: datetime
) -> list[tuple[datetime, datetime]]:
    return [
        (max(_time(row["start"]), first), min(_time(row["end"]), last))
        for row in rows
        if row["hands"]
    ]


def _scale(
    first: datetime, last: datetime, spans: Sequence[tuple[datetime, datetime]], rows: Sequence[Row]
) -> Scale:
    """Stretches with somebody at the bench to scale (whole hours), all else shortened; a day with
    none keeps the hour around what ends or begins by itself."""
    if not spans:
        moments = [_time(row[name]) for row in rows for name in ("start", "end")]
        spans = [(one, one) for one in moments if first <= one <= last]
    wide: list[tuple[datetime, datetime]] = []
    for begin, end in sorted(spans):
        a, b = max(first, _floor(begin)), min(last, _ceil(end))
        b = max(b, min(last, a + HOUR))
        if wide and a - wide[-1][1] <= LONG:
            wide[-1] = (wide[-1][0], max(b, wide[-1][1]))
        else:
            wide.append((a, b))
    gaps = (wide[0][0] > first) + (wide[-1][1] < last) + len(wide) - 1
    scaled = sum(((b - a) for a, b in wide), timedelta())
    unit = (WIDTH - LEFT - RIGHT - BREAK * gaps) / (scaled / HOUR)
    x, at = float(LEFT), first
    points: list[tuple[datetime, float]] = [(first, x)]
    breaks: list[tuple[float, float]] = []
    for begin, end in wide:
        if begin > at:
            breaks.append((x, x + BREAK))
            x += BREAK
            points.append((begin, x))
        x += unit * ((end - begin) / HOUR)
        points.append((end, x))
        at = end
    if at < last:
        breaks.append((x, x + BREAK))
        points.append((last, x + BREAK))
    return Scale(tuple(points), tuple(breaks))


def _floor(moment: datetime) -> datetime:
    return moment.replace(minute=0, second=0, microsecond=0)


def _ceil(moment: datetime) -> datetime:
    return moment if moment == _floor(moment) else _floor(moment) + HOUR


# --- rows -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Lane:
    """One row of the drawing, or several where what it names is there more than once."""

    key: tuple[str, str]
    name: str
    rows: tuple[tuple[Row, ...], ...]


def _by_sheets(told: Mapping[str, Any], rows: Sequence[Row]) -> list[Lane]:
    """A row a sheet in the gathering's own order: the whole, the cover, the wraps."""
    ids = list(dict.fromkeys(row["item_id"] for row in told["steps"]))
    names = {row["item_id"]: row["item"] for row in told["steps"]}
    out = []
    for id in ids:
        mine = [row for row in rows if row["item_id"] == id]
        sheets = sorted({sheet for row in mine for sheet in row["sheets"]})
        if any(not row["sheets"] for row in mine):
            sheets = ["", *sheets]
        for sheet in sheets:
            name = _capital(place_words(sheet)) if sheet else "The whole"
            if len(ids) > 1:
                name = f"{names[id][:8].rstrip()}: {name.lower()}"
            held = [row for row in mine if (sheet in row["sheets"] if sheet else not row["sheets"])]
            out.append(Lane((id, sheet), name, _side_by_side(held)))
    return out


def _by_equipment(rows: Sequence[Row]) -> list[Lane]:
    """A row for the hands, then one for each place of the equipment that is in use."""
    out = []
    hands = [row for row in rows if row["hands"]]
    if hands:
        out.append(Lane(("hands", ""), "Hands", _side_by_side(hands)))
    for name in sorted({name for row in rows for name in row["equipment"]}):
        held = [row for row in rows if name in row["equipment"]]
        out.append(Lane((name, ""), _capital(name), _side_by_side(held)))
    rest = [row for row in rows if not row["hands"] and not row["equipment"]]
    if rest:
        out.append(Lane(("", ""), "By itself", _side_by_side(rest)))
    return out


def _side_by_side(rows: Sequence[Row]) -> tuple[tuple[Row, ...], ...]:
    """As few rows as keep what overlaps apart; what shares a tray stays in its row."""
    lanes: list[list[Row]] = []
    for row in rows:
        same = [one for one in lanes if row["tray"] and one[-1]["tray"] == row["tray"]]
        free = [one for one in [*same, *lanes] if one[-1]["end_min"] <= row["start_min"]]
        if free:
            free[0].append(row)
        else:
            lanes.append([row])
    return tuple(tuple(one) for one in lanes)


# --- drawing --------------------------------------------------------------------------------


def _patterns(day: date) -> str:
    return (
        f'<defs><pattern id="hatch-{day}" width="8" height="8" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path class="hatch" d="M0 0V8"/></pattern>'
        f'<pattern id="wave-{day}" width="12" height="9" patternUnits="userSpaceOnUse">'
        '<path class="wave" d="M0 5q3-4 6 0t6 0"/></pattern>'
        f'<pattern id="wave-full-{day}" width="12" height="9" patternUnits="userSpaceOnUse">'
        '<path class="wave full" d="M0 5q3-4 6 0t6 0"/></pattern></defs>'
    )


def _ground(scale: Scale, hours: Sequence[tuple[datetime, datetime]], high: float) -> str:
    out = []
    for begin, end in hours:
        a, b = scale.x(begin), scale.x(end)
        out.append(f'<rect class="open" x="{a:.1f}" y="{HEAD - 6}" width="{b - a:.1f}" '
                   f'height="{high - HEAD:.1f}"/>')  # fmt: skip
    for a, b in scale.breaks:
        middle = (a + b) / 2
        zigzag = f"M{middle:.1f} {HEAD - 10}" + "l5 6-10 6 5 6" * int((high - HEAD + 4) // 18)
        out.append(f'<path class="break" d="{zigzag}"/>')
    return "".join(out)


def _ticks(scale: Scale, first: datetime, last: datetime, zone: ZoneInfo, high: float) -> str:
    out, moment, before = [], first, -100.0
    while moment <= last:
        x = scale.x(moment)
        inside = not any(a + 1 < x < b - 1 for a, b in scale.breaks) and LEFT < x < WIDTH - RIGHT
        if inside:
            out.append(f'<path class="hair" d="M{x:.1f} {HEAD - 6}V{high - 8:.1f}"/>')
            if x - before >= 46 and x < WIDTH - 24:
                says = f"{moment.astimezone(zone):%H:%M}"
                out.append(f'<text class="tick" x="{x:.1f}" y="{HEAD - 12}">{says}</text>')
                before = x
        moment += HOUR
    return "".join(out)


def _lane(
    lane: Lane, y: float, scale: Scale, first: datetime, last: datetime, now: datetime, day: date
) -> str:
    name = escape(_short(lane.name, LEFT - 6))
    out = [
        f'<path class="hair" d="M0 {y:g}H{WIDTH}"/>'
        f'<text class="name" x="2" y="{y + 22:g}">{name}</text>'
    ]
    for n, rows in enumerate(lane.rows):
        for row in rows:
            again = bool(row["sheets"]) and lane.key[1] not in ("", row["sheets"][0])
            out.append(_bar(row, y + HIGH * n, scale, (first, last), now, day, again))
    return "".join(out)


def _bar(
    row: Row, y: float, scale: Scale, span: tuple[datetime, datetime], now: datetime, day: date,
    again: bool,
) -> str:  # fmt: skip
    begin, end = _time(row["start"]), _time(row["end"])
    a, b = scale.x(max(begin, span[0])), scale.x(min(end, span[1]))
    wide, top, high = max(3.0, b - a - 1), y + GAP, HIGH - 2 * GAP
    late = is_late(row, now)
    classes = ["bar", "hands" if row["hands"] else "alone", row["state"]]
    classes += ["late"] if late else []
    box = f'x="{a:.1f}" y="{top:g}" width="{wide:.1f}" height="{high}"'
    parts = [f'<rect class="{" ".join(classes)}" {box}/>']
    if not row["hands"]:
        parts.append(f'<rect class="over" {box} fill="url(#hatch-{day})"/>')
    if row["wet"]:
        wave = "wave-full" if row["hands"] else "wave"
        parts.append(f'<rect class="over" {box} fill="url(#{wave}-{day})"/>')
    mark = "✓ " if row["state"] == "done" else "! " if late else ""
    parts.append(_words(mark, row, a, wide, top))
    if row["slack_min"] and span[0] < end <= span[1]:
        tail = scale.x(min(end + timedelta(minutes=row["slack_min"]), span[1]))
        middle = top + high - 3
        parts.append(f'<path class="slack" d="M{b:.1f} {middle:g}H{tail:.1f}m0-3v6"/>')
    says = escape(bar_words(row, late))
    hidden = ' tabindex="-1" aria-hidden="true"' if again else f' aria-label="{says}"'
    return f'<a href="#{anchor(row["id"])}"{hidden}><title>{says}</title>{"".join(parts)}</a>'


def _words(mark: str, row: Row, x: float, wide: float, top: float) -> str:
    said = _fitting(mark, row["name"], wide - 8)
    if not said:
        return ""
    room = len(said) * SIGN + 8
    kind, ground = ("full", "under") if row["hands"] else ("light", "paper")
    back = (
        f'<rect class="{ground}" x="{x + 2:.1f}" y="{top + 4:g}" '
        f'width="{min(room, wide - 4):.1f}" height="18"/>'
    )
    return f'{back}<text class="{kind}" x="{x + 5:.1f}" y="{top + 18:g}">{escape(said)}</text>'


def _fitting(mark: str, name: str, room: float) -> str:
    """The mark and as much of the name as there is room for, by whole words."""
    most = int(room / SIGN)
    words, said = name.split(), ""
    for word in words:
        more = f"{said} {word}".strip()
        if len(mark) + len(more) > most:
            break
        said = more
    return f"{mark}{said}".strip() if said or len(mark.strip()) <= most else ""


def _brackets(lanes: Sequence[Lane], scale: Scale, first: datetime, last: datetime) -> str:
    """A line that joins the rows of sheets that share a tray, with a foot at each of them."""
    at: dict[tuple[str, str], float] = {}
    y = float(HEAD)
    for lane in lanes:
        at[lane.key] = y + HIGH / 2
        y += HIGH * len(lane.rows)
    out, seen = [], set()
    for lane in lanes:
        for row in (one for rows in lane.rows for one in rows):
            key = (row["item_id"], row["tray"])
            if len(row["sheets"]) < 2 or not row["tray"] or key in seen:
                continue
            begin = _time(row["start"])
            if not first <= begin < last:
                continue
            seen.add(key)
            ys = [at[row["item_id"], one] for one in row["sheets"] if (row["item_id"], one) in at]
            x = scale.x(begin) - 4
            feet = "".join(f"M{x:.1f} {one:g}h5" for one in ys)
            out.append(f'<path class="joined" d="M{x:.1f} {min(ys):g}V{max(ys):g}{feet}"/>')
    return "".join(out)


def _now(
    scale: Scale, now: datetime, first: datetime, last: datetime, zone: ZoneInfo, high: float
) -> str:
    if not first <= now < last:
        return ""
    x = scale.x(now)
    anchor_at = "end" if x > WIDTH - 90 else "start"
    shift = -5 if anchor_at == "end" else 5
    return (
        f'<path class="now" d="M{x:.1f} 4V{high - 8:.1f}"/><text class="now" x="{x + shift:.1f}" '
        f'y="15" text-anchor="{anchor_at}">now {now.astimezone(zone):%H:%M}</text>'
    )


# --- words ----------------------------------------------------------------------------------


def bar_words(row: Row, late: bool) -> str:
    """What a bar stands for, in words."""
    state = {"planned": "", "started": "under way", "done": "done"}[row["state"]]
    parts = [
        f"{row['name']}, {sheets_words(row['sheets']) or row['item']}",
        f"{_time(row['start']).astimezone(_zone(row)):%a %H:%M} to {until(row)}",
        "hands needed" if row["hands"] else "goes on by itself",
        "wet" if row["wet"] else "",
        state,
        "late" if late else "",
        f"may end {length(row['slack_min'])} later" if row["slack_min"] else "",
    ]
    return "; ".join(part for part in parts if part)


def is_late(row: Row, now: datetime) -> bool:
    """Whether a step should have begun, or ended, more than a minute ago and has not."""
    minute = timedelta(minutes=1)
    if row["state"] == "planned":
        return _time(row["start"]) < now - minute
    return row["state"] == "started" and _time(row["end"]) < now - minute


def anchor(id: str) -> str:
    """The name of a step's row on the page.

    >>> anchor("annual/w01+w02/wash")
    'step-annual-w01-w02-wash'
    """
    return "step-" + "".join(one if one.isascii() and one.isalnum() else "-" for one in id)


def _zone(row: Row) -> Any:
    return datetime.fromisoformat(row["start"]).tzinfo


def _time(iso: str) -> datetime:
    return datetime.fromisoformat(iso).astimezone(UTC)


def _short(text: str, room: float) -> str:
    most = int(room / SIGN)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
