"""A day in words, as every printed page says it."""

from __future__ import annotations

from datetime import datetime


def day(instant: str) -> str:
    """Day of an instant in words; the text itself when it is no instant.

    >>> day("2026-03-14T18:00:00Z"), day("in March")
    ('14 March 2026', 'in March')
    """
    try:
        at = datetime.fromisoformat(instant.replace("Z", "+00:00"))
    except ValueError:
        return instant
    return f"{at.day} {at:%B %Y}"
