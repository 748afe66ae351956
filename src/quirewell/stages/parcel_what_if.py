"""What if: a standing plan with one thing changed, worked out beside it and not kept.

The standing plan's own text is changed, so that the two plans differ in that and nothing else.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from quirewell.stages import typed
from quirewell.stages.parcel_service import write_toml
from quirewell.stages.refusal import no


def changed(
    params: Mapping[str, str], form: Mapping[str, str]
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Parameters of the plan that is asked about, and what was changed in words.

    ``tier`` with ``fee`` or ``off``; ``stay`` and ``go`` name an item; ``later`` weeks by which all
    parcels go later; ``wait_for`` how many more to wait for.

    Raises:
        Refusal: nothing was changed, or a number that cannot be.
    """
    data: dict[str, Any] = tomllib.loads(params["plan"], parse_float=Decimal)
    out = {name: text for name, text in params.items() if name != "found"}
    says: list[str] = []
    tier = form.get("tier", "")
    rows = [row for row in data["tier"] if row["name"] == tier]
    if tier and not rows:
        raise no(form, "tier", f"The plan has no tier {tier!r}.")
    fee = _number(form, "fee")
    if fee is not None:
        if not rows:
            raise no(form, "tier", "Say which tier's fee.")
        says.append(f"{tier} costs {fee} instead of {rows[0]['fee']}")
        rows[0]["fee"] = fee
    if form.get("off") == "yes":
        if not rows:
            raise no(form, "tier", "Say which tier is closed.")
        out["closed"] = _with(out, "closed", tier)
        says.append(f"{tier} is closed")
    for box, key, words in (("stay", "outside", "stays"), ("go", "inside", "must go")):
        if item := form.get(box, ""):
            out[key] = _with(out, key, item)
            says.append(f"{item} {words}")
    later = _number(form, "later")
    if later:
        for row in data["shipment"]:
            row["week"] = max(Decimal(0), Decimal(row.get("week", 0)) + later)
        says.append(f"every parcel goes {later} week{'' if later == 1 else 's'} later")
    more = _number(form, "wait_for")
    if more is not None and more != data["studio"].get("wait_for", 2):
        data["studio"]["wait_for"] = more
        says.append(f"waiting for {more} more")
    if not says:
        raise no(form, "tier", "Change one thing first: a fee, an item, the weeks, or how many.")
    return {**out, "plan": write_toml(data)}, tuple(says)


def beside(stands: Mapping[str, Any], asked: Mapping[str, Any]) -> dict[str, Any]:
    """The asked plan beside the standing one: what it gains more or less, and who moves."""
    was = {row["item"]: row for row in stands["assignments"]}
    now = {row["item"]: row for row in asked["assignments"]}
    moves = []
    for item in sorted(was.keys() | now.keys()):
        before, after = _place(was.get(item)), _place(now.get(item))
        if before != after:
            moves.append({"item": item, "before": before, "after": after})
    return {
        "more": round(asked["total_gain"]["value"] - stands["total_gain"]["value"], 2),
        "moves": moves,
    }


def _place(row: Mapping[str, Any] | None) -> str:
    if row is None:
        return "stays"
    return f"{row['parcel']}, {row['tier']}, {row['way']}"


def _with(params: Mapping[str, str], key: str, name: str) -> str:
    held = [line for line in params.get(key, "").split("\n") if line]
    return "\n".join([*held, name] if name not in held else held)


def _number(form: Mapping[str, str], name: str) -> Decimal | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        return typed.number(text)
    except typed.Unreadable as error:
        raise no(form, name, f"{error}.") from error
