"""What can be done from the bench page, each as a command of one item.

Built on the treat stage: its refusals, cautions and overrides hold here too. Every command reads
the newest record, so that an entry that comes late lands on what others saved meanwhile; what an
entry names by the entry that made it (``of``, for a step begun while the server was away) is looked
up. The moment an entry counts from comes in the form as ``at``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

from quirewell.record.bench import BenchState
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import ItemState, Step
from quirewell.stages import treat, typed
from quirewell.stages.emergencies import note_mishap
from quirewell.stages.entry_time import read_instant
from quirewell.stages.naming import place_words, places_words
from quirewell.stages.one_box import keep_reading, readings_words
from quirewell.stages.places import read_places
from quirewell.stages.refusal import no
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.treat import MOST_MINUTES

Form = Mapping[str, str]
Command = Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]
# A finish typed a little before its start is two clocks, not an error.
CLOCKS_S = 60.0
_NOTE = 4000


def plan(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Plan a step by hand: ``kind``, ``places`` and, where known, ``planned`` and ``most``."""
    return _with_course(treat.plan_step(state, form), form)


def start(state: ItemState, form: Form, bench: BenchState | None = None) -> tuple[Draft, ...]:
    """Begin a step: a planned one (``id``), or ``kind`` and ``places``, with its place in a plan
    (``task``), its course (``recipe``, ``recipe_step``) and its times (``planned``, ``most``).

    Raises:
        Refusal: with ``rule`` where a caution stands before it and no reason was given.
    """
    task = form.get("task", "")
    for step in state.steps.values():
        if task and step.task == task and step.state != "planned" and not form.get("id"):
            said = "done" if step.state == "done" else "under way"
            raise no(form, "task", f"{step_words(step)} is {said} already; none begins twice.")
    return _with_course(treat.start_step(state, form, bench), form)


def done(state: ItemState, form: Form, bench: BenchState | None = None) -> tuple[Draft, ...]:
    """End a step under way; its minutes are those between its two instants unless typed."""
    step = step_of(state, form)
    at = form.get("at", "")
    taken = dict(form, id=step.id)
    taken.pop("note", None)
    if step.state == "started" and step.started_at and at:
        seconds = (read_instant(at) - read_instant(step.started_at)).total_seconds()
        if seconds < -CLOCKS_S:
            raise no(
                form, "typed_at",
                f"{step_words(step)} was begun at {step.started_at[11:16]} UTC; it cannot be done "
                f"at {at[11:16]} UTC. Save it with the studio's time, or correct the step.",
            )  # fmt: skip
        taken["at"] = max(at, step.started_at)
        if not form.get("minutes", "").strip() and step.minutes is None:
            minutes = Decimal(max(0.0, seconds) / 60).quantize(Decimal(1), ROUND_HALF_UP)
            if minutes <= MOST_MINUTES:
                taken["minutes"] = str(minutes)
    drafts = treat.finish_step(state, taken, bench)
    words = form.get("note", "").strip()
    return _edit_last(drafts, lambda one: _noted(one, words)) if words else drafts


