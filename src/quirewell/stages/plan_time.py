"""Time in a bench plan: minutes that really pass, told as the clock on the wall.

A plan counts elapsed minutes from its origin, midnight at the start of its first day, so that a
bath stays as long as it is across a change of the clocks; only words use local time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FIRST_YEAR, LAST_YEAR = 1990, 2100


@dataclass(frozen=True, slots=True)
class Frame:
    """The plan's zone and its origin (an instant in UTC)."""

    zone: ZoneInfo
    origin: datetime

    def minute(self, moment: datetime) -> int:
        """Whole minutes from the origin to an instant, rounded down."""
        return int((moment.astimezone(UTC) - self.origin) // timedelta(minutes=1))

    def up(self, moment: datetime, grid: int) -> int:
        """The same, rounded up to a grid [min]."""
        exact = moment.astimezone(UTC) - self.origin
        return int(-(-exact // timedelta(minutes=grid))) * grid

    def at(self, minute: int) -> datetime:
        """The moment ``minute`` of the plan, as local time with its offset."""
        return (self.origin + timedelta(minutes=minute)).astimezone(self.zone)

    def iso(self, minute: int) -> str:
        """The same as ISO 8601 text with offset, to the minute."""
        return self.at(minute).isoformat(timespec="minutes")

    def wall(self, day: date, hhmm: int, end: bool = False) -> int:
        """Plan minute of a time on the wall (``hhmm`` minutes after midnight, 1440 the next).

        An hour that the clocks skip or repeat is never stretched: of two readings a beginning
        takes the later one, an ``end`` the earlier.
        """
        naive = datetime.combine(day, time()) + timedelta(minutes=hhmm)
        both = [
            self.minute(naive.replace(tzinfo=self.zone, fold=fold).astimezone(UTC))
            for fold in (0, 1)
        ]
        return min(both) if end else max(both)


def zone_of(name: str) -> ZoneInfo:
    """A zone by its IANA name.

    Raises:
        ValueError: no such zone.
    """
    try:
        if not name or len(name) > 64:
            raise KeyError
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError) as error:
        raise ValueError(
            f"there is no time zone {name[:64]!r}; write its IANA name, such as "
            "Europe/Lisbon or UTC"
        ) from error


def frame_of(start: datetime, zone: ZoneInfo) -> Frame:
    """The frame of a plan that starts at an instant."""
    day = start.astimezone(zone).date()
    midnight = datetime.combine(day, time()).replace(tzinfo=zone)
    return Frame(zone, midnight.astimezone(UTC))


def moment_of(given: object, zone: ZoneInfo, where: str) -> datetime:
    """An instant from a date-time or its ISO text; without an offset it is local time.

    Raises:
        ValueError: with what was given and what to write.
    """
    value = given
    if isinstance(given, str):
        try:
            value = datetime.fromisoformat(given.strip())
        except ValueError:
            value = None
    if not isinstance(value, datetime):
        raise ValueError(f"{where} is a day and a time such as 2026-12-01T18:00, got {given!r}")
    if not FIRST_YEAR <= value.year < LAST_YEAR:
        raise ValueError(f"{where} lies between {FIRST_YEAR} and {LAST_YEAR}, got {value.year}")
    return (value if value.tzinfo else value.replace(tzinfo=zone)).astimezone(UTC)
