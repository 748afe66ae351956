"""The damage of an item as recorded, as the table that the grade estimate reads."""

from __future__ import annotations

import csv
import io
import re

from quirewell.record.nouns import Defect, ItemState
from quirewell.science.condition.rules import Rules
from quirewell.stages.defect_table import COLUMNS, read_defects
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
    return ",".join(COLUMNS) + "\n" + "".join(_row(one, rules) for one in noted)


def _row(one: Defect, rules: Rules) -> str:
    begun = _BEGINS.match(one.extent.strip())
    extent = begun[0] if begun else ""
    note = "; ".join(part for part in (one.extent if not extent else "", one.note) if part)
    says = ""
    # Without the amount where the rules ask for presence only.
    for amount in dict.fromkeys((extent, "")):
        line = _line([one.term, one.place, amount, "", "", note])
        try:
            read_defects(",".join(COLUMNS) + "\n" + line, rules)
        except TableError as error:
            says = says or str(error).split(": ", 1)[-1]
        else:
            return line
    return "".join(
        f"# {part}\n" for part in f"{_line([one.term, one.place, extent])}{says}".splitlines()
    )


def _line(cells: list[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()
