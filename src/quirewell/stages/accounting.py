"""What an item cost and what is left of a price, to the cent: a registered method.

Parameters are text: ``costs`` (a table kind, amount, note), ``minutes`` of own work, ``hourly``,
``overhead_pct`` of the work, ``currency``; and where there is a price ``price``, ``fee``,
``fee_pct``, ``price_is`` (sold, asked or likely); about a likely one ``low`` and ``high``, between
which one sale falls with the chance ``level``.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from quirewell.record.finding import Finding
from quirewell.science.planning.money import ROUNDING, Spent, account, break_even, rounded
from quirewell.stages.methods import Outcome, method
from quirewell.stages.plain_table import read_rows
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import one_of, refuse_unknown

METHOD = "item.account"
_KNOWN = ("costs", "minutes", "hourly", "overhead_pct", "currency", "price", "price_is", "fee",
          "fee_pct", "low", "high", "level")  # fmt: skip
_COLUMNS = ("kind", "amount", "note")
PRICES = ("sold", "asked", "likely")
_AT = {"sold": "at what it sold for", "asked": "at the price asked",
       "likely": "at the mean of what it would bring"}  # fmt: skip


@method(METHOD, 1, "exact")
def keep_account(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """What an item cost, the least price without a loss, and the profit at a price."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    money = params.get("currency", "") or "1"
    spent = _spent(params)
    fee, share = _amount(params, "fee"), _amount(params, "fee_pct") / 100
    made = account(Decimal(0), spent)
    total = -made.profit

    def exact(quantity: str, value: Decimal, note: str = "", sure: bool = True) -> Finding:
        u = 0.0 if sure else None
        return Finding("", quantity, "item", float(value), u, money, f"{value:.2f}", note=note)

    out = [
        exact("account.spent", total, "own time counted" if spent.hours and spent.hourly else ""),
        exact("account.cash", -made.before_time, "own time not counted"),
    ]
    out.append(Finding("", "account.hours", "item", float(spent.hours), 0.0, "h"))
    if share < 1:
        least = break_even(spent, fee, share)
        out.append(exact("account.break_even", least, "least price without a loss"))
    if not params.get("price", "").strip():
        out += [_line(name, amount, money) for name, amount in made.lines[2:] if amount]
        return Outcome(tuple(out), (_rounding(),))
    price = _amount(params, "price")
    sort = one_of(params, "price_is", PRICES, "sold")
    at = account(price, spent, fee, share)
    sure = sort != "likely"
    out += [_line(name, amount, money) for name, amount in at.lines if amount]
    out += [
        exact("account.profit", at.profit, _AT[sort], sure),
        exact("account.before_time", at.before_time, "own time not counted", sure),
    ]
    ends = [end for end in ("low", "high") if params.get(end, "").strip()]
    if sort == "likely" and len(ends) == 2:
        note = f"one sale leaves between, with {100 * _amount(params, 'level'):.0f} %"
        for end in ends:
            profit = account(_amount(params, end), spent, fee, share).profit
            out.append(exact(f"account.profit_{end}", profit, note, sure))
    if at.per_hour is not None:
        out.append(exact("account.per_hour", at.per_hour, "what an hour of own time earned",
                         sure=sure))  # fmt: skip
    return Outcome(tuple(out), (_rounding(),))


def _rounding() -> str:
    return f"Every line is rounded to hundredths before it is added: {ROUNDING}."


def _line(name: str, amount: Decimal, money: str) -> Finding:
    return Finding("", "account.line", name, float(amount), 0.0, money, f"{amount:.2f}")


def _spent(params: Mapping[str, str]) -> Spent:
    bought, material = Decimal(0), Decimal(0)
    other: dict[str, Decimal] = {}
    if params.get("costs", "").strip():
        for line, row in read_rows(params["costs"], _COLUMNS, _COLUMNS[:2], "a table of costs"):
            try:
                amount = number(row["amount"])
            except Unreadable as error:
                raise ValueError(f"line {line}: {error}") from error
            if amount < 0:
                raise ValueError(f"line {line}: a cost is 0 or more, got {amount}")
            if row["kind"] == "bought":
                bought += amount
            elif row["kind"] == "material":
                material += amount
            else:
                other[row["kind"]] = other.get(row["kind"], Decimal(0)) + amount
    hours, hourly = _amount(params, "minutes") / 60, _amount(params, "hourly")
    overhead = rounded(hours * hourly * _amount(params, "overhead_pct") / 100)
    if overhead:
        other["overhead"] = overhead
    return Spent(bought, material, hours, hourly, tuple(other.items()))


def _amount(params: Mapping[str, str], name: str) -> Decimal:
    text = params.get(name, "").strip()
    try:
        value = number(text) if text else Decimal(0)
    except Unreadable as error:
        raise ValueError(f"{name}: {error}") from error
    if value < 0:
        raise ValueError(f"{name} is 0 or more, got {value}")
    return value
