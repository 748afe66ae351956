"""The plan that stands, as the bench page reads it; nothing where none was made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.stages.today import Lookup, no_lookup


@dataclass(frozen=True, slots=True)
class Plan:
    """Its steps with the state each has by the record, what is late, and the plan in a sentence."""

    rows: tuple[Mapping[str, Any], ...] = ()
    late: tuple[str, ...] = ()
    says: str = ""
    lookup: Lookup = no_lookup


def standing_plan(bench: BenchState, states: Sequence[ItemState], now: datetime) -> Plan:
    """The newest plan kept, with what really happened."""
    return Plan()