def reopen(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Say that a step marked done goes on: the done is corrected, the step stays begun."""
    step = step_of(state, form)
    if step.state != "done":
        raise no(form, "id", f"{step_words(step)} is not marked as done.")
    again = replace(step, state="started", done_at="", minutes=None)
    return (Draft(state.id, "step.corrected", to_body(again)),)


def more_time(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Give a step under way ``more`` minutes than planned, or than it has had by now."""
    step = step_of(state, form)
    if step.state != "started":
        raise no(form, "id", f"{step_words(step)} is not under way.")
    more = _minutes(form, "more")
    if more is None or more <= 0:
        raise no(form, "more", "Say how much longer, as 5 or 10 min.")
    base = step.planned_minutes
    if base is None:
        gone = 0.0
        if step.started_at and form.get("at"):
            gone = (read_instant(form["at"]) - read_instant(step.started_at)).total_seconds()
        base = Decimal(max(0.0, gone) / 60).quantize(Decimal(1), ROUND_HALF_UP)
    longer = replace(step, planned_minutes=base + more)
    return (Draft(state.id, "step.corrected", to_body(longer)),)


def note(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Write something down: on the step (``id`` or ``of``), else on the item's own notes."""
    words = form.get("words", "").strip()
    if not words:
        raise no(form, "words", "Write what there is to say.")
    if len(words) > _NOTE:
        raise no(form, "words", f"A note has at most {_NOTE} letters, got {len(words)}.")
    if form.get("id") or form.get("of"):
        step = step_of(state, form)
        return (Draft(state.id, "step.corrected", to_body(_noted(step, words))),)
    places = read_places(state, form, field="place", otherwise="item")
    where = "" if places == ("item",) else f"{places_words(places)}: "
    line = f"{form.get('at', '')[:16].replace('T', ' ')} UTC, {where}{words}".removeprefix(" UTC, ")
    notes = f"{state.item.notes}\n{line}".strip()
    return (Draft(state.id, "item.described", to_body(replace(state.item, notes=notes))),)


def correct(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Correct what a step says, with its times; ``record`` and ``touched`` guard the version."""
    return treat.correct_step(state, dict(form, id=step_of(state, form).id))


def commands(bench: BenchState | None = None) -> dict[str, Command]:
    """Every command by its name; ``bench`` is the shelf that a step's lots come from."""
    return {
        **COMMANDS,
        "start": lambda state, form: start(state, form, bench),
        "done": lambda state, form: done(state, form, bench),
    }


def wrong(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Note that something went wrong; ``picture`` names the entry that brought its picture."""
    taken = dict(form)
    entry = state.sent.get(taken.pop("picture", ""))
    if entry is not None and not taken.get("capture"):
        taken["capture"] = next((key for key in entry.record.split() if key in state.captures), "")
    return note_mishap(state, taken)


COMMANDS: Mapping[str, Command] = {
    "plan": plan,
    "start": start,
    "done": done,
    "not-done": reopen,
    "more-time": more_time,
    "note": note,
    "reading": keep_reading,
    "test": treat.record_spot_test,
    "correct": correct,
    "wrong": wrong,
    "aside": treat.set_aside,
}


def step_of(state: ItemState, form: Form) -> Step:
    """The step a form is about: by ``id``, or by the entry that began it (``of``).

    Raises:
        Refusal: no such step here, or its beginning is not saved.
    """
    known = form.get("id", "")
    of = form.get("of", "")
    if not known and of:
        entry = state.sent.get(of)
        if entry is None:
            raise no(
                form, "of",
                "The beginning of this step is not saved yet. Set that entry right first, then "
                "send this one.",
            )  # fmt: skip
        known = next((key for key in entry.record.split() if key in state.steps), "")
    if known not in state.steps:
        raise no(form, "id", "There is no such step; it may have been set aside meanwhile.")
    return state.steps[known]


def step_words(step: Step) -> str:
    """A step in words: "Washed, wraps 3 and 4"."""
    name = STEP_KINDS[step.kind].name if step.kind in STEP_KINDS else step.kind
    return f"{name}, {places_words(step.places)}"


def saved_words(command: str, drafts: Sequence[Draft | Event]) -> str:
    """What was saved, in words, from what did it."""
    kinds = {draft.kind for draft in drafts}
    if "reading.taken" in kinds:
        return readings_words(drafts)
    steps = [from_body(Step, one.body) for one in drafts if one.kind.startswith("step.")]
    if steps:
        return f"{DID.get(command, 'Saved')}: {step_words(steps[-1])}"
    if "spot_test.made" in kinds:
        return "An ink test"
    if "mishap.noted" in kinds:
        said = next(str(one.body["what"]) for one in drafts if one.kind == "mishap.noted")
        return f"Noted that it went wrong: {said}"
    if "item.described" in kinds:
        return "A note on the item"
    for draft in drafts:
        if draft.kind == "capture.added":
            return f"A picture of {place_words(str(draft.body.get('place', 'item')))}"
    return DID.get(command, "An entry")


DID = {
    "plan": "Planned", "start": "Begun", "done": "Done", "not-done": "Goes on",
    "more-time": "More time", "note": "A note", "correct": "Corrected", "aside": "Set aside",
    "undo": "Undone", "photo": "A picture",
}  # fmt: skip


def _with_course(drafts: tuple[Draft, ...], form: Form) -> tuple[Draft, ...]:
    changes: dict[str, object] = {
        name: form[name].strip()
        for name in ("task", "recipe", "recipe_step")
        if form.get(name, "").strip()
    }
    planned, most = _minutes(form, "planned"), _minutes(form, "most")
    if planned is not None:
        changes["planned_minutes"] = planned
    if most is not None:
        changes["most_minutes"] = most
    if planned is not None and most is not None and most < planned:
        raise no(
            form, "most",
            f"The longest ({most} min) is shorter than the time planned ({planned} min).",
        )  # fmt: skip
    return _edit_last(drafts, lambda step: replace(step, **changes))  # type: ignore[arg-type]


def _edit_last(drafts: tuple[Draft, ...], edit: Callable[[Step], Step]) -> tuple[Draft, ...]:
    last = drafts[-1]
    return (*drafts[:-1], replace(last, body=to_body(edit(from_body(Step, last.body)))))


def _noted(step: Step, words: str) -> Step:
    return replace(step, note=f"{step.note}\n{words}".strip())


def _minutes(form: Form, field: str) -> Decimal | None:
    text = form.get(field, "").strip()
    if not text:
        return None
    try:
        minutes = typed.minutes(text)
    except typed.Unreadable as error:
        raise no(form, field, f"{error}.") from error
    if not 0 < minutes <= MOST_MINUTES:
        says = f"Minutes must be above 0 and at most {MOST_MINUTES} (two weeks), got {minutes}."
        raise no(form, field, says)
    return minutes
