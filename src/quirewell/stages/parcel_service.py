"""A receiver of parcels as typed on the page: its tiers and the parcels to come, a row each.

What is kept is the text that the plan reads (:mod:`.parcel_text`), without items; a parcel may say
``on`` (a day) instead of ``week``. Nobody needs to write it: each row has a form, and the whole may
be pasted. Nothing here is looked up anywhere: fees, ceilings and times are the practice's own, with
the day they were last checked.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.books import Service
from quirewell.record.codec import to_body
from quirewell.record.dealing import check_day
from quirewell.record.event import Draft
from quirewell.record.plain_data import BadData, toml_data
from quirewell.stages import typed
from quirewell.stages.parcel_text import read_plan
from quirewell.stages.refusal import no

STREAM = "studio"
Form = Mapping[str, str]
Data = dict[str, Any]
INVENTED = "invented "
# A plan is read whole, so that a row can be tried before there is anything else.
_TRIED: Data = {
    "tier": [{"name": "any", "fee": Decimal(1)}],
    "shipment": [{"name": "any"}],
    "item": [
        {"name": "any", "value_now": Decimal(1), "values": {"sure": Decimal(1)},
         "chances": {"sure": Decimal(1)}}
    ],
}  # fmt: skip
TIER_NUMBERS = ("fee", "ceiling", "minimum", "maximum", "from_year", "to_year", "weeks")
PARCEL_NUMBERS = ("fixed", "per_item", "insurance_pct", "cap")
STUDIO_NUMBERS = ("wait_rate_per_week", "hours", "spend", "wait_for")
ITEM_NUMBERS = ("value_now", "low", "likely", "high", "declared", "hours", "cost", "weight_g")
GOES = (("", "as its record says"), ("yes", "may go"), ("must", "must go"), ("no", "stays"))
EXAMPLE: Data = {
    "tier": [
        {"name": f"{INVENTED}patient", "fee": Decimal(18), "ceiling": Decimal(150),
         "minimum": Decimal(4), "weeks": Decimal(20)},
        {"name": f"{INVENTED}plain", "fee": Decimal(34), "ceiling": Decimal(400),
         "weeks": Decimal(12)},
        {"name": f"{INVENTED}swift", "fee": Decimal(75), "weeks": Decimal(4)},
    ],
    "shipment": [
        {"name": f"{INVENTED}parcel 1", "week": Decimal(0), "fixed": Decimal(6),
         "per_item": Decimal("1.5"), "insurance_pct": Decimal("0.6"), "cap": Decimal(900)},
        {"name": f"{INVENTED}parcel 2", "week": Decimal(6), "fixed": Decimal(6),
         "per_item": Decimal("1.5"), "insurance_pct": Decimal("0.6"), "cap": Decimal(900)},
    ],
}  # fmt: skip


# --- text -----------------------------------------------------------------------------------


def write_toml(data: Mapping[str, Any]) -> str:
    """A plan's data as the text it is read from.

    >>> print(write_toml({"studio": {"currency": "crowns"}, "tier": [{"name": "a", "fee": 3}]}))
    [studio]
    currency = "crowns"
    <BLANKLINE>
    [[tier]]
    name = "a"
    fee = 3
    <BLANKLINE>
    """
    lines: list[str] = []
    for name, held in data.items():
        for row in [held] if isinstance(held, Mapping) else held:
            lines += [f"[{name}]" if isinstance(held, Mapping) else f"[[{name}]]"]
            lines += _pairs(row)
            for way in row.get("way", ()):
                lines += ["[[item.way]]", *_pairs(way)]
            lines.append("")
    return "\n".join(lines)


def _pairs(row: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_toml(value)}" for key, value in row.items() if key != "way"]


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_text(str(k))} = {_toml(v)}" for k, v in value.items()) + "}"
    return _text(str(value))


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def read_service(text: str) -> Data:
    """A receiver's text as data: ``studio``, ``tier``, ``shipment``.

    Raises:
        ValueError: no such text.
    """
    try:
        data = toml_data(text, parse_float=Decimal)
    except BadData as error:
        raise ValueError(f"this is no plan text (TOML): {error}") from error
    for name, kind in (("studio", dict), ("tier", list), ("shipment", list)):
        held = data.setdefault(name, kind())
        if not isinstance(held, kind) or (
            isinstance(held, list) and not all(isinstance(row, dict) for row in held)
        ):
            raise ValueError(f"write {name} under its own heading, as the page does")
    return {name: data[name] for name in ("studio", "tier", "shipment")}


def dated(data: Data, today: str) -> tuple[Data, list[str]]:
    """The data with each parcel's day as weeks from ``today``, and which have gone already."""
    gone, parcels = [], []
    for row in data["shipment"]:
        kept = {key: value for key, value in row.items() if key != "on"}
        if "on" in row:
            weeks = weeks_until(str(row["on"]), today)
            if weeks < 0:
                gone.append(str(row.get("name", "")))
                continue
            kept = {"name": kept.pop("name", ""), "week": weeks, **kept}
        parcels.append(kept)
    return {**data, "shipment": parcels}, gone


