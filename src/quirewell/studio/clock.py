"""Time as the studio writes it: a UTC instant and the name of the bench's zone."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

Clock = Callable[[], datetime]


def now() -> datetime:
    """This moment, in UTC."""
    return datetime.now(UTC)


def instant_text(moment: datetime) -> str:
    """ISO 8601 text of an aware moment, in UTC to the millisecond.

    Raises:
        ValueError: for a moment without a zone.
    """
    if moment.tzinfo is None:
        raise ValueError("a recorded moment must carry its zone")
    utc = moment.astimezone(UTC).isoformat(timespec="milliseconds")
    return utc.replace("+00:00", "Z")


def bench_zone() -> str:
    """Name of this machine's time zone; "UTC" when it has none."""
    for name in (os.environ.get("TZ", ""), _linked(), _written()):
        if name and _known(name):
            return name
    return "UTC"


def _linked() -> str:
    try:
        target = Path("/etc/localtime").readlink()
    except OSError:
        return ""
    return str(target).partition("zoneinfo/")[2]


def _written() -> str:
    try:
        return Path("/etc/timezone").read_text().strip()
    except OSError:
        return ""


def _known(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        return False
    return True
