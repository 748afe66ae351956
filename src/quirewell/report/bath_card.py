"""The bath card as PDF: one page to hang beside the tray, with lines to write on."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from quirewell.report.typeset import typeset

TEMPLATE = "bathcard.typ"


def bath_sheet(card: dict[str, Any], at: datetime, day: str) -> bytes:
    """The card (:func:`quirewell.stages.bath_card.bath_card`) as a page; ``day`` stands on it.

    Raises:
        ReportError: the typesetter refused.
    """
    words = {**card, "lines": [str(n + 1) for n in range(card["lines"])], "day": day}
    return typeset(TEMPLATE, words, {}, at)