def weeks_until(day: str, today: str) -> Decimal:
    """Weeks from today to a day, to hundredths; below 0 when it is past.

    >>> weeks_until("2026-12-19", "2026-12-05")
    Decimal('2.00')
    """
    days = (date.fromisoformat(day) - date.fromisoformat(today)).days
    return (Decimal(days) / 7).quantize(Decimal("0.01"))


def tried(data: Data) -> None:
    """Hold a receiver's rows against the plan's own rules.

    Raises:
        ValueError: with what was given and what to do.
    """
    today = date(2026, 1, 1).isoformat()
    for row in data["shipment"]:
        if "on" in row:
            check_day(str(row["on"]), "the day a parcel goes")
    whole, _ = dated(data, today)
    # A day that is past here may lie ahead where the plan is made: try the row all the same.
    rows = [{key: value for key, value in row.items() if key not in ("on", "week")}
            for row in data["shipment"]]  # fmt: skip
    studio = {"currency": "money", **data["studio"]}
    read_plan(write_toml({
        "studio": studio, "tier": data["tier"] or _TRIED["tier"],
        "shipment": rows or _TRIED["shipment"], "item": _TRIED["item"],
    }))  # fmt: skip
    if whole["shipment"]:
        read_plan(write_toml({"studio": studio, "tier": _TRIED["tier"],
                              "shipment": whole["shipment"], "item": _TRIED["item"]}))  # fmt: skip


# --- commands -------------------------------------------------------------------------------


def service_of(bench: BenchState, id: str = "") -> Service | None:
    """A receiver by its id; the newest where none is named; None where there is none."""
    if id:
        return bench.services.get(id)
    return next(reversed(bench.services.values()), None)


