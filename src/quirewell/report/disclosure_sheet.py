"""What was done to an item, for whoever receives it: a buyer or a grading service.

In general words. Names, prices and grades stay out of it; a receiver's own terms and rules are its
own, and the sheet says so.
"""

from __future__ import annotations

from typing import Any, Literal

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState, Step
from quirewell.report import paper_parts as parts
from quirewell.report.content import day
from quirewell.report.paper_parts import Part, part, words
from quirewell.report.short_form import PERMANENCE, cut
from quirewell.stages.disclosure import CHECK, Told, must_tell, policy
from quirewell.stages.plain_table import TableError
from quirewell.stages.results import PageResult, Shown, in_order, listed, page_results
from quirewell.stages.step_table import STEP_KINDS

To = Literal["buyer", "service"]
NOTHING_DONE = "No treatment step is recorded as done."
OWN_WORDS = (
    "These are general words. Whoever receives it has terms and rules of their own; nothing here "
    "is written in them, and nothing here is a grade or a promise of one."
)
PUT_BACK = "clean and put back"
_MOST_STEPS, _MOST_TOLD = 24, 20


def disclosure_parts(state: ItemState, bench: BenchState, to: To) -> list[Part]:
    """The parts of the sheet for a ``to``."""
    done = [step for step in state.steps.values() if step.state == "done"]
    done.sort(key=lambda one: (one.started_at or one.done_at, one.id))
    return [
        part("facts", "", rows=_facts(state)),
        *_told(done, bench),
        *_steps(done),
        *_staples(state),
        *_not_done(done),
        *parts.mishaps(state),
        *parts.remaining(state),
        *_sizes(state),
        *words("", OWN_WORDS, CHECK if to == "service" else "", kind="soft"),
        *parts.sign("Treated by"),
    ]


def _facts(state: ItemState) -> list[list[Any]]:
    made = state.gathering
    rows: list[list[Any]] = [
        ["Item", state.item.title], ["Year", state.item.year], ["Form", state.item.form],
    ]  # fmt: skip
    if made is not None:
        many = "one nested wrap" if made.wraps == 1 else f"{made.wraps} nested wraps"
        says = f"{many}{' and a cover' if made.cover else ', no cover'}"
        rows.append(["Made of", Shown(says, ("gathering",), "record:wraps", float(made.wraps))])
    return [*rows, ["Record", state.id]]


def _told(done: list[Step], bench: BenchState) -> list[Part]:
    """One sentence a kind of step: what the table says of it, where and with what."""
    title = "Told openly"
    try:
        rows = policy(parts.own_words(bench))
    except TableError:
        rows = policy()
    says = dict.fromkeys(
        told(rows[kind], [step for step in done if step.kind == kind])
        if kind in rows else " ".join(must_tell([kind], rows, "buyer"))
        for kind in dict.fromkeys(step.kind for step in done)
    )  # fmt: skip
    kept = [one for one in says if one]
    if not kept:
        return words(title, NOTHING_DONE if not done else "Nothing done to it needs telling.")
    return [part("list", title, words=kept[:_MOST_TOLD])]


def told(row: Told, steps: list[Step]) -> str:
    """What is told of steps of one kind; where a shipped row asks "which sheets" or "with what",
    the record answers."""
    if row.own or not row.buyer:
        return row.buyer
    stem, asked, rest = row.buyer.partition(":")
    if row.step == "staples-in":
        stem = "It was joined again"
    places = listed(in_order(place for step in steps for place in step.places))
    with_ = ", ".join(dict.fromkeys(lot.material for step in steps for lot in step.lots))
    tail = f";{rest.partition(';')[2]}" if ";" in rest else "."
    if not asked:
        return row.buyer
    said = f"{stem}: {places}{f', with {with_}' if with_ else ''}"
    return f"{said}{tail}"


def _steps(done: list[Step]) -> list[Part]:
    rows = []
    for step in done[:_MOST_STEPS]:
        kind = STEP_KINDS.get(step.kind)
        with_ = ", ".join(dict.fromkeys(lot.material for lot in step.lots))
        rows.append([
            day(step.started_at or step.done_at), kind.name if kind else step.kind,
            cut(listed(in_order(step.places))), cut(with_),
            kind.permanence if kind else "not known",
        ])  # fmt: skip
    head = ("Day", "Step", "Where", "With what", "Left behind")
    out = parts.table("Step by step", head, (1.7, 2, 2.6, 2.6, 1.5), rows)
    more = len(done) - _MOST_STEPS
    return [
        *out,
        *words("", f"The full record has {more} more." if more > 0 else "", kind="soft"),
        *words("", PERMANENCE if rows else "", kind="soft"),
    ]


def _staples(state: ItemState) -> list[Part]:
    held = state.staples.values()
    if not held:
        return []
    cares = {one.care for one in held}
    says = (
        "Not every staple in it now is its own." if cares & {"replace", "leave out"}
        else "Each staple noted when it was taken apart was to be put back." if cares == {PUT_BACK}
        else "What became of each staple is not recorded."
    )  # fmt: skip
    return words("Staples", Shown(says, tuple(one.id for one in held), "sentence"))


# Kinds of step whose absence a receiver asks about, in the words of a sentence.
_ASKED = (
    ("wash", "washing"), ("lime-bath", "deacidifying"), ("size", "sizing"),
    ("mend", "mending of tears"), ("fill", "filling of losses"), ("press", "pressing"),
)  # fmt: skip


def _not_done(done: list[Step]) -> list[Part]:
    kinds = {step.kind for step in done}
    absent = [name for key, name in _ASKED if key not in kinds]
    says = (
        "The record has no step that bleaches, adds colour, trims or takes material away for looks."
    )
    if absent:
        says += f" Nor does it have: {', '.join(absent)}."
    return words("Not recorded as done", f"{says} What was done before it came here is not known.")


def _sizes(state: ItemState) -> list[Part]:
    """The cover (or the first page measured at both moments), before and after."""
    both = [
        one for one in page_results(state)
        if one.at("before", "leaf.height_mm").text and one.at("after", "leaf.height_mm").text
    ]  # fmt: skip
    both.sort(key=lambda one: not one.place.startswith("c"))
    rows = [_size(one) for one in both[:2]]
    head = ("Page", "Width before", "after", "Height before", "after")
    return parts.table("Measured", head, (3, 2, 2, 2, 2), rows, (1, 2, 3, 4))


def _size(one: PageResult) -> list[Any]:
    return [one.name] + [
        one.at(moment, quantity)
        for quantity in ("leaf.width_mm", "leaf.height_mm") for moment in ("before", "after")
    ]  # fmt: skip
