"""Cells of a table that a spreadsheet may open: text stays text, and numbers stay numbers.

A spreadsheet takes a cell that begins with = + - or @ for a formula, and some take the wide forms
of these signs too. An apostrophe before it says that it is text.
"""

from __future__ import annotations

import re

from quirewell.record.signs import visible

# From memory, but for the first four; a cell guarded without need is read the same.
_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\u2212")
_NUMBER = re.compile(r"[+\-\u2212]?\d[\d\u00a0\u202f ]*(?:[.,]\d+)?(?:[eE][+-]?\d{1,3})?")


def guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula, and in which every sign is seen.

    >>> guarded("=1+1"), guarded(" =1+1"), guarded("8 mm"), guarded("-0.25"), guarded("-2+3")
    ("'=1+1", "' =1+1", '8 mm', '-0.25', "'-2+3")
    """
    cell = visible("\n".join(cell.splitlines()))
    if _NUMBER.fullmatch(cell.strip()) and cell[:1] not in ("\t", "\n"):
        return cell
    return f"'{cell}" if cell.lstrip().startswith(_FORMULA) or cell[:1] in ("\t", "\n") else cell


def unguarded(cell: str) -> str:
    """What stood in a cell before it was guarded.

    >>> unguarded("'=1+1"), unguarded("'tis"), unguarded("-1")
    ('=1+1', "'tis", '-1')
    """
    return cell[1:] if cell.startswith("'") and guarded(cell[1:]) == cell else cell