def set_service(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Name a receiver and say what holds for all its parcels: currency, what waiting costs, hours
    and money there are, for how many more to wait, and when its terms were last checked.

    Raises:
        Refusal: no name, no currency, or a number that cannot be.
    """
    old = bench.services.get(form.get("id", ""))
    data = _data(old)
    currency = form.get("currency", "").strip()
    if not currency:
        raise no(form, "currency", "Say in which money this is counted, in a word.")
    wait = _number(form, "wait_pct")
    numbers = {name: _number(form, name) for name in ("hours", "spend", "wait_for")}
    studio: Data = {"currency": currency}
    if wait is not None:
        studio["wait_rate_per_week"] = wait / 100
    studio |= {name: value for name, value in numbers.items() if value is not None}
    rates = _rates(form)
    if rates:
        studio["rates"] = rates
    held = Service(
        old.id if old else f"service-{bench.version + 1}", form.get("name", "").strip() or "-",
        "", typed=old.typed if old else {},
    )  # fmt: skip
    if not form.get("name", "").strip():
        raise no(form, "name", "Give the receiver a name of your own, such as: the service.")
    try:
        held = replace(held, checked_on=form.get("checked_on", "").strip(),
                       note=form.get("note", "").strip())  # fmt: skip
    except ValueError as error:
        raise no(form, "checked_on", _sentence(error)) from error
    return _keep(held, {**data, "studio": studio}, form, "currency")


def set_tier(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Add a tier, or change the one called ``was``.

    Raises:
        Refusal: as the plan would refuse it.
    """
    service = _service(bench, form)
    row: Data = {"name": form.get("name", "").strip()}
    row |= {name: value for name in TIER_NUMBERS if (value := _number(form, name)) is not None}
    if form.get("off") == "yes":
        row["off"] = True
    if "fee" not in row:
        raise no(form, "fee", "Give the tier's fee; 0 will do.")
    low, high = row.get("minimum", Decimal(1)), row.get("maximum")
    if high is not None and low > high:
        says = f"It takes {low} items at least and {high} at most, which cannot be; set one right."
        raise no(form, "minimum", says)
    return _row(service, "tier", row, form)


def set_parcel(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Add a parcel to come, or change the one called ``was``; ``when`` is a day or weeks from now.

    Raises:
        Refusal: as the plan would refuse it.
    """
    service = _service(bench, form)
    row: Data = {"name": form.get("name", "").strip()}
    when = form.get("when", "").strip()
    if when.count("-") == 2:
        row["on"] = when
    elif when:
        row["week"] = _number(form, "when")
    row |= {name: value for name in PARCEL_NUMBERS if (value := _number(form, name)) is not None}
    return _row(service, "shipment", row, form)


def drop_row(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Take a tier or a parcel to come away: ``kind`` and ``name``.

    Raises:
        Refusal: there is none.
    """
    service = _service(bench, form)
    kind, name = form.get("kind", ""), form.get("name", "")
    data = _data(service)
    rows = [row for row in data.get(kind, ()) if row.get("name") != name]
    if kind not in ("tier", "shipment") or len(rows) == len(data[kind]):
        raise no(form, "name", "There is no such row; it may have been taken away meanwhile.")
    return _keep(service, {**data, kind: rows}, form, "name")


def paste(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Take a whole text (TOML) of tiers and parcels in place of the rows; items in it are left out.

    Raises:
        Refusal: as the plan would refuse it.
    """
    service = _service(bench, form)
    try:
        data = read_service(form.get("text", ""))
    except ValueError as error:
        raise no(form, "text", _sentence(error)) from error
    studio = {**_data(service)["studio"], **data["studio"]}
    return _keep(service, {**data, "studio": studio}, form, "text")


def begin_example(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Lay out invented tiers and parcels, to see how it works; each must be replaced by one's own.

    Raises:
        Refusal: there are rows already.
    """
    service = _service(bench, form)
    data = _data(service)
    if data["tier"] or data["shipment"]:
        raise no(form, "name", "There are rows already; take them away before examples are laid.")
    return _keep(service, {**data, **EXAMPLE}, form, "name")


def type_item(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """What was typed about one ``item`` for its parcels: whether it goes, values, when it is ready.

    Raises:
        Refusal: a number that cannot be, or values that do not go up.
    """
    service = _service(bench, form)
    item = form.get("item", "").strip()
    if not item:
        raise no(form, "item", "The form did not say which item; open the page again.")
    row: dict[str, str] = {}
    for name in ITEM_NUMBERS:
        value = _number(form, name)
        if value is not None and not 0 <= value <= 10**9:
            raise no(form, name, f"This lies between 0 and 1000000000, got {value}.")
        row |= {} if value is None else {name: str(value)}
    goes = form.get("goes", "")
    if goes not in {key for key, _ in GOES}:
        raise no(form, "goes", f"There is no choice {goes!r}.")
    if goes:
        row["goes"] = goes
    ready = form.get("ready", "").strip()
    if ready.count("-") == 2:
        try:
            check_day(ready, "the day it is ready")
        except ValueError as error:
            raise no(form, "ready", _sentence(error)) from error
        row["ready"] = ready
    elif ready:
        row["ready"] = str(_number(form, "ready"))
    ends = [Decimal(row[name]) for name in ("low", "likely", "high") if name in row]
    if ends != sorted(ends):
        raise no(form, "low", "Low, likely and high go up; put the least, the likeliest, the most.")
    if len(ends) == 2 and "likely" not in row:
        raise no(form, "likely", "Give the likeliest value too; the ends alone say too little.")
    held = {key: value for key, value in service.typed.items() if key != item}
    service = replace(service, typed={**held, item: row} if row else held)
    return (Draft(STREAM, "service.kept", to_body(service)),)


def _row(service: Service, kind: str, row: Data, form: Form) -> tuple[Draft, ...]:
    data, was = _data(service), form.get("was", "")
    rows: list[Data] = list(data[kind])
    names = [one.get("name") for one in rows]
    if was in names:
        rows[names.index(was)] = row
    else:
        rows.append(row)
    return _keep(service, {**data, kind: rows}, form, "name")


def _keep(service: Service, data: Data, form: Form, field: str) -> tuple[Draft, ...]:
    try:
        tried(data)
    except ValueError as error:
        says = _sentence(error).replace("[[tier]]", "the tiers").replace(
            "[[shipment]]", "the parcels"
        ).replace("shipment", "parcel").replace("Shipment", "Parcel")  # fmt: skip
        raise no(form, next((n for n in _FIELDS if f": {n} " in says), field), says) from error
    text = write_toml({name: data[name] for name in ("studio", "tier", "shipment")})
    return (Draft(STREAM, "service.kept", to_body(replace(service, text=text))),)


_FIELDS = (*TIER_NUMBERS, *PARCEL_NUMBERS, *STUDIO_NUMBERS)


def _service(bench: BenchState, form: Form) -> Service:
    held = bench.services.get(form.get("service", ""))
    if held is None:
        raise no(form, "name", "Name the receiver first; it was not found.")
    return held


def _data(service: Service | None) -> Data:
    return read_service(service.text if service else "")


def _number(form: Form, name: str) -> Decimal | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        return typed.number(text)
    except typed.Unreadable as error:
        raise no(form, name, _sentence(error)) from error


def _rates(form: Form) -> dict[str, Decimal]:
    out = {}
    for line in form.get("rates", "").replace(";", "\n").splitlines():
        name, sign, value = line.partition("=")
        if not line.strip():
            continue
        try:
            if not sign or not name.strip():
                raise ValueError("write a rate as: other = 1.1")
            out[name.strip()] = typed.number(value)
        except ValueError as error:
            raise no(form, "rates", _sentence(error)) from error
    return out


def rows_of(service: Service, kind: str) -> Sequence[Data]:
    """Tiers or parcels of a receiver as typed."""
    rows: Sequence[Data] = _data(service)[kind]
    return rows


def studio_of(service: Service) -> Data:
    """What holds for all parcels of a receiver."""
    held: Data = _data(service)["studio"]
    return held


def _sentence(error: Exception | str) -> str:
    says = f"{error}".strip()
    return f"{says[:1].upper()}{says[1:]}" + ("" if says.endswith((".", "?", "!")) else ".")
