"""A weighing as plain data: what command line, pages, parcels and papers read."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run

NO_MONEY: dict[str, Any] = {"value": None, "u": None, "low90": None, "high90": None}


def as_json(run: Run) -> dict[str, Any]:
    """A weighing as the command line's JSON. ``net_gain``, ``value_now`` and what hangs on them are
    null where no price is known."""
    by: dict[tuple[str, str], list[Finding]] = {}
    for one in run.findings:
        by.setdefault((one.quantity.removeprefix("options."), one.subject), []).append(one)
    item = {key: held[0] for (key, subject), held in by.items() if subject == "item"}
    prices = {one.subject: one.value for one in run.findings if one.quantity == "options.price_at"}
    now = item.get("value_now")
    unit = "1" if now is None else now.unit
    names = [one.subject for one in run.findings if one.quantity == "options.kind"]
    options = [_option(name, by, prices, now, unit) for name in names]
    best = item["best"].text
    return {
        "unit": unit,
        "aim": run.params.get("aim") or "gain",
        "grade_now": _number(item.get("grade_now")),
        "value_now": _number(now, unit),
        "prices_from": item["prices_from"].text,
        "options": options,
        "best": best,
        "says": item["says"].text,
        "sensitivity": [
            {"input": one.subject, "side": one.note, "at": one.value, "unit": one.unit,
             "says": one.text}
            for one in run.findings if one.quantity == "options.turns"
        ],
        "worth_knowing": [
            {"input": one.subject, "value": one.value, "unit": one.unit, "says": one.note}
            for one in run.findings if one.quantity == "options.worth_knowing"
        ],
        "narrows": item["narrows"].text if "narrows" in item else "",
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip


def _number(one: Finding | None, unit: str = "points") -> dict[str, Any]:
    return NO_MONEY | {"unit": unit} if one is None else one.measured().as_json()


def _option(
    name: str, by: dict[tuple[str, str], list[Finding]], prices: dict[str, float | None],
    now: Finding | None, unit: str,
) -> dict[str, Any]:  # fmt: skip
    def held(key: str) -> list[Finding]:
        return by.get((key, name), [])

    def first(key: str) -> Finding | None:
        return next(iter(held(key)), None)

    def words(key: str) -> list[str]:
        return [one.text for one in held(key)]

    loss, cost, hours = first("loss_chance"), held("cost")[0], held("hours")[0]
    buyer, service = words("tell_buyer"), words("tell_service")
    return {
        "name": name,
        "kind": words("kind")[0],
        "steps": words("steps")[0].split() if held("steps") else [],
        "grades": [{"grade": float(one.text), "chance": one.value, "value": prices.get(one.text)}
                   for one in held("chance")],
        "value_now": _number(now, unit),
        "net_gain": _number(first("net_gain"), unit),
        "lines": [{"name": one.text, "amount": one.value, "unit": one.unit}
                  for one in held("line")],
        "chance_of_loss": None if loss is None else loss.value,
        "chance_of_loss_error": None if loss is None else loss.u,
        "worst_fifth_mean": _number(first("worst_fifth"), unit),
        "hours": hours.measured().as_json(),
        "cost": cost.measured().as_json(),
        "factor": held("factor")[0].measured().as_json(),
        "mishap": held("mishap")[0].measured().as_json(),
        "life_ratio": None if first("life_ratio") is None else _number(first("life_ratio")),
        "wets": words("wets")[0],
        "cannot_be_undone": words("gone"),
        "risks_object": words("risk_object"),
        "risks_worker": words("risk_worker"),
        "must_tell": list(dict.fromkeys(buyer + service)),
        "tell_buyer": buyer,
        "tell_service": service,
        "flag": " ".join(words("flag")),
        "mind": " ".join(words("mind")),
    }  # fmt: skip
