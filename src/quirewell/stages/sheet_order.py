"""The order of the gathering, from what was said of its sheets while it was taken apart.

Checked by itself whenever something more is said, so that a missing or turned wrap is told while
the item still lies there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Gathering, ItemState
from quirewell.record.rejoining import SheetFound
from quirewell.stages.methods import run_method
from quirewell.stages.ordering import COLUMNS, LEFT_OUT, METHOD, RULE
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.taking_apart import note_sheets

SUBJECT = "item"


@dataclass(frozen=True, slots=True)
class OrderView:
    """The newest check in words; ``says`` is empty where none was made."""

    says: str
    flags: tuple[str, ...]
    run: Run | None


def note_and_check(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Keep the sheets as found, and check the order of all that were said.

    Raises:
        Refusal: as :func:`.taking_apart.note_sheets`, or two sheets said to lie in one place.
    """
    drafts = note_sheets(state, form)
    assert state.gathering is not None
    found = dict(state.found)
    for draft in drafts:
        one = from_body(SheetFound, draft.body)
        found[f"found.{one.place}"] = one
    params = check_params(state.gathering, found.values())
    if params is None:
        return drafts
    try:
        run = run_method(METHOD, SUBJECT, {}, (), params)
    except ValueError as error:
        raise Refusal((Problem("pages", f"{error}."),), values=dict(form)) from error
    if run.id in state.runs:
        return drafts
    return (*drafts, Draft(state.id, "run.recorded", to_body(run)))


def check_params(gathering: Gathering, found: Iterable[SheetFound]) -> dict[str, str] | None:
    """What the method is given; None where no page was said of any wrap. Wraps of which no page
    was said may be there, unless one was said not to be."""
    rows, seen = [",".join(COLUMNS)], 0
    for one in sorted(found, key=lambda held: held.place):
        if one.place == "c":
            continue
        wrap = one.place[0] == "w"
        if one.faced == "not there":
            seen += wrap
        elif one.pages:
            seen += wrap
            rows.append(_row(one))
    if len(rows) == 1:
        return None
    unseen = gathering.wraps - seen
    return {
        "wraps": str(gathering.wraps), "first_page": str(gathering.first_page),
        "unseen": str(max(0, unseen)), "pages": "\n".join(rows),
    }  # fmt: skip


def _row(one: SheetFound) -> str:
    pages = one.pages.split()
    if not one.is_leaf:
        return ",".join([one.place, str(one.position or int(one.place[1:])), *pages])
    after = "" if one.after is None else str(one.after)
    name = one.place if one.place[0] == "s" else f"{one.place} leaf"
    return ",".join([name, after, *pages, "-", "-"])


def order_view(state: ItemState) -> OrderView:
    """The newest check of the order."""
    run = state.newest_run(METHOD, SUBJECT)
    if run is None:
        return OrderView("", (), None)
    by_name = {one.quantity: one.text for one in run.findings}
    told = by_name.get("order.told", "")
    flags = tuple(
        f"{kind.capitalize()}: {says}."
        for kind, _, says in (line.partition(": ") for line in told.split("\n") if line)
    )
    more = tuple(line for line in run.warnings if line not in (RULE, LEFT_OUT))
    return OrderView(by_name["order.says"], (*flags, *more), run)
