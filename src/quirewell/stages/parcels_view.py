"""The page of parcels as plain data: the plan that stands, parcels and where they are."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Plan, Service
from quirewell.record.dealing import Returned
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages import parcelling
from quirewell.stages.parcel_items import Candidate, candidates, names_of, plan_text
from quirewell.stages.parcel_keeping import late_words, planned_name
from quirewell.stages.parcel_service import INVENTED, Data, rows_of, service_of, studio_of

# Days a plan stands without being worked out again, when nothing else has changed.
FRESH_DAYS = 7


@dataclass(frozen=True, slots=True)
class ParcelLine:
    """A parcel of a plan: its items in order of tier, insured against its cap, and whether it has
    been made."""

    name: str
    when: str
    rows: tuple[dict[str, Any], ...]
    says: str
    made: str


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan as the page shows it."""

    id: str
    day: str
    first: str
    status: str
    total: dict[str, Any]
    unit: str
    loss_pct: float
    worst: dict[str, Any] | None
    parcels: tuple[ParcelLine, ...]
    stays: tuple[dict[str, Any], ...]
    warnings: tuple[str, ...]
    tiers: tuple[str, ...]
    items: tuple[str, ...]
    stale: str = ""

    @property
    def all_made(self) -> bool:
        """Whether each parcel of it has been made."""
        return bool(self.parcels) and all(one.made for one in self.parcels)


@dataclass(frozen=True, slots=True)
class KeptParcel:
    """A parcel that was made: its items with what came back, and how it keeps to its time."""

    parcel: Parcel
    entries: tuple[dict[str, str], ...]
    late: str
    declared: str


@dataclass(frozen=True, slots=True)
class ParcelsView:
    """Everything the page shows."""

    services: tuple[Service, ...]
    service: Service | None
    studio: Data
    tiers: Sequence[tuple[Data, str]]
    shipments: Sequence[tuple[Data, str]]
    invented: bool
    among: tuple[Candidate, ...]
    lacks: str
    plan: PlanView | None
    kept: tuple[KeptParcel, ...]
    names: Mapping[str, str]


def view(
    bench: BenchState, states: Sequence[ItemState], today: str, service_id: str = ""
) -> ParcelsView:
    """The page for one receiver; the newest where none is named."""
    service = service_of(bench, service_id)
    names = names_of(states)
    among = candidates(states, service, bench, today) if service else ()
    tiers = rows_of(service, "tier") if service else ()
    shipments = rows_of(service, "shipment") if service else ()
    studio = studio_of(service) if service else {}
    unit = str(studio.get("currency", ""))
    if rate := studio.get("wait_rate_per_week"):
        studio = {**studio, "wait_pct": f"{(100 * Decimal(str(rate))).normalize():f}"}
    lacks = ""
    if service is None:
        lacks = "give the receiver a name of your own and the money it is paid in"
    else:
        try:
            plan_text(service, among, today)
        except ValueError as error:
            lacks = str(error)
    stands = _newest(bench, service)
    shown = _plan(bench, stands, states, today) if stands else None
    return ParcelsView(
        tuple(bench.services.values()),
        service,
        studio,
        [(row, _tier_words(row, unit)) for row in tiers],
        [(row, _parcel_words(row, unit)) for row in shipments],
        any(str(row.get("name", "")).startswith(INVENTED) for row in (*tiers, *shipments)),
        among,
        lacks,
        shown,
        tuple(_kept(bench, one, states, names, today) for one in reversed(bench.parcels.values())),
        names,
    )


def _tier_words(row: Data, unit: str) -> str:
    parts = [f"{row.get('fee', 'no fee')} {unit} each"]
    for name, words in (
        ("ceiling", "up to {} declared"), ("minimum", "{} or more of one parcel"),
        ("maximum", "{} at most"), ("from_year", "issued from {}"), ("to_year", "issued up to {}"),
        ("weeks", "back after {} weeks"),
    ):  # fmt: skip
        if name in row:
            parts.append(words.format(row[name]))
    return ", ".join([*parts, "closed for now"] if row.get("off") else parts)


def _parcel_words(row: Data, unit: str) -> str:
    week = row.get("week", 0)
    parts = [f"on {row['on']}" if "on" in row else f"in {week} weeks" if week else "now"]
    for name, words in (
        ("fixed", f"{{}} {unit} before anything is in it"), ("per_item", "{} for each item"),
        ("insurance_pct", "insurance {} % of what is declared"), ("cap", "insured for {} at most"),
    ):  # fmt: skip
        if name in row:
            parts.append(words.format(row[name]))
    return ", ".join(parts)


def _newest(bench: BenchState, service: Service | None) -> Plan | None:
    mine = [one for one in bench.plans.values() if service is None or one.service == service.id]
    return mine[-1] if mine else None


def _plan(bench: BenchState, plan: Plan, states: Sequence[ItemState], today: str) -> PlanView:
    shown = shown_plan(plan.run, plan.id, plan.day, bench, plan.items)
    return replace(shown, stale="" if shown.all_made else _stale(bench, plan, states, today))


