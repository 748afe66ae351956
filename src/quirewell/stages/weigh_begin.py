"""What record and books already know of a weighing, before anything is typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.outlooking import METHOD as OUTLOOK
from quirewell.stages.own_sales import plain, rates_of, sales_of, sales_table
from quirewell.stages.parcel_service import rows_of, service_of, studio_of
from quirewell.stages.working_rows import PLAN


def weigh_begins(state: ItemState, bench: BenchState) -> dict[str, str]:
    """Damage as last estimated, own sales of this title, rates, what it is held for, own options,
    the outlook, and what must be told."""
    rates, own = rates_of(bench), state.own_options.get("options")
    out = {
        **_condition(state, bench),
        **_value(state, bench),
        "life": life_of(state),
        "currency": rates.currency,
    }
    for name, amount in (
        ("hour", rates.hour), ("overhead_pct", rates.overhead_pct),
        ("sale_fee_pct", rates.sale_fee_pct),
    ):  # fmt: skip
        out[name] = "" if amount is None else plain(amount)
    if own is not None:
        out |= {"options": own.text, "aim": "" if own.aim == "gain" else own.aim}
    out |= _sending(state, bench)
    told = bench.disclosure()
    return out | ({} if told is None else {"disclosures": told.rows})


def _condition(state: ItemState, bench: BenchState) -> dict[str, str]:
    graded = state.newest_run(GRADE, PLAN)
    if graded is not None:
        return {name: graded.params.get(name, "")
                for name in ("defects", "rules", "scale", "returns", "adding")}  # fmt: skip
    own = bench.grading()
    rules = {} if own is None else {"rules": own.rules, "scale": own.scale, "adding": own.adding}
    return {"defects": damage_table(state), **rules}


def _value(state: ItemState, bench: BenchState) -> dict[str, str]:
    """Own sales of the title, with those of others for how a price goes with grade; else what was
    typed of its worth."""
    title, held = state.item.title, state.holdings.get("holding")
    if any(one.grade is not None for one in sales_of(bench, title)):
        return {"sales": sales_table(bench), "item": " ".join(title.split())}
    if held is None or held.value_now is None:
        return {}
    u = "" if held.value_u is None else plain(held.value_u)
    return {"value_now": plain(held.value_now), "value_u": u}


def _sending(state: ItemState, bench: BenchState) -> dict[str, str]:
    """What sending it alone would cost, by the receiver's cheapest tier that takes its year, and
    what it would bring as it lies; nothing for a client's item, or where no receiver is kept."""
    service = service_of(bench)
    if service is None or state.custodies or state.returned or state.sold:
        return {}
    tiers = sorted(
        (row for row in rows_of(service, "tier") if _takes(row, state.item.year)),
        key=lambda row: row["fee"],
    )
    if not tiers:
        return {}
    first, dearer = tiers[0], [row for row in tiers[1:] if _ceiling(row) > _ceiling(tiers[0])]
    parcel = next(iter(rows_of(service, "shipment")), {})
    rate = studio_of(service).get("wait_rate_per_week")
    held = state.holdings.get("holding")
    given = {
        "fee": first["fee"], "ceiling": first.get("ceiling"), "weeks": first.get("weeks"),
        "next_fee": dearer[0]["fee"] if dearer else None,
        "per_item": parcel.get("per_item"), "insurance_pct": parcel.get("insurance_pct"),
        "wait_pct_per_week": None if rate is None else (100 * Decimal(rate)).normalize(),
        "value_now": held.value_now if held else None,
    }  # fmt: skip
    return {name: plain(Decimal(one)) for name, one in given.items() if one is not None}


def _ceiling(row: Mapping[str, Any]) -> Decimal:
    return Decimal(row.get("ceiling", "Infinity"))


def _takes(row: Mapping[str, Any], year: str) -> bool:
    """Whether a tier is open and takes a year; one that is not known is taken."""
    found = re.search(r"\d{4}", year)
    if row.get("off"):
        return False
    return found is None or (row.get("from_year", 0) <= int(found[0]) <= row.get("to_year", 9999))


def life_of(state: ItemState) -> str:
    """The ratio of lives of the newest outlook, by pH alone where its stores differ too: "2.1, 1.3,
    3.2"; empty where none gave a number."""
    runs = [one for one in state.runs.values() if one.method == OUTLOOK]
    if not runs:
        return ""
    run = max(reversed(runs), key=lambda one: state.touched.get(one.id, 0))
    by: dict[str, Finding] = {one.quantity: one for one in run.findings}
    found = by.get("outlook.by_ph") or by.get("outlook.ratio")
    stores = [run.params.get(f"store_{when}", "").strip() for when in ("before", "after")]
    if found is None or found.value is None:
        return ""
    if "outlook.by_ph" not in by and stores[0] != stores[1]:
        return ""  # the store alone was asked about: that is no merit of a treatment
    ends = (found.value, found.low90, found.high90)
    return ", ".join(f"{one:.3g}" for one in ends if one is not None)


def hours_row(a_wrap: tuple[float, float, float, int] | None, wraps: int) -> str:
    """The full treatment at the hours that a wrap has taken at this bench, as an own row; empty
    while the bench has not seen enough."""
    if a_wrap is None:
        return ""
    middle, low, high, count = a_wrap
    hours = "/".join(f"{wraps * one:.3g}" for one in (low, middle, high))
    return f"option,hours,note\nFull treatment,{hours},hours of this bench from {count} items"
