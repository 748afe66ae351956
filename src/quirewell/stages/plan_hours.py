"""Working hours as people write them: "Mo-Fr 18:00-22:00", days off, days that are extra.

One rule a line (or after a semicolon): days, then the times of those days with commas between
them; without days it holds for every day. Several rules for one day add up.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from quirewell.stages.plan_time import FIRST_YEAR, LAST_YEAR, Frame

DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
EVENINGS = ("Mo-Fr 18:00-22:00",)
MOST_RULES, MOST_DAYS = 60, 400
_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WORDS = {"daily": range(7), "every day": range(7), "weekdays": range(5), "weekend": range(5, 7),
          "weekends": range(5, 7)}  # fmt: skip
_RULE = re.compile(r"(?P<days>[^\d]*?)\s*(?P<times>\d.*)")
_SPAN = re.compile(r"(\d{1,2})(?:[:.](\d{2}))?\s*(?:-|\u2013|to)\s*(\d{1,2})(?:[:.](\d{2}))?")
_SPLIT = re.compile(r"\s*(?:-|\u2013|\bto\b)\s*")
Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Hours:
    """Working hours: spans [min after midnight] of each day of the week, days off, extra days."""

    week: tuple[tuple[Span, ...], ...]
    off: frozenset[date] = frozenset()
    extra: tuple[tuple[date, tuple[Span, ...]], ...] = ()

    def of(self, day: date) -> tuple[Span, ...]:
        """Spans of one day, in order, those that touch made one; an extra day is never off."""
        spans = [span for when, more in self.extra if when == day for span in more]
        if day not in self.off:
            spans += self.week[day.weekday()]
        return _joined(spans)

    def minutes(self, frame: Frame, days: int) -> tuple[Span, ...]:
        """Working hours of so many days as plan minutes."""
        first, out = frame.at(0).date(), []
        for count in range(days):
            day = first + timedelta(days=count)
            for begin, end in self.of(day):
                span = frame.wall(day, begin), frame.wall(day, end, end=True)
                if span[1] > span[0]:
                    out.append(span)
        return _joined(out)

    @property
    def a_week(self) -> int:
        """Minutes in a usual week."""
        return sum(end - begin for spans in self.week for begin, end in _joined(spans))


def read_hours(
    rules: Iterable[str], off: Iterable[object] = (), extra: Iterable[str] = ()
) -> Hours:
    """Read working hours.

    Raises:
        ValueError: with what was given and what to write.

    >>> read_hours(["Mo-Tu 18:00-22:00", "Sa 9-12:30, 13.15-17.30"]).of(date(2026, 11, 28))
    ((540, 750), (795, 1050))
    """
    week: list[list[Span]] = [[] for _ in DAYS]
    lines = _lines(rules, "hours", MOST_RULES)
    for line in lines:
        match = _RULE.fullmatch(line)
        if match is None:
            raise ValueError(f"hours are written as Mo-Fr 18:00-22:00, got {line!r}")
        for number in _days(match["days"].strip(" ,:"), line):
            week[number] += _times(match["times"], line)
    away: set[date] = set()
    for given in off:
        away |= set(_dates(given))
        if len(away) > MOST_DAYS:
            raise ValueError(f"a plan knows at most {MOST_DAYS} days off")
    more = []
    for line in _lines(extra, "extra", MOST_DAYS):
        day, _, times = line.partition(" ")
        if not times.strip():
            raise ValueError(f"an extra day is written as 2026-12-12 10:00-16:00, got {line!r}")
        more.append((_date(day, line), tuple(_times(times, line))))
    held = Hours(tuple(tuple(spans) for spans in week), frozenset(away), tuple(more))
    if not held.a_week and not more:
        raise ValueError("there are no working hours: write some, such as Mo-Fr 18:00-22:00")
    return held


def _lines(given: Iterable[str], what: str, most: int) -> list[str]:
    lines = []
    for one in given:
        if not isinstance(one, str):
            raise ValueError(f"{what} are texts such as 'Mo-Fr 18:00-22:00', got {one!r}")
        if len(one) > 2000:
            raise ValueError(f"a line of {what} is too long ({len(one)} signs)")
        lines += [part.strip() for part in re.split(r"[;\n]", one) if part.strip()]
    if len(lines) > most:
        raise ValueError(f"{what} hold at most {most} lines, got {len(lines)}")
    return lines


def _days(text: str, line: str) -> list[int]:
    if not text:
        return list(range(7))
    out: list[int] = []
    for part in text.lower().split(","):
        word = part.strip()
        if word in _WORDS:
            out += _WORDS[word]
            continue
        ends = [_day(one, line) for one in _SPLIT.split(word)]
        if len(ends) > 2:
            raise ValueError(f"days are written as Mo-Fr or Mo, We, got {part.strip()!r}")
        first, last = ends[0], ends[-1]
        out += [number % 7 for number in range(first, last + (7 if last < first else 0) + 1)]
    return out


def _day(word: str, line: str) -> int:
    found = [n for n, name in enumerate(_NAMES) if len(word) >= 2 and name.startswith(word)]
    if len(found) != 1:
        raise ValueError(
            f"{word[:20]!r} is no day of the week (in {line[:60]!r}); write one of "
            f"{', '.join(DAYS)}"
        )
    return found[0]


def _times(text: str, line: str) -> list[Span]:
    out = []
    for part in text.split(","):
        match = _SPAN.fullmatch(part.strip())
        if match is None:
            raise ValueError(
                f"{part.strip()[:40]!r} is no span of time; write 18:00-22:00 (in {line[:60]!r})"
            )
        h1, m1, h2, m2 = (int(one or 0) for one in match.groups())
        begin, end = 60 * h1 + m1, 60 * h2 + m2
        if m1 > 59 or m2 > 59 or begin > 1439 or end > 1440:
            raise ValueError(f"{part.strip()!r} is no time of day; hours go from 00:00 to 24:00")
        if end <= begin:
            raise ValueError(
                f"{part.strip()!r} ends before it begins; write work past midnight as two spans, "
                "22:00-24:00 and, on the next day, 00:00-01:00"
            )
        out.append((begin, end))
    return out


def _dates(given: object) -> list[date]:
    if isinstance(given, date) and type(given) is date:
        given = given.isoformat()
    if not isinstance(given, str):
        raise ValueError(f"a day off is written as 2026-12-24, got {given!r}")
    out: list[date] = []
    for part in re.split(r"[,;\n]", given):
        if not part.strip():
            continue
        ends = [
            _date(one, given) for one in re.split(r"\s*(?:\.\.|\bto\b|\u2013)\s*", part.strip())
        ]
        if len(ends) > 2 or ends[-1] < ends[0] or (ends[-1] - ends[0]).days > MOST_DAYS:
            raise ValueError(f"days off are 2026-12-24 or 2026-12-24 to 2026-12-27, got {part!r}")
        out += [ends[0] + timedelta(days=n) for n in range((ends[-1] - ends[0]).days + 1)]
    return out


def _date(text: str, line: str) -> date:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise ValueError(f"{text.strip()[:40]!r} is no day (in {line[:60]!r}); write 2026-12-24"
                         ) from error  # fmt: skip
    if not FIRST_YEAR <= day.year < LAST_YEAR:
        raise ValueError(f"a day lies between {FIRST_YEAR} and {LAST_YEAR}, got {day}")
    return day


def _joined(spans: Iterable[Span]) -> tuple[Span, ...]:
    out: list[Span] = []
    for begin, end in sorted(spans):
        if out and begin <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((begin, end))
    return tuple(out)
