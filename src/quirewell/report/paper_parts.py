"""The parts that papers for an item's owner are made of: plain data, drawn by their kind.

Kinds: words, lead, soft, facts, list, caution, table, photos, write, choose, sign, together
(``templates/paper.typ``). A number comes in as :class:`Shown` with the record or finding it stands
in.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.dealing import Custody
from quirewell.record.nouns import Capture, ItemState
from quirewell.report.content import day
from quirewell.report.treatment import item_photographs, view_words
from quirewell.report.went_wrong import moment
from quirewell.stages.custody import Owner
from quirewell.stages.damage_schedule import schedule
from quirewell.stages.naming import place_words
from quirewell.stages.owner_view import Deal
from quirewell.stages.results import Shown, listed
from quirewell.stages.step_table import PERMANENCE_WORDS, STEP_KINDS

Part = dict[str, Any]
MOST_PHOTOS = 6
MOST_DEFECTS = 14


def part(kind: str, title: str = "", **more: Any) -> Part:
    """One part of a paper."""
    return {"kind": kind, "title": title, **more}


def words(title: str, *says: Any, kind: str = "words") -> list[Part]:
    """A part of sentences; nothing where there are none."""
    kept = [one for one in says if one]
    return [part(kind, title, words=kept)] if kept else []


def table(
    title: str, head: Sequence[str], widths: Sequence[float], rows: Sequence[Sequence[Any]],
    right: Sequence[int] = (), foot: Sequence[Sequence[Any]] = (),
) -> list[Part]:  # fmt: skip
    """A table, columns ``right`` set to the right; nothing where there are no rows."""
    if not rows:
        return []
    return [
        part(
            "table", title, head=list(head), widths=[f"{one:g}" for one in widths],
            align=["right" if n in right else "left" for n in range(len(head))],
            rows=[list(row) for row in rows], foot=[list(row) for row in foot],
        )
    ]  # fmt: skip


def sign(*who: str) -> list[Part]:
    """Places to sign, side by side."""
    return [part("sign", "", words=[f"{one}: day, name, signature" for one in who])]


def for_owner(owner: Owner, label: str = "For") -> list[Part]:
    """Who it is for; a line to write on where nobody is named."""
    if not owner.name:
        return [part("write", "", words=[f"{label}: name and address"])]
    reach = ", ".join(line.strip() for line in owner.reach.splitlines() if line.strip())
    return [part("facts", "", rows=[[label, owner.name], ["Address", reach]])]


def the_item(state: ItemState) -> list[Part]:
    """What the item is, in a few rows."""
    item = state.item
    rows: list[list[Any]] = [
        ["Item", item.title],
        ["Year", item.year],
        ["Form", item.form],
        ["Record", state.id],
    ]
    return [part("facts", "", rows=rows)]


def deal_table(deal: Deal, ref: str, tax_pct: Any = None, last: str = "Sum") -> list[Part]:
    """Lines of a quote or an invoice with their sums."""
    foot: list[list[Any]] = []
    if tax_pct is not None:
        foot = [
            ["Sum", "", Shown(deal.net, (ref,), "sum")],
            [Shown(f"Tax, {tax_pct} %", (ref,), "tax_pct"), "", Shown(deal.tax, (ref,), "tax")],
        ]
    foot.append([last, "", Shown(deal.total, (ref,), "total")])
    rows = [
        [what, Shown(hours, (ref,), "hours"), Shown(amount, (ref,), "amount")]
        for what, hours, amount in deal.lines
    ]
    return table("", ("What", "Hours", "Amount"), (5, 1, 1.9), rows, (1, 2), foot)


def limits(held: Custody | None, more: int = 2) -> list[Part]:
    """The limits agreed, and lines to write more on."""
    title = "Limits agreed"
    kept = list(held.limits) if held else []
    if not kept:
        says = "None are written yet. From a limit on nothing is done before the owner was rung."
        return [*words(title, says, kind="soft"), part("write", "", words=[""] * (more + 1))]
    return [part("list", title, words=kept), part("write", "", words=[""] * more)]


def defects(state: ItemState) -> list[Part]:
    """What was found before treatment, a short schedule."""
    found = [one for one in schedule(state) if one.moment == "before"]
    rows = [
        [
            one.where, one.term, one.severity,
            Shown(one.said, (one.id,), "extent") if one.said else _short(one.extent, 80),
        ]
        for one in found[:MOST_DEFECTS]
    ]  # fmt: skip
    out = table("What was found", ("Where", "What", "How much", "Extent"), (3, 2.4, 1.5, 3), rows)
    if not rows:
        return words("What was found", "Nothing is noted yet.", kind="soft")
    more = len(found) - MOST_DEFECTS
    return out + words("", f"And {more} more in the record." if more > 0 else "", kind="soft")


def photographs(state: ItemState, moment: str) -> tuple[Capture, ...]:
    """Up to six pictures of an item at a moment: of the whole thing first, then its cover, then
    its sheets."""
    wanted = (moment,) if moment == "after" else (moment, None)
    views = [one for one in item_photographs(state) if one.moment in wanted]
    scans = [one for one in state.captures.values() if one.view == "scan" and one.moment in wanted]
    scans.sort(key=lambda one: (not one.place.startswith("c."), one.place or "~", one.id))
    return tuple([*views, *scans][:MOST_PHOTOS])


def picture_words(one: Capture) -> str:
    """What a picture shows, in words."""
    if one.view == "scan":
        return _capital(place_words(one.place)) if one.place else "Not assigned to a place yet"
    return view_words(one)


def done_steps(state: ItemState) -> list[Part]:
    """What was done, step by step, with what of it stays for good."""
    done = [one for one in state.steps.values() if one.state == "done"]
    done.sort(key=lambda one: (one.started_at or one.done_at, one.id))
    rows = []
    for step in done:
        kind = STEP_KINDS.get(step.kind)
        lots = ", ".join(dict.fromkeys(lot.material for lot in step.lots))
        stays = PERMANENCE_WORDS[kind.permanence] if kind else ""
        rows.append([
            day(step.started_at or step.done_at), kind.name if kind else step.kind,
            f"{listed(step.places)}{f'; {lots}' if lots else ''}", stays,
        ])  # fmt: skip
    head = ("Day", "Step", "Where, with what", "Can it be taken back?")
    if not rows:
        return words("What was done", "Nothing was done to it.")
    return table("What was done", head, (1.7, 2, 3.2, 3.2), rows)


def mishaps(state: ItemState) -> list[Part]:
    """What went wrong, told openly; nothing where nothing did."""
    rows = [
        [
            moment(one), _capital(place_words(one.place)), one.what,
            one.done_about,
        ]
        for one in state.mishaps.values()
    ]  # fmt: skip
    head = ("Day", "Where", "What", "What was done about it")
    return table("What went wrong", head, (1.5, 2, 3, 3), rows)


def remaining(state: ItemState) -> list[Part]:
    """What is still wrong."""
    rows = [[_capital(place_words(one.place)), one.words] for one in state.remaining.values()]
    after = [one for one in schedule(state) if one.moment == "after"]
    rows += [[one.where, " ".join((one.term, one.extent)).strip()] for one in after]
    if not rows:
        says = "Nothing was noted that remains; that is no promise that nothing does."
        return words("What remains", says, kind="soft")
    return table("What remains", ("Where", "What"), (1, 3), rows)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def replaced(content: Any, names: Sequence[str], by: str) -> Any:
    """Content with every one of some names replaced, capitals aside."""
    if isinstance(content, str):
        for name in names:
            content = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", by, content, flags=re.I)
        return content
    if isinstance(content, Shown):
        return replace(content, text=replaced(content.text, names, by))
    if isinstance(content, dict):
        return {key: replaced(one, names, by) for key, one in content.items()}
    if isinstance(content, list):
        return [replaced(one, names, by) for one in content]
    return content


def own_words(bench: BenchState) -> str:
    """The practice's own table of what must be told; empty where it has none."""
    own = bench.disclosure()
    return own.rows if own else ""
