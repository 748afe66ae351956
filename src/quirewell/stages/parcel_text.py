"""A plan file for parcels: the studio, tiers, shipments and items as TOML, read with sentences.

``[studio]``: ``currency`` (a word), ``wait_rate_per_week`` (share of the expected value), ``hours``
of the bench, ``spend``, ``wait_for`` (2), ``rates`` ({other = 1.1}: what one of the other currency
is in this one). ``[[tier]]``: ``name``, ``fee``, ``ceiling``, ``minimum``, ``maximum`` (of one
parcel), ``from_year``, ``to_year``, ``weeks``, ``off``. ``[[shipment]]``: ``name``, ``week``,
``fixed``, ``per_item``, ``insurance_pct`` (of what is declared), ``cap``. ``[[item]]``: ``name``,
``value_now``, ``values`` and ``chances`` by returned grade, ``year``, ``ready_week``,
``wait_per_week``, ``declared``, ``spread_log`` (then ``values`` are typical prices, and their
spread in the logarithm is this), ``way`` (a list: ``name``, ``cost``, ``hours``, ``factor``, and
``chances``, ``values`` or ``declared`` where they differ). Each of the last three kinds may name
its own ``currency``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.science.planning.parcel_bands import strata
from quirewell.science.planning.parcels import Item, Parcel, Points, Problem, Tier, Way

_STUDIO = ("currency", "wait_rate_per_week", "hours", "spend", "wait_for", "rates")
_TIER = ("name", "fee", "ceiling", "minimum", "maximum", "from_year", "to_year", "weeks", "off",
         "currency")  # fmt: skip
_SHIPMENT = ("name", "week", "fixed", "per_item", "insurance_pct", "cap", "currency")
_ITEM = ("name", "value_now", "values", "chances", "year", "ready_week", "wait_per_week",
         "declared", "spread_log", "way", "currency")  # fmt: skip
_WAY = ("name", "cost", "hours", "factor", "chances", "values", "declared")
_MOST = {"item": 2000, "tier": 12, "shipment": 12}


@dataclass(frozen=True, slots=True)
class PlanText:
    """A plan file as read: what is planned, its currency, what is to be said of it, items left out
    with the reason, and how many more the question "wait?" is asked for."""

    problem: Problem
    currency: str
    notes: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    more: int


def read_plan(text: str) -> PlanText:
    """Read a plan file.

    Raises:
        ValueError: with what was given, what is allowed and what to do.
    """
    try:
        data = toml_data(text, parse_float=Decimal)
    except BadData as error:
        raise ValueError(f"this is no plan file (TOML): {error}") from error
    _known(data, ("studio", "tier", "shipment", "item"), "a plan")
    studio = data.get("studio")
    if not isinstance(studio, dict) or not str(studio.get("currency", "")).strip():
        raise ValueError(
            'a plan begins with [studio] and its currency, such as currency = "crowns"'
        )
    _known(studio, _STUDIO, "[studio]")
    currency = str(studio["currency"]).strip()
    rates = _rates(studio, currency)
    notes: list[str] = []
    rows = {kind: _rows(data, kind) for kind in ("tier", "shipment", "item")}
    tiers = tuple(_tiers(rows["tier"], rates, notes))
    parcels = tuple(_parcels(rows["shipment"], rates, notes))
    left: list[tuple[str, str]] = []
    items = tuple(_items(rows["item"], rates, left))
    for tier in tiers:
        if tier.minimum > len(items):
            notes.append(
                f"Tier {tier.name!r} takes {tier.minimum} items at least and the plan has "
                f"{len(items)}: it cannot be reached yet."
            )
    wait = _fraction(studio, "wait_rate_per_week", "[studio]", most=1) or Fraction(0)
    if not wait and not any(item.wait_per_week for item in items):
        notes.append("Waiting costs nothing in this plan: give wait_rate_per_week where it does.")
    hours = _fraction(studio, "hours", "[studio]")
    spend = _cents(studio, "spend", "[studio]", Fraction(1))
    more = _count(studio, "wait_for", "[studio]", 2, low=1, high=100) or 2
    minutes = None if hours is None else int(hours * 60)
    return PlanText(
        Problem(items, tiers, parcels, minutes, spend, wait), currency, tuple(notes), tuple(left),
        more,
    )  # fmt: skip


def _rates(studio: Mapping[str, Any], currency: str) -> dict[str, Fraction]:
    given = studio.get("rates", {})
    if not isinstance(given, dict):
        raise ValueError("[studio] rates is a table, such as rates = {other = 1.1}")
    out = {currency: Fraction(1), "": Fraction(1)}
    for name in given:
        rate = _fraction(given, name, "[studio] rates")
        if not rate:
            raise ValueError(f"the rate of {name!r} is above 0, got {given[name]}")
        out[str(name)] = rate
    return out


def _rows(data: Mapping[str, Any], kind: str) -> list[dict[str, Any]]:
    rows = data.get(kind, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ValueError(f"write each {kind} under its own heading [[{kind}]]")
    if not rows:
        raise ValueError(f"a plan needs at least one [[{kind}]]")
    if len(rows) > _MOST[kind]:
        raise ValueError(f"a plan holds at most {_MOST[kind]} of [[{kind}]], got {len(rows)}")
    names = [str(row.get("name", "")).strip() for row in rows]
    if not all(names):
        raise ValueError(f"number {names.index('') + 1} of [[{kind}]] has no name: give one")
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f"two of [[{kind}]] are called {name!r}: give each its own name")
        if any(sign in name for sign in "\n\0"):
            raise ValueError(f"the name {name!r} is one line of text")
    return [{**row, "name": name} for row, name in zip(rows, names, strict=True)]


def _tiers(
    rows: Iterable[Mapping[str, Any]], rates: Mapping[str, Fraction], notes: list[str]
) -> Iterable[Tier]:
    for row in rows:
        says = f"tier {row['name']!r}"
        _known(row, _TIER, says)
        rate = _rate(row, rates)
        if rate is None:
            notes.append(_foreign(says, row) + " It is switched off.")
            continue
        low = _count(row, "minimum", says, 1, low=1, high=100_000) or 1
        high = _count(row, "maximum", says, None, low=1, high=100_000)
        if high is not None and low > high:
            notes.append(
                f"{says.capitalize()} takes {low} items at least and {high} at most, which cannot "
                "be: it is left out. Set minimum or maximum right to use it."
            )
            continue
        off = row.get("off", False)
        if not isinstance(off, bool):
            raise ValueError(f"{says}: off is true or false, got {off!r}")
        if off:
            notes.append(f"{says.capitalize()} is switched off in the file.")
            continue
        fee = _cents(row, "fee", says, rate)
        if fee is None:
            raise ValueError(f"{says} needs its fee")
        yield Tier(
            row["name"], fee, _cents(row, "ceiling", says, rate), low, high,
            _count(row, "from_year", says, None, low=1400, high=2200),
            _count(row, "to_year", says, None, low=1400, high=2200),
            _fraction(row, "weeks", says, most=520) or Fraction(0),
        )  # fmt: skip


def _parcels(
    rows: Iterable[Mapping[str, Any]], rates: Mapping[str, Fraction], notes: list[str]
) -> Iterable[Parcel]:
    for row in rows:
        says = f"shipment {row['name']!r}"
        _known(row, _SHIPMENT, says)
        rate = _rate(row, rates)
        if rate is None:
            notes.append(_foreign(says, row) + " It is left out.")
            continue
        yield Parcel(
            row["name"],
            _fraction(row, "week", says, most=520) or Fraction(0),
            _cents(row, "fixed", says, rate) or 0,
            _cents(row, "per_item", says, rate) or 0,
            (_fraction(row, "insurance_pct", says, most=100) or Fraction(0)) / 100,
            _cents(row, "cap", says, rate),
        )


def _items(
    rows: Iterable[Mapping[str, Any]], rates: Mapping[str, Fraction], left: list[tuple[str, str]]
) -> Iterable[Item]:
    for row in rows:
        says = f"item {row['name']!r}"
        _known(row, _ITEM, says)
        rate = _rate(row, rates)
        if rate is None:
            left.append((row["name"], _foreign("it", row)))
            continue
        now = _cents(row, "value_now", says, rate)
        if now is None:
            raise ValueError(f"{says} needs value_now, what it is worth as it is")
        ways = row.get("way", [{"name": "as it is"}])
        if not isinstance(ways, list) or not ways or not all(isinstance(w, dict) for w in ways):
            raise ValueError(f"{says}: write each way under its own heading [[item.way]]")
        made = tuple(_way(row, way, f"{says}, way {way.get('name', '')!r}", rate) for way in ways)
        names = [way.name for way in made]
        if len(set(names)) < len(names) or not all(names) or len(names) > 8:
            raise ValueError(f"{says}: give each way its own name, 8 ways at most")
        wait = _fraction(row, "wait_per_week", says) or Fraction(0)
        yield Item(
            row["name"], now, made, _count(row, "year", says, None, low=1400, high=2200),
            _fraction(row, "ready_week", says, most=520) or Fraction(0), 100 * rate * wait,
        )  # fmt: skip


def _way(row: Mapping[str, Any], way: Mapping[str, Any], says: str, rate: Fraction) -> Way:
    _known(way, _WAY, says)
    both = {**row, **{key: way[key] for key in ("chances", "values", "declared") if key in way}}
    factor = _fraction(way, "factor", says, most=100)
    hours = _fraction(way, "hours", says, most=10_000) or Fraction(0)
    return Way(
        str(way.get("name", "")).strip(), _points(both, says, rate),
        _cents(way, "cost", says, rate) or 0, -(-hours * 60 // 1),
        Fraction(1) if factor is None else factor, _cents(both, "declared", says, rate),
    )  # fmt: skip


def _points(row: Mapping[str, Any], says: str, rate: Fraction) -> Points:
    values, chances = row.get("values"), row.get("chances")
    if not isinstance(values, dict) or not isinstance(chances, dict) or not chances:
        raise ValueError(
            f"{says} needs values and chances by returned grade, such as "
            "values = {low = 80, high = 140} and chances = {low = 0.4, high = 0.6}"
        )
    lacks = sorted(set(chances) - set(values))
    if lacks:
        lack = lacks[0][:40]
        raise ValueError(f"{says}: the grade {lack!r} has a chance and no value: give both")
    each = {name: _fraction(chances, name, f"{says}, chances", most=1) for name in chances}
    whole = sum((p for p in each.values() if p), Fraction(0))
    if abs(whole - 1) > Fraction(1, 1000):
        raise ValueError(f"{says}: the chances add up to {float(whole):g} and must add up to 1")
    spread = _fraction(row, "spread_log", says, most=2)
    parts = [Fraction(1)] if not spread else [Fraction(f) for f in strata(float(spread))]
    out = []
    for name, p in each.items():
        value = _fraction(values, name, f"{says}, values", most=10**9)
        if p and value is not None:
            out += [(p / whole / len(parts), 100 * rate * value * part) for part in parts]
    return tuple(out)


def _rate(row: Mapping[str, Any], rates: Mapping[str, Fraction]) -> Fraction | None:
    return rates.get(str(row.get("currency", "")).strip())


def _foreign(says: str, row: Mapping[str, Any]) -> str:
    own = str(row["currency"]).strip()
    return (
        f"{says.capitalize() if says != 'it' else 'it'} is in {own}, and no rate for {own} is "
        f"given: add it under [studio], such as rates = {{{own} = 1.1}}."
    )


def _known(row: Mapping[str, Any], known: Iterable[str], says: str) -> None:
    there = tuple(known)
    for name in row:
        if name not in there:
            raise ValueError(f"{says} knows no {name[:40]!r}; it knows {', '.join(there)}")


def _decimal(value: Any, says: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal | str):
        raise ValueError(f"{says} is a number, got {value!r}")
    try:
        number = Decimal(value)
    except InvalidOperation as error:
        raise ValueError(f"{says} is a number, got {value!r}") from error
    if not number.is_finite():
        raise ValueError(f"{says} is a number, got {value!r}")
    return number


def _fraction(row: Mapping[str, Any], name: str, says: str, most: int = 10**9) -> Fraction | None:
    """A number of 0 or more, exactly; None where it is not given."""
    if name not in row:
        return None
    number = _decimal(row[name], f"{says}: {name}")
    if not 0 <= number <= most:
        raise ValueError(f"{says}: {name} lies between 0 and {most:g}, got {row[name]}")
    return Fraction(number)


def _cents(row: Mapping[str, Any], name: str, says: str, rate: Fraction) -> int | None:
    """A sum of money in cents of the plan's currency; None where it is not given."""
    number = _fraction(row, name, says)
    if number is None:
        return None
    if (number * 100).denominator != 1:
        raise ValueError(f"{says}: {name} has two decimals at most, got {row[name]}")
    return round(number * 100 * rate)


def _count(
    row: Mapping[str, Any], name: str, says: str, usual: int | None, *, low: int, high: int
) -> int | None:
    if name not in row:
        return usual
    number = _decimal(row[name], f"{says}: {name}")
    if number != int(number) or not low <= number <= high:
        raise ValueError(f"{says}: {name} is whole, {low} to {high}, got {row[name]}")
    return int(number)
