"""Where work stands, as the small JSON a waiting page asks for."""

from __future__ import annotations

from quirewell.web.desk import Work

IDLE = {"running": False, "says": "Nothing is being worked on.", "done": 0, "total": 0}


def told_json(work: Work | None) -> dict[str, object]:
    """State, not increments: asking twice does no harm."""
    if work is None:
        return dict(IDLE)
    return {"running": work.running, "says": work.says, "done": work.done, "total": work.total}
