"""All items of a studio beside each other: what was weighed, what is best, what was taken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.books import Disclosures
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import unit_text
from quirewell.stages.disclosure import age_words, policy
from quirewell.stages.plain_table import TableError
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.weigh_entry import weighing_of
from quirewell.stages.weigh_view import gain_words
from quirewell.stages.weighed_told import share
from quirewell.studio.studio import STUDIO

SORTS = (
    ("gain", "gain of the best, most first"), ("loss", "chance of a loss, least first"),
    ("hours", "hours, fewest first"), ("title", "title"), ("open", "not decided first"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Decision:
    """One item's row; words are empty where nothing was weighed. ``kept`` are the numbers it is
    sorted by."""

    id: str
    title: str
    best: str
    gain: str
    loss: str
    hours: str
    chosen: str
    reason: str
    why: str
    kept: Mapping[str, Any]


def decision(state: ItemState) -> Decision:
    """An item's row."""
    found, taken = weighing_of(state), state.choices.get("choice")
    chosen, reason = ("", "") if taken is None else (taken.option, taken.reason)
    title = " ".join(part for part in (state.item.title, state.item.year) if part)
    if found is None:
        why = "Nothing is weighed yet." if taken is None else ""
        return Decision(state.id, title, "", "", "", "", chosen, reason, why, {})
    data = found[1]
    one = next(one for one in data["options"] if one["name"] == data["best"])
    gain, hours = one["net_gain"], one["hours"]
    money = data["aim"] != "permanence" and gain["value"] is not None
    unit = unit_text(data["unit"])
    said = loss = ""
    if money and one["kind"] == "leave":
        said, loss = "0", "none"
    elif money:
        said, loss = f"{gain_words(gain)} {unit}".strip(), share(one["chance_of_loss"])
    return Decision(
        state.id, title, one["name"], said, loss,
        "none" if not hours["value"] else f"{hours['low90']:.3g} to {hours['high90']:.3g}",
        chosen, reason, data["says"],
        {"gain": gain["value"] if money else None,
         "loss": one["chance_of_loss"] if money else None, "hours": hours["value"]},
    )  # fmt: skip


def decisions(states: Iterable[ItemState], by: str = "gain") -> tuple[Decision, ...]:
    """The rows of all items, sorted; what was not weighed stands last, or first by "open"."""
    rows = sorted((decision(one) for one in states), key=lambda row: row.title.casefold())
    if by == "open":
        return tuple(sorted(rows, key=lambda row: bool(row.chosen)))
    if by == "title" or by not in dict(SORTS):
        return tuple(rows)
    sign = -1 if by == "gain" else 1

    def key(row: Decision) -> tuple[bool, float]:
        value = row.kept.get(by)
        return (value is None, 0.0 if value is None else sign * value)

    return tuple(sorted(rows, key=key))


# --- what must be told ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PolicyView:
    """The table in force for the page: rows of (step, buyer, service, whose), the own rows as text,
    and how old it is."""

    rows: tuple[tuple[str, str, str, str], ...]
    own: str
    checked_on: str
    age: str


def policy_view(bench: BenchState, today: date | None = None) -> PolicyView:
    """What must be told, as the studio has it."""
    held = bench.disclosure()
    own, checked = ("", "") if held is None else (held.rows, held.checked_on)
    rows = tuple(
        (row.step, row.buyer, row.service, "yours" if row.own else "shipped")
        for row in policy(own).values()
    )
    return PolicyView(rows, own, checked, age_words(checked, today or datetime.now(UTC).date()))


def set_policy(bench: BenchState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Keep the practice's own rows of what must be told, and the day they were checked.

    Raises:
        Refusal: a row that cannot be read, or a day that is none or still to come.
    """
    rows = "\n".join(line.strip() for line in form.get("rows", "").splitlines() if line.strip())
    checked = form.get("checked_on", "").strip()
    try:
        policy(rows)
    except TableError as error:
        raise Refusal((Problem("rows", f"{error}."),), values=dict(form)) from error
    try:
        if checked and date.fromisoformat(checked) > datetime.now(UTC).date():
            raise Refusal(
                (Problem("checked_on", f"{checked} is still to come."),), values=dict(form)
            )
        made = Disclosures(f"told-{bench.version + 1}", rows, checked)
    except ValueError as error:
        says = f"A day is written as 2026-03-31, got {checked[:40]!r}."
        raise Refusal((Problem("checked_on", says),), values=dict(form)) from error
    return (Draft(STUDIO, "disclosures.set", to_body(made)),)
