"""Profit and loss beside a value: what was typed about cost, time and fees, as findings."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.science.planning.money import ROUNDING, Spent, account, break_even
from quirewell.science.planning.worth import Worth
from quirewell.stages.typed import Unreadable, number

ACCOUNT = ("cost", "materials", "hours", "hourly", "fee", "fee_pct", "sold_for")


def account_findings(params: Mapping[str, str], found: Worth, unit: str) -> list[Finding]:
    """The account at the price it sold for, or else at the mean; none where no cost was given.

    Raises:
        ValueError: in a sentence.
    """
    given = {name: params.get(name, "").strip() for name in ACCOUNT}
    if not any(given.values()):
        return []
    if not given["cost"]:
        raise ValueError("an account needs what was paid for it (cost); 0 where nothing was")
    typed = {name: _decimal(name, text) for name, text in given.items() if text}
    spent = Spent(
        typed["cost"], typed.get("materials", Decimal(0)), typed.get("hours", Decimal(0)),
        typed.get("hourly", Decimal(0)),
    )  # fmt: skip
    fee, share = typed.get("fee", Decimal(0)), typed.get("fee_pct", Decimal(0)) / 100
    sold = typed.get("sold_for")
    if sold is None and found.mean is None:
        raise ValueError(
            "an account needs a price, and the sales are too few for a mean; say what it sold for"
        )
    price = sold if sold is not None else Decimal(repr(found.mean))
    made = account(price, spent, fee, share)
    low, high = None, None
    if sold is None and found.band is not None and found.band.level == 0.9:
        low, high = (
            float(account(Decimal(repr(end)), spent, fee, share).profit)
            for end in (found.band.low, found.band.high)
        )
    money = unit or "1"
    note = "at what it sold for" if sold is not None else "at the mean; ends at the interval's"
    out = [
        Finding("", "worth.account_line", name, float(amount), 0.0 if sold is not None else None,
                money, f"{amount}")
        for name, amount in made.lines
    ]  # fmt: skip
    u = 0.0 if sold is not None else None
    out += [
        Finding("", "worth.profit", "item", float(made.profit), u, money, f"{made.profit}", low,
                high, note=note),
        Finding("", "worth.profit_before_time", "item", float(made.before_time), u, money,
                f"{made.before_time}", note=note),
        Finding("", "worth.break_even", "item", float(break_even(spent, fee, share)), 0.0, money,
                f"{break_even(spent, fee, share)}", note="least price without a loss"),
    ]  # fmt: skip
    if made.per_hour is not None:
        out.append(Finding("", "worth.per_hour", "item", float(made.per_hour), u, money,
                           f"{made.per_hour}", note="what an hour of own time earns"))  # fmt: skip
    return out


def _decimal(name: str, text: str) -> Decimal:
    try:
        return number(text)
    except Unreadable as error:
        raise ValueError(f"{name}: {error}") from error


def account_json(run: Run) -> dict[str, Any] | None:
    """The account as JSON; amounts as exact decimal text beside the numbers."""
    by = {one.quantity.removeprefix("worth."): one for one in run.findings}
    if "profit" not in by:
        return None
    out: dict[str, Any] = {
        key: by[key].measured().as_json() | {"text": by[key].text, "says": by[key].note}
        for key in ("profit", "profit_before_time", "break_even", "per_hour")
        if key in by
    }
    out["lines"] = [
        {"name": one.subject, "amount": one.text}
        for one in run.findings
        if one.quantity == "worth.account_line"
    ]
    return out | {"rounding": ROUNDING}
