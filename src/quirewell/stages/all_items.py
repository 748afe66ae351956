"""What each look over all items reads of them: no more, so that thousands of items stay quick.

Looking into a record that is not named here raises (``studio.slices``), so a view that comes to
need more says so in its first test.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from quirewell.record.apply import COLLECTIONS
from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState, Lot
from quirewell.stages.plan_keeping import newest
from quirewell.stages.stock import used_in
from quirewell.stages.today import lying_wet
from quirewell.studio.lists import Where
from quirewell.studio.studio import Studio

STOCK = ("steps",)
CLIENTS = ("custodies",)
COSTS = ("costs",)
INVOICES = ("invoices",)
DECISIONS = ("choices", "runs:options.weigh")
PLAN = ("gathering", "pilots", "steps")
RETURNS = ("returned", "runs:condition.grade")
PARCELS = (
    "choices", "custodies", "holdings", "returned", "runs:condition.grade", "runs:options.weigh",
    "sold",
)  # fmt: skip
# Everything but pictures and what was measured in them.
MEMORY = ("gathering", *(name for name in COLLECTIONS if name not in ("captures", "runs")))
MISHAPS = ("mishaps",)
# What holds names and amounts (``exchange.share_private``) but pictures, whose file names are let
# be on a page; sums worked out in runs are looked for by themselves.
HIDDEN = (
    "choices", "claims", "costs", "custodies", "grades", "holdings", "invoices", "quotes", "sold",
    "steps", "times",
)  # fmt: skip
RUNS = ("runs",)
_WET = ("gathering", "steps")
LATELY, OFFERED = 12, 40


def busy_items(studio: Studio) -> list[ItemState]:
    """Items with a step under way, the one changed last first."""
    lines = studio.page(Where(having="under way"), limit=1000)
    return [studio.state(line.id) for line in lines]


def items_at_hand(studio: Studio, bench: BenchState, chosen: str = "") -> list[ItemState]:
    """Items the bench page is about, the one changed last first: with steps not done, in the plan
    that stands, wet by the record, changed lately, or ``chosen``."""
    plan = newest(bench)
    ids = set(plan.items.values()) if plan is not None else set()
    ids |= {line.id for line in studio.page(Where(having="open"), limit=1000)}
    ids |= {line.id for line in studio.page(limit=LATELY)} | {chosen}
    wet = studio.each("lying wet", _WET, _is_wet)
    return [studio.state(item) for item, lies_wet in wet.items() if lies_wet or item in ids]


def items_to_plan(studio: Studio, bench: BenchState, also: Iterable[str]) -> list[ItemState]:
    """Items a plan's form offers, as far as a plan reads them: those of the plan that stands, with
    steps not done, changed lately, and ``also``."""
    plan = newest(bench)
    ids = {*also, *(plan.items.values() if plan is not None else ())}
    ids |= {line.id for line in studio.page(Where(having="open"), limit=1000)}
    ids |= {line.id for line in studio.page(limit=OFFERED)}
    return studio.some_states(ids, *PLAN)


def items_offered(studio: Studio, first: str = "") -> list[tuple[str, str]]:
    """(id, title) of the items a form offers: those under way, those changed lately, and ``first``
    before all; not thousands."""
    lines = [
        *studio.page(Where(having="under way"), limit=OFFERED), *studio.page(limit=OFFERED),
    ]  # fmt: skip
    offered = {line.id: line.title for line in lines}
    if first and first not in offered and (found := studio.titles([first])):
        offered = {first: found[first][0], **offered}
    return list(offered.items())


def materials_used(studio: Studio) -> list[tuple[Lot, str]]:
    """Every material used in a step that was begun, over all items, with its day."""
    used = studio.each("materials used", STOCK, used_in)
    return [one for rows in used.values() for one in rows]


def _is_wet(state: ItemState) -> bool:
    return bool(lying_wet([state], datetime.now(UTC)))
