"""The studio's items as items of a plan for parcels, and the whole plan's text.

What an item is worth now and may be worth when it is back comes, in this order, from what was typed
for its parcels, from the newest weighing (`options.weigh`: chances and values per option and grade)
and from the newest estimate of its grade with three values typed by hand. Low, likely and high are
then what it would bring when it comes back lower than estimated, about as estimated (within half a
point) or higher; without an estimate they are read as a PERT range (``malcolm1959``) in five equal
parts.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Service
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.science.planning.typed_range import Range
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.parcel_service import Data, dated, read_service, weeks_until, write_toml
from quirewell.stages.weighed_json import as_json as weighing_json
from quirewell.stages.working_rows import PLAN

WEIGH = "options.weigh"
ABOUT = 0.5  # points from the estimate that count as "about as estimated"
PARTS = 5  # equal parts a typed range is read in where no grade was estimated
AS_IT_IS = "as it is"
# Where only the likeliest value is known: prices of one grade scatter so much in log (assumed).
SPREAD_LOG = Decimal("0.3")
CENT = Decimal("0.01")
_STAYS = frozenset(("leave",))
# Lines of a weighing that are work of the bench: fees of sending are the tiers' own.
_WORK = frozenset((
    "work", "overhead on the work", "materials", "a mishap takes, on average",
))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Candidate:
    """An item as it stands before a plan: whether it may go and why, what its numbers are from,
    what is missing, and its row of the plan (None where it cannot be planned)."""

    item: str
    name: str
    goes: bool
    must: bool
    why: str
    basis: str
    lacks: str
    row: Data | None
    typed: Mapping[str, str] = field(default_factory=dict)

    @property
    def planned(self) -> bool:
        """Whether it stands in the plan."""
        return self.goes and self.row is not None


def names_of(states: Iterable[ItemState]) -> dict[str, str]:
    """A name of its own for each item, by its id: its title, with the year where titles are alike,
    and with the id where those are alike too."""
    titles = {state.id: " ".join(state.item.title.split()) for state in states}
    years = {state.id: state.item.year.strip() for state in states}
    held = Counter(titles.values())
    named = {
        key: f"{title}, {years[key]}" if held[title] > 1 and years[key] else title
        for key, title in titles.items()
    }
    again = Counter(named.values())
    return {key: name if again[name] == 1 else f"{name} [{key}]" for key, name in named.items()}


def candidates(
    states: Sequence[ItemState], service: Service, bench: BenchState, today: str
) -> tuple[Candidate, ...]:
    """Every item of the studio as it stands before a plan for one receiver, by name."""
    names = names_of(states)
    away = parcels_by_item(bench)
    made = [_candidate(state, names[state.id], service, away, today) for state in states]
    return tuple(sorted(made, key=lambda one: (not one.goes, one.row is None, one.name)))


def parcels_by_item(bench: BenchState) -> dict[str, Parcel]:
    """The open parcel each item is in."""
    return {
        entry.item: parcel
        for parcel in bench.parcels.values() if parcel.state != "back"
        for entry in parcel.entries
    }  # fmt: skip


def plan_text(
    service: Service, among: Iterable[Candidate], today: str
) -> tuple[str, dict[str, str], list[str]]:
    """The plan's text, the ids behind its names, and parcels left out since they have gone.

    Raises:
        ValueError: nothing to plan with, in a sentence that says what to do.
    """
    data, gone = dated(read_service(service.text), today)
    rows = [one for one in among if one.planned]
    if not str(data["studio"].get("currency", "")).strip():
        raise ValueError("say first in which money the receiver is paid")
    if not data["tier"]:
        raise ValueError("give at least one tier first: its name and fee are enough")
    if not data["shipment"]:
        late = " that has not gone yet" if gone else ""
        raise ValueError(f"give at least one parcel{late} first: a name is enough")
    if not rows:
        raise ValueError(
            "no item can be planned yet: under Items, let one go and type what it is worth now and "
            "when it is back, or weigh its options on its own page"
        )
    text = write_toml({**data, "item": [one.row for one in rows]})
    return text, {one.name: one.item for one in rows}, gone


def musts(among: Iterable[Candidate]) -> list[str]:
    """Names of items that must go."""
    return [one.name for one in among if one.planned and one.must]


def _candidate(
    state: ItemState, name: str, service: Service, away: Mapping[str, Parcel], today: str
) -> Candidate:
    given = service.typed.get(state.id, {})
    goes, why = _goes(state, given.get("goes", ""), away)
    weighed = state.newest_run(WEIGH, PLAN)
    row: Data = {"name": name}
    currency = ""
    basis, ways = "", list[Data]()
    if weighed is not None and "likely" not in given:
        basis, ways, currency = _from_weighing(state, weighed)
    if not ways:
        currency = ""
        basis, ways = _from_typed(state, given)
    now, now_from, now_currency = _value_now(state, given, weighed)
    lacks = ""
    if not ways:
        lacks = "what it would bring when it is back: three values typed, or its options weighed"
    elif now is None:
        lacks = "what it is worth as it is"
    if lacks:
        return Candidate(state.id, name, goes, False, why, basis, lacks, None, given)
    assert now is not None
    row["value_now"] = now
    if (year := re.search(r"\b(1[4-9]\d\d|2[01]\d\d)\b", state.item.year)) is not None:
        row["year"] = int(year[1])
    if ready := given.get("ready", ""):
        row["ready_week"] = (
            max(Decimal(0), weeks_until(ready, today)) if "-" in ready else Decimal(ready)
        )
    if "declared" in given:
        row["declared"] = Decimal(given["declared"])
    if currency or now_currency:
        row["currency"] = currency or now_currency
    if len(ways) == 1 and ways[0]["name"] == AS_IT_IS:
        row |= {key: value for key, value in ways[0].items() if key != "name"}
        row["way"] = [{"name": AS_IT_IS}]
    else:
        row["way"] = ways
    if "cost" in given or "hours" in given:
        extra = {key: Decimal(given[key]) for key in ("cost", "hours") if key in given}
        row["way"] = [{**way, **extra} for way in row["way"]]
    return Candidate(state.id, name, goes, given.get("goes") == "must", why,
                     f"{basis}; {now_from}", "", row, given)  # fmt: skip


def _goes(state: ItemState, typed: str, away: Mapping[str, Parcel]) -> tuple[bool, str]:
    """Whether an item may go, and why."""
    if state.id in away:
        return False, f"packed already, in {away[state.id].name}"
    if "sold" in state.sold:
        return False, "sold"
    if any(one.returned_on for one in state.custodies.values()):
        return False, "given back to its owner"
    if typed == "no":
        return False, "stays, as you said"
    if typed in ("yes", "must"):
        return True, "must go, as you said" if typed == "must" else "may go, as you said"
    if state.returned:
        return False, "came back with a grade"
    choice = state.choices.get("choice")
    weighed = state.newest_run(WEIGH, PLAN)
    option = choice.option if choice else ""
    if not option and weighed is not None:
        option = str(_weighing(weighed).get("best", ""))
    if not option:
        return False, "nothing was chosen or weighed for it"
    kinds = {one["name"]: one["kind"] for one in _weighing(weighed).get("options", ())}
    if kinds.get(option, option) in _STAYS:
        return False, f"{'chosen' if choice else 'weighed'} to be left as it is"
    return True, f"{'chosen' if choice else 'weighed'}: {option}"


def _weighing(run: Run | None) -> dict[str, Any]:
    """A weighing as plain data; empty where none can be read."""
    if run is None:
        return {}
    return weighing_json(run)


def _from_weighing(state: ItemState, run: Run) -> tuple[str, list[Data], str]:
    """Ways of sending out of a weighing: the option chosen, or each that has grades with values."""
    held = _weighing(run)
    choice = state.choices.get("choice")
    ways: list[Data] = []
    for one in held.get("options", ()):
        if choice is not None and choice.option not in (one["name"], ""):
            continue
        points = [
            g for g in one.get("grades", ()) if g.get("chance") and g.get("value") is not None
        ]
        untouched = one["kind"] in _STAYS or not (one.get("steps") or one["hours"]["value"])
        if not points or (untouched and any(way["name"] == AS_IT_IS for way in ways)):
            continue
        whole = sum(g["chance"] for g in points)
        ways.append({
            "name": AS_IT_IS if untouched else one["name"],
            "cost": _money(-sum(x["amount"] for x in one["lines"] if x["name"] in _WORK)),
            "hours": _decimal(one["hours"]["value"]), "factor": _decimal(one["factor"]["value"]),
            "chances": _chances({_grade(g["grade"]): g["chance"] / whole for g in points}),
            "values": {_grade(g["grade"]): _money(g["value"]) for g in points},
        })  # fmt: skip
    says = "chances and values from its options as weighed"
    unit = str(held.get("unit", ""))
    return says, ways[:8], "" if unit == "1" else unit


def _from_typed(state: ItemState, given: Mapping[str, str]) -> tuple[str, list[Data]]:
    """One way out of typed values, by the grade's estimate where there is one."""
    value = {name: Decimal(given[name]) for name in ("low", "likely", "high") if name in given}
    if "likely" not in value:
        return "nothing typed yet", []
    likely = value["likely"]
    way: Data = {"name": AS_IT_IS}
    if len(value) == 1:
        way |= {"chances": {"likely": Decimal(1)}, "values": {"likely": likely},
                "spread_log": SPREAD_LOG}  # fmt: skip
        return "one typical price, scatter of one grade's prices assumed (0.3 in log)", [way]
    low, high = value.get("low", likely), value.get("high", likely)
    run = state.newest_run(GRADE, PLAN)
    if run is not None and (parts := _parts(run)):
        names = {"lower": low, "about": likely, "higher": high}
        return "three values typed, chances from its estimated grade", [
            {**way, "chances": _chances(parts), "values": {k: names[k] for k in parts}}
        ]
    if low == high or low <= 0:
        each = dict.fromkeys(("low", "likely", "high"), 1 / 3)
        return "three values typed, each as probable", [
            {**way, "chances": _chances(each), "values": {"low": low, "likely": likely,
                                                          "high": high}}
        ]  # fmt: skip
    typed = Range(float(low), float(likely), float(high))
    values = {f"part {n + 1}": _money(typed.quantile((n + 0.5) / PARTS)) for n in range(PARTS)}
    return "three values typed, no grade estimated", [
        {**way, "chances": _chances(dict.fromkeys(values, 1 / PARTS)), "values": values}
    ]