def _stale(bench: BenchState, plan: Plan, states: Sequence[ItemState], today: str) -> str:
    """Why a plan no longer says what is known; empty where it does. Days that merely pass change
    nothing for a week, nor does a parcel made just as the plan says."""
    bench = _without_its_own(bench, plan)
    service = bench.services.get(plan.service)
    if service is None:
        return "Its receiver was set aside."
    again = "work it out again before anything is sent by it."
    try:
        among = candidates(states, service, bench, plan.day)
        if plan_text(service, among, plan.day)[0] == plan.run.params["plan"]:
            days = (date.fromisoformat(today) - date.fromisoformat(plan.day)).days
            return f"This plan is {days} days old: {again}" if days > FRESH_DAYS else ""
    except ValueError:
        pass
    what = "What is known has changed since this plan was worked out (an item, a fee, a parcel): "
    return what + again


def _without_its_own(bench: BenchState, plan: Plan) -> BenchState:
    """The bench as if the parcels made from this plan, and not changed since, were not made."""
    said: dict[str, set[str]] = {}
    for row in parcelling.as_json(plan.run)["assignments"]:
        said.setdefault(row["parcel"], set()).add(plan.items.get(row["item"], row["item"]))
    own = {
        one.id for one in bench.parcels.values()
        if one.plan == plan.id and {sent.item for sent in one.entries} in said.values()
    }  # fmt: skip
    return replace(
        bench, parcels={key: one for key, one in bench.parcels.items() if key not in own}
    )


def shown_plan(
    run: Run, id: str, day: str, bench: BenchState, items: Mapping[str, str]
) -> PlanView:
    """A run of ``parcels.plan`` as the page shows it; ``items`` are the ids behind its names."""
    out = parcelling.as_json(run)
    rows = [{**row, "id": items.get(row["item"], "")} for row in out["assignments"]]
    mine_made = [one for one in bench.parcels.values() if id and one.plan == id]
    made = {planned_name(one): one.id for one in mine_made}
    made |= {one.name: one.id for one in mine_made}
    lines = []
    for one in sorted(out["parcels"], key=lambda p: (p["week"], p["parcel"])):
        mine = [row for row in rows if row["parcel"] == one["parcel"]]
        mine.sort(key=lambda row: (row["tier"], row["item"]))
        lines.append(ParcelLine(
            one["parcel"], _when(one["week"]), tuple(mine), _insured(one, out["currency"]),
            made.get(one["parcel"], ""),
        ))  # fmt: skip
    stays = tuple({**row, "id": items.get(row["item"], "")} for row in out["not_sent"])
    return PlanView(
        id, day, out["first"]["says"], out["status"], out["total_gain"], out["currency"],
        100 * out["chance_of_loss"], out["worst_fifth"], tuple(lines), stays,
        tuple(out["warnings"]), _named(run, "tier"), _named(run, "item"),
    )  # fmt: skip


def _named(run: Run, kind: str) -> tuple[str, ...]:
    """Names of the tiers or items in a plan's own text."""
    return tuple(str(row["name"]) for row in tomllib.loads(run.params["plan"])[kind])


def _when(week: float) -> str:
    return "now" if not week else f"in {week:g} week{'' if week == 1 else 's'}"


def _insured(one: Mapping[str, Any], unit: str) -> str:
    count = f"{one['items']} item{'' if one['items'] == 1 else 's'}"
    says = f"{count}, declared and insured for {one['declared']:.2f} {unit}"
    if one["cap"] is not None:
        says += f" of {one['cap']:.0f} at most"
    return f"{says}; it costs {one['fixed']:.2f} before anything is in it"


def _kept(
    bench: BenchState, parcel: Parcel, states: Sequence[ItemState], names: Mapping[str, str],
    today: str,
) -> KeptParcel:  # fmt: skip
    by_id = {state.id: state for state in states}
    entries = []
    for one in parcel.entries:
        state = by_id.get(one.item)
        back = [r for r in state.returned.values() if r.parcel == parcel.id] if state else []
        entries.append({
            "id": one.item, "name": names.get(one.item, one.item), "tier": one.tier,
            "declared": "" if one.declared is None else f"{one.declared:.2f}",
            "back": came_back(back[-1]) if back else "",
        })  # fmt: skip
    known = [one.declared for one in parcel.entries if one.declared is not None]
    whole = f"{sum(known):.2f} {parcel.currency}".strip() if known else "nothing declared yet"
    return KeptParcel(parcel, tuple(entries), late_words(bench, parcel, today), whole)


def came_back(one: Returned) -> str:
    """A returned grade in words."""
    grade = "" if one.grade is None else f"{one.grade:f}"
    words = ", ".join(part for part in (grade, one.words) if part)
    return f"{words or 'no grade'}{f', on {one.on}' if one.on else ''}"
