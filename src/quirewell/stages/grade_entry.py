"""The damage of an item as recorded, as the table that the grade estimate reads.

What was drawn on a page stands in it with its measured length, area or count and the u of that; a
share of the page where the rules count shares and the page's size is known. What was only typed is
read by the amount it begins with.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator

from quirewell.record.nouns import Defect, ItemState
from quirewell.science.condition.rules import Rules
from quirewell.stages.defect_table import COLUMNS, read_defects
from quirewell.stages.drawn_extent import Extent, drawn_extents, noted_rest
from quirewell.stages.page_size import PageSizes
from quirewell.stages.plain_table import TableError
from quirewell.stages.rule_table import rules_in_force

# An amount that begins what was noted, as in "24 mm from the foot" or "10 to 15 mm all round".
_BEGINS = re.compile(
    r"((?:about|ca\.?)\s+)?\d[\d.,]*(\s*(?:to|-)\s*\d[\d.,]*)?\s*(mm2|mm|cm2|cm|%|steps?)(?!\w)",
    re.I,
)


def damage_table(state: ItemState) -> str:
    """Damage noted before treatment, a row each; what no rule can count stands as a remark with
    the reason. Empty where nothing was noted."""
    noted = [one for one in state.defects.values() if one.moment == "before"]
    if not noted:
        return ""
    rules = rules_in_force("")
    return ",".join(COLUMNS) + "\n" + "".join(_row(one, rules, state) for one in noted)


def _row(one: Defect, rules: Rules, state: ItemState) -> str:
    says, typed = "", ""
    for cells, rest in _amounts(one, state):
        note = "; ".join(part for part in (rest, one.note) if part)
        line = _line([one.term, one.place, *cells, note])
        try:
            read_defects(",".join(COLUMNS) + "\n" + line, rules)
        except TableError as error:
            if cells[0] or not says:
                says, typed = str(error).split(": ", 1)[-1], cells[0]
        else:
            return line
    return "".join(
        f"# {part}\n" for part in f"{_line([one.term, one.place, typed])}{says}".splitlines()
    )


def _amounts(one: Defect, state: ItemState) -> Iterator[tuple[tuple[str, str, str], str]]:
    """Extent, u and unit with the words left over, the surest first: as drawn, as typed, and none
    where the rules ask for presence only."""
    measured = drawn_extents(one)
    for drawn in measured:
        yield _cells(drawn), noted_rest(one.extent)
    if len(measured) == 1 and measured[0].unit == "mm2":
        drawn, size = measured[0], PageSizes(state).of(one.place)
        if size is not None:
            share = 100 / (size.width_mm * size.height_mm)
            u = None if drawn.u is None else drawn.u * share
            yield _cells(Extent(drawn.value * share, u, "pct")), noted_rest(one.extent)
    begun = _BEGINS.match(one.extent.strip())
    if begun:
        yield (begun[0], "", ""), ""
    yield ("", "", ""), one.extent


def _cells(extent: Extent) -> tuple[str, str, str]:
    u = "" if extent.u is None or extent.unit == "n" else f"{extent.u:.3g}"
    return f"{extent.value:.6g}", u, extent.unit


def _line(cells: list[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()
