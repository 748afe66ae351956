"""What a check of a gathering's order tells: one kind of thing each, with its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "missing", "doubled", "reversed", "out of order", "foreign", "half", "insert", "blank verso",
    "unread",
]  # fmt: skip
# What is told and is no fault.
NO_FAULT: tuple[Kind, ...] = ("blank verso", "unread", "insert")


@dataclass(frozen=True, slots=True)
class Told:
    """One thing found out about the order, with the evidence for it in ``says``."""

    kind: Kind
    sheet: str
    says: str
