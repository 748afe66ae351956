"""What is printed for a parcel: packing list and declared values, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Sent
from quirewell.record.nouns import ItemState
from quirewell.stages.parcel_items import names_of

SHEETS = ("packing", "declared")
_TITLES = {"packing": "Packing list", "declared": "Declared values"}
# Common practice, no source.
PACKING = (
    "Nothing sticks to the object: no tape, clip or band on it or on its sleeve's opening.",
    "Each in its own sleeve between two stiff boards larger than it on all sides, so that corners "
    "stand free; boards held to each other, never to the object.",
    "Closed into a bag against rain only after a day in an ordinary room, neither damp nor warm "
    "from the press; no drying agent beside the paper.",
    "Boards do not move in the box, and nothing presses on them; the address also inside.",
)


def sheet_of(
    kind: str, bench: BenchState, parcel: Parcel, states: Sequence[ItemState], today: str
) -> dict[str, Any]:
    """One sheet of a parcel: title, facts, columns and rows, a total where there is one."""
    names = names_of(states)
    years = {state.id: state.item.year for state in states}
    service = bench.services.get(parcel.service)
    given = service.typed if service else {}
    facts = [
        ["Parcel", parcel.name], ["To", service.name if service else ""],
        ["State", parcel.state], ["Sent on", parcel.sent_on], ["Tracking", parcel.tracking],
        ["Insured for", _amount(parcel.insured, parcel.currency)],
    ]  # fmt: skip
    columns: list[str]
    rows = []
    if kind == "packing":
        columns = ["in", "item", "year", "tier", "weight, g", "declared"]
        for one in parcel.entries:
            weight = given.get(one.item, {}).get("weight_g", "")
            rows.append(["", names.get(one.item, one.item), years.get(one.item, ""), one.tier,
                         weight, _amount(one.declared)])  # fmt: skip
        weights = [Decimal(row[4]) for row in rows if row[4]]
        total = _items(len(rows))
        if weights:
            all_of = "" if len(weights) == len(rows) else f" of the {len(weights)} weighed"
            total += f"; {sum(weights):f} g{all_of}, packing not counted"
    else:
        columns = ["item", "year", "tier", "declared", "currency"]
        rows = [
            [names.get(one.item, one.item), years.get(one.item, ""), one.tier,
             _amount(one.declared), parcel.currency]
            for one in parcel.entries
        ]  # fmt: skip
        total = _total(parcel.entries, parcel.currency)
    return {
        "title": _TITLES[kind], "facts": facts, "columns": columns, "rows": rows, "total": total,
        "notes": list(PACKING) if kind == "packing" else [
            "A declared value is the owner's own figure for insurance and for the tier's ceiling; "
            "it is no valuation."
        ],
        "basis": "Common practice, no source." if kind == "packing" else "",
        "day": today, "boxes": kind == "packing",
    }  # fmt: skip


def _total(entries: Sequence[Sent], currency: str) -> str:
    known = [one.declared for one in entries if one.declared is not None]
    says = f"{sum(known, Decimal(0)):.2f} {currency}".strip() + f" for {_items(len(known))}"
    lacks = len(entries) - len(known)
    return f"{says}; {lacks} not declared" if lacks else says


def _items(count: int) -> str:
    return f"{count} item{'' if count == 1 else 's'}"


def _amount(amount: Decimal | None, currency: str = "") -> str:
    return "" if amount is None else f"{amount:.2f} {currency}".strip()


def parcels_of(bench: BenchState, item: str) -> tuple[tuple[Parcel, Sent], ...]:
    """Parcels an item is or was in, newest first, with its own line."""
    return tuple(
        (parcel, one)
        for parcel in reversed(bench.parcels.values())
        for one in parcel.entries if one.item == item
    )  # fmt: skip
