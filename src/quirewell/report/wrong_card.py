"""What to do when it goes wrong, on paper: to hang where wet hands can see it."""

from __future__ import annotations

from datetime import UTC, datetime

from quirewell.report.typeset import typeset
from quirewell.stages.cautions import LOCAL_CODES
from quirewell.stages.emergencies import EMERGENCIES

# The card does not change with the day it is printed on; its file says when the words were set.
WORDED = datetime(2026, 11, 29, tzinfo=UTC)


def wrong_card() -> bytes:
    """The card as PDF/A-2a and PDF/UA-1; the same bytes each time.

    Raises:
        ReportError: the typesetter refused.
    """
    rows = [
        {"name": row.name, "first": row.first, "then": list(row.then), "never": row.never,
         "look": row.look, "person": row.person}
        for row in EMERGENCIES.values()
    ]  # fmt: skip
    data = {"title": "When it goes wrong", "rows": rows, "local": LOCAL_CODES}
    return typeset("wrong.typ", data, {}, WORDED)
