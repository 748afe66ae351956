"""A card for each sheet with blanks to fill in by pencil: paper and one computer are enough."""

from __future__ import annotations

from datetime import UTC, datetime

from quirewell.record.nouns import ItemState
from quirewell.report.typeset import typeset
from quirewell.stages.grid import COLUMNS, Column, sheets_in
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.trials import way_for

TEMPLATE = "cards.typ"
# The cards hold no day of their own; the file says when their form was settled.
SETTLED = datetime(2026, 11, 28, tzinfo=UTC)


def cards_pdf(state: ItemState) -> bytes:
    """Cards of an item's sheets, four to an A4 page, as PDF/A-2a and PDF/UA-1.

    The blanks are those of the grid, in its order.

    Raises:
        ReportError: the typesetter refused.
    """
    cards = [_card(state, sheet) for sheet in sheets_in(state)]
    return typeset(TEMPLATE, {"title": state.item.title, "cards": cards}, {}, SETTLED)


def _card(state: ItemState, sheet: str) -> dict[str, object]:
    name = "The whole" if sheet == "item" else place_words(sheet)
    keeps = [
        one.what for one in state.keeps.values()
        if sheet in (sheet_of(one.place) or one.place, one.place)
    ]  # fmt: skip
    way = way_for(state, "wash", sheet)
    return {
        "name": name[:1].upper() + name[1:], "code": sheet,
        "keeps": keeps, "way": way,
        "pairs": [[b.label.rsplit(" ", 1)[0], b.hint, a.hint] for b, a in _pairs()],
        "lines": [c.label for c in COLUMNS if c.moment is None],
    }  # fmt: skip


def _pairs() -> list[tuple[Column, Column]]:
    before = [column for column in COLUMNS if column.moment == "before"]
    after = [column for column in COLUMNS if column.moment == "after"]
    return list(zip(before, after, strict=True))