def _parts(run: Run) -> dict[str, float]:
    """Chances that it comes back lower than estimated, about so, or higher."""
    by_grade = {one.subject: one.value or 0.0 for one in run.findings
                if one.quantity == "condition.returned"}  # fmt: skip
    by_grade = by_grade or {one.subject: one.value or 0.0 for one in run.findings
                            if one.quantity == "condition.chance"}  # fmt: skip
    grade = next((one.value for one in run.findings if one.quantity == "condition.grade"), None)
    if grade is None or not by_grade:
        return {}
    out = {"lower": 0.0, "about": 0.0, "higher": 0.0}
    for step, chance in by_grade.items():
        off = float(step) - grade
        out["lower" if off < -ABOUT else "higher" if off > ABOUT else "about"] += chance
    whole = sum(out.values())
    return {name: chance / whole for name, chance in out.items() if chance > 0}


def _chances(by_name: Mapping[str, float]) -> dict[str, Decimal]:
    """Chances in hundredths of a per cent that add up to 1 exactly; the greatest takes the rest."""
    out = {name: Decimal(chance).quantize(Decimal("0.0001")) for name, chance in by_name.items()}
    most = max(out, key=lambda name: out[name])
    out[most] += 1 - sum(out.values())
    return out


def _value_now(
    state: ItemState, given: Mapping[str, str], weighed: Run | None
) -> tuple[Decimal | None, str, str]:
    """What an item is worth as it is, what says so, and its currency where that is its own."""
    if "value_now" in given:
        return Decimal(given["value_now"]), "value now typed", ""
    held = state.holdings.get("holding")
    leave = next((one for one in _weighing(weighed).get("options", ()) if one["kind"] in _STAYS),
                 None)  # fmt: skip
    if leave is not None and leave["value_now"]["value"] is not None:
        return _money(leave["value_now"]["value"]), "value now as weighed", ""
    if held is not None and held.value_now is not None:
        return held.value_now.quantize(CENT), "value now as held", held.currency
    return None, "", ""


def _grade(value: Any) -> str:
    return f"{float(value):g}"


def _money(value: Any) -> Decimal:
    return max(Decimal(0), Decimal(str(value))).quantize(CENT)


def _decimal(value: Any) -> Decimal:
    return max(Decimal(0), Decimal(str(value))).quantize(Decimal("0.01"))
