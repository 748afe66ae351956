"""The sheets at 1:1 that an item's recorded holes make: for the light box, and for the board."""

from __future__ import annotations

from quirewell.record.nouns import ItemState
from quirewell.report.rejoin_sheet import light_box_sheet, pattern_and_outlines
from quirewell.report.relief_board import relief_board_sheet
from quirewell.report.tiling import PAPERS
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.rejoining import USUAL_WIRE_MM, sheets_of, wire_text
from quirewell.stages.taking_apart import NO_GATHERING

NAMES = tuple(PAPERS)
LIGHT_BOX, BOARD = "light-box", "board"


def printed(state: ItemState, which: str, paper: str) -> bytes:
    """One of the two as PDF, from the holes as they are recorded now.

    Raises:
        Refusal: nothing to draw yet, or a paper not known; in a sentence.
        ReportError: the typesetter refused.
    """
    if state.gathering is None:
        raise Refusal((Problem("paper", NO_GATHERING),))
    sheets = sheets_of(state)
    wire = float(wire_text(state) or USUAL_WIRE_MM)
    title = f"{state.item.title} {state.item.year}".strip()
    try:
        if which == BOARD:
            return relief_board_sheet(sheets, title, paper, wire_mm=wire)
        return light_box_sheet(*pattern_and_outlines(sheets, wire), title, paper)
    except ValueError as error:
        says = f"{str(error).rstrip('.')}."
        raise Refusal((Problem("paper", says[:1].upper() + says[1:]),)) from error
