"""The treat stage: steps, ink tests, readings and baths; commands in, drafts out.

Commands take the state and a form of plain text and return drafts, or raise
:class:`~quirewell.stages.refusal.Refusal`. They know no clock: a form may carry ``at``, the
caller's time. New records are named by the version they enter at. The view is in
:mod:`quirewell.stages.treat_view`, readings are taken in :mod:`quirewell.stages.reading_entry`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from quirewell.record import nouns
from quirewell.record.bench import BenchState
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Bath, Lot, Override, SpotTest, Step
from quirewell.science.bath.recipe import RecipeError
from quirewell.stages import typed
from quirewell.stages.bath_state import ledger_advanced
from quirewell.stages.bathing import METHOD
from quirewell.stages.by_course import by_course, with_course_step
from quirewell.stages.checks import answer_check
from quirewell.stages.gates import Objection, objections
from quirewell.stages.lots_used import with_picked
from quirewell.stages.methods import run_method
from quirewell.stages.places import read_places
from quirewell.stages.reading_entry import correct_reading, record_reading
from quirewell.stages.refusal import Problem, Refusal, no
from quirewell.stages.step_table import STEP_KINDS, StepKind
from quirewell.stages.treat_view import view
from quirewell.stages.treating_heat import with_total

__all__ = [
    "correct_reading", "correct_step", "finish_step", "mix_bath", "plan_step",
    "record_reading", "record_spot_test", "set_aside", "start_step", "undo", "undo_guard",
    "view",
]  # fmt: skip

ItemState = nouns.ItemState
Form = Mapping[str, str]
MOST_MINUTES = 14 * 24 * 60


def plan_step(state: ItemState, form: Form, bench: BenchState | None = None) -> tuple[Draft, ...]:
    """Plan a step: ``kind`` and ``places``; everything else may wait. ``recipe`` and
    ``recipe_step`` (or ``course_step``) name the course it follows, among those of ``bench``.

    Raises:
        Refusal: no such kind of step, or a place that is not on this item.
    """
    step = _new_step(state, form, bench)
    return (Draft(state.id, "step.planned", to_body(step)),)


def start_step(state: ItemState, form: Form, bench: BenchState | None = None) -> tuple[Draft, ...]:
    """Start a planned step (``id``), or one named by ``kind`` and ``places`` at once.

    What speaks against it is in :mod:`.gates`. ``override`` (a reason in words) allows it all the
    same and is recorded. ``carrier`` = "yes" answers that check for these sheets; ``shelf`` and
    ``used`` take a lot from the shelf of ``bench``.

    Raises:
        Refusal: with ``rule`` set where a reason would allow it.
    """
    known = form.get("id", "")
    if known:
        step = _edited(state, _found(state, form), form, bench)
    else:
        step = _new_step(state, form, bench)
    if known and state.steps[known].state != "planned":
        raise no(form, "id", f"This step is {_said(state.steps[known])}; it cannot start again.")
    step = with_picked(step, form, bench)
    heat = None if step.temperature_c is None else float(step.temperature_c)
    answered: tuple[Draft, ...] = ()
    if form.get("carrier", "") in ("yes", "on"):
        places = {"places": " ".join(step.places), "at": form.get("at", "")}
        answered = answer_check(state, {"key": "carrier", "answer": "yes", **places})
    against = tuple(
        one for one in objections(
            state, STEP_KINDS[step.kind], step.places, heat,
            step=step, bench=bench, at=form.get("at", ""),
        )
        if not (answered and one.rule == "carrier")
    )  # fmt: skip
    drafts = [*answered, *(_overrides(state, form, step, against) if against else [])]
    begun = replace(step, state="started", started_at=form.get("at", "") or step.started_at)
    return (*drafts, Draft(state.id, "step.started", to_body(begun)))


def finish_step(state: ItemState, form: Form, bench: BenchState | None = None) -> tuple[Draft, ...]:
    """Finish a started step, with minutes, temperature, materials and note as far as known.

    Where it was in a bath, that bath's ledger goes on by its sheets.

    Raises:
        Refusal: the step was not started, or a field cannot be read.
    """
    step = _found(state, form)
    if step.state != "started":
        says = f"This step is {_said(step)}; only a step under way can be finished."
        raise no(form, "id", says)
    done = replace(_edited(state, step, form, bench), state="done", done_at=form.get("at", ""))
    done = with_picked(done, form, bench)
    ledger = ledger_advanced(state, done)
    return (*with_total(state, done), *ledger, Draft(state.id, "step.done", to_body(done)))


def correct_step(
    state: ItemState, form: Form, bench: BenchState | None = None
) -> tuple[Draft, ...]:
    """Correct what a step says, as a new event; its kind and progress stay as they are.

    Raises:
        Refusal: another kind, or a field that cannot be read.
    """
    step = _found(state, form)
    if form.get("kind", step.kind) != step.kind:
        raise no(
            form, "kind",
            "The kind of a step is not corrected. Note here what was done, and record the other "
            "step beside it.",
        )  # fmt: skip
    corrected = replace(
        _edited(state, step, form, bench),
        started_at=form.get("started_at", step.started_at),
        done_at=form.get("done_at", step.done_at),
    )
    total = with_total(state, corrected) if corrected.state == "done" else ()
    return (*total, Draft(state.id, "step.corrected", to_body(corrected)))


def record_spot_test(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Record an ink test: ``place``, ``colour``, ``liquid``, ``result``.

    Raises:
        Refusal: a field missing or not among what is allowed.
    """
    problems = []
    if not form.get("colour", "").strip():
        problems.append(Problem("colour", "Say which colour or ink was tested, as in: red."))
    result = form.get("result", "").strip()
    if result not in ("no change", "slight", "bleeds"):
        says = f"A result is no change, slight or bleeds, got {result or 'nothing'}."
        problems.append(Problem("result", says))
    if problems:
        raise Refusal(tuple(problems), values=dict(form))
    known = form.get("id", "")
    if known and known not in state.spot_tests:
        raise no(form, "id", "This test was set aside meanwhile; record it anew.")
    test = SpotTest(
        known or f"test-{state.version + 1}",
        read_places(state, form, field="place", otherwise="item")[0],
        form["colour"].strip(),
        form.get("liquid", "").strip() or "water",
        result,  # type: ignore[arg-type]
        _minutes(form),
        _temperature(form),
        form.get("note", "").strip(),
        form.get("capture", ""),
    )
    if test.capture and test.capture not in state.captures:
        raise no(form, "capture", "That picture is not in this item; choose another or none.")
    return (Draft(state.id, "spot_test.made", to_body(test)),)


def mix_bath(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Record a lime-water bath and what it holds: ``strength``, ``temperature_c``, ``litres``.

    Optional: ``pickup_g_per_g`` (weighed) or ``leaf`` (blotted or drained), ``note``.

    Raises:
        Refusal: with a sentence for each field that cannot be.
    """
    params = {
        "strength": str(_read(form, "strength", "saturated", typed.strength)),
        "temperature_c": str(_read(form, "temperature_c", "20", typed.temperature_c)),
        "litres": str(_read(form, "litres", "1", typed.number)),
        "leaf": form.get("leaf", "").strip() or "blotted",
    }
    for name in ("pickup_g_per_g", "pickup_u_g_per_g", "temperature_u_c"):
        if form.get(name, "").strip():
            params[name] = str(_read(form, name, "", typed.number))
    bath_id = f"bath-{state.version + 1}"
    try:
        run = run_method(METHOD, bath_id, {}, params=params)
    except RecipeError as error:
        problems = tuple(Problem(*problem) for problem in error.problems)
        raise Refusal(problems, values=dict(form)) from error
    bath = Bath(
        bath_id, Decimal(params["strength"]), Decimal(params["temperature_c"]),
        Decimal(params["litres"]), run.id, form.get("note", "").strip(),
    )  # fmt: skip
    return (
        Draft(state.id, "run.recorded", to_body(run)),
        Draft(state.id, "bath.mixed", to_body(bath)),
    )


def set_aside(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Set a planned step, a test, a reading, a bath, an answered check, an entry of the keep list
    or a pilot aside by ``id``; the journal keeps it.

    Raises:
        Refusal: no such record, or a step that has wetted paper.
    """
    known = form.get("id", "")
    if known in state.steps and _has_wetted(state.steps[known]):
        raise no(form, "id", _wetted(state.steps[known]))
    collections = (
        state.steps, state.spot_tests, state.readings, state.baths, state.checks, state.keeps,
        state.pilots,
    )  # fmt: skip
    if not any(known in collection for collection in collections):
        raise no(form, "id", "There is no such record here; it may be set aside already.")
    retract = nouns.Retract(known, form.get("reason", "").strip())
    return (Draft(state.id, "record.retracted", to_body(retract)),)


def undo_guard(state: ItemState, event: Event) -> str:
    """Why an event may not be undone, in a sentence; empty when it may.

    Fits the ``guard`` of the studio's door: what wetted paper stays, and so does the reason
    for which it was wetted all the same.
    """
    if event.kind == "override.made":
        step = state.steps.get(str(event.body.get("step", "")))
        if step is not None and _has_wetted(step):
            return "A step that has wetted paper rests on this reason, so the reason stays."
    if event.kind not in ("step.started", "step.done"):
        return ""
    key = str(event.body.get("kind", ""))
    kind = STEP_KINDS.get(key)
    if kind is not None and not kind.wets_paper:
        return ""
    return _never_undone(kind.name if kind else key)


def undo(state: ItemState, event: Event, reason: str = "") -> tuple[Draft, ...]:
    """The counter-event to ``event`` of this item.

    Raises:
        Refusal: the event belongs to another item, or wetted paper.
    """
    if event.stream != state.id:
        raise Refusal((Problem("seq", "That entry of the journal belongs to another item."),))
    if says := undo_guard(state, event):
        raise Refusal((Problem("seq", says),))
    return (Draft(state.id, "event.undone", to_body(nouns.Undo(event.seq, reason.strip()))),)


def _never_undone(name: str) -> str:
    return (
        f"{name}: this step has wetted paper, and the record cannot make it dry. Correct what "
        "the step says instead; the correction and the first entry are both kept."
    )


def _wetted(step: Step) -> str:
    return _never_undone(STEP_KINDS[step.kind].name if step.kind in STEP_KINDS else step.kind)


def _has_wetted(step: Step) -> bool:
    kind = STEP_KINDS.get(step.kind)
    return step.state != "planned" and (kind is None or kind.wets_paper)


def _new_step(state: ItemState, form: Form, bench: BenchState | None) -> Step:
    form = with_course_step(form, bench)
    kind = _kind(form)
    places = read_places(state, form, otherwise="item")
    return _edited(state, Step(f"step-{state.version + 1}", kind.key, places), form, bench)


def _kind(form: Form) -> StepKind:
    key = form.get("kind", "").strip()
    if key not in STEP_KINDS:
        raise no(
            form, "kind",
            f"There is no kind of step {key!r}; choose one of {', '.join(STEP_KINDS)}."
            if key else "Choose what is to be done.",
        )  # fmt: skip
    return STEP_KINDS[key]


def _found(state: ItemState, form: Form) -> Step:
    known = form.get("id", "")
    if known not in state.steps:
        raise no(form, "id", "There is no such step; it may have been set aside meanwhile.")
    return state.steps[known]


def _edited(state: ItemState, step: Step, form: Form, bench: BenchState | None = None) -> Step:
    """The step with every field the form carries; fields it does not carry stay."""
    changes: dict[str, object] = {}
    for name in ("who", "note"):
        if name in form:
            changes[name] = form[name].strip()
    if form.get("places", "").strip():
        changes["places"] = read_places(state, form)
    if "way" in form:
        changes["way"] = _way(form, step)
    if "minutes" in form:
        changes["minutes"] = _minutes(form)
    if form.get("planned", "").strip():
        changes["planned_minutes"] = _minutes(form, "planned")
    if "temperature_c" in form or "temperature" in form:
        changes["temperature_c"] = _temperature(form)
    if "lots" in form:
        changes["lots"] = read_lots(form["lots"])
    if "bath" in form:
        changes["bath"] = _bath(state, form)
    changes |= by_course(step, form, bench)
    return replace(step, **changes)  # type: ignore[arg-type]


def _way(form: Form, step: Step) -> str:
    """The variant chosen; "" for none, refused where this kind of step has no such variant."""
    way = form["way"].strip()
    known = STEP_KINDS[step.kind].ways if step.kind in STEP_KINDS else ()
    if way and way not in known:
        name = STEP_KINDS[step.kind].name if step.kind in STEP_KINDS else step.kind
        raise no(
            form, "way",
            f"{name}: there is no way {way!r}; "
            + (f"choose one of: {'; '.join(known)}." if known else "leave it empty."),
        )  # fmt: skip
    return way


def _bath(state: ItemState, form: Form) -> str:
    known = form["bath"].strip()
    if known and known not in state.baths:
        raise no(form, "bath", "There is no such bath here; mix it first, or leave this empty.")
    return known


def read_lots(text: str) -> tuple[Lot, ...]:
    """Materials, one a line: "kozo tissue 5 g/m2; lot A12; two strips" (lot, amount optional).

    >>> read_lots("kozo tissue; A12; two strips")
    (Lot(material='kozo tissue', lot='A12', amount='two strips'),)
    """
    lots = []
    for line in text.splitlines():
        parts = [part.strip() for part in line.split(";")]
        if parts[0]:
            lot, amount = [*parts[1:], "", ""][:2]
            lots.append(Lot(parts[0], lot.removeprefix("lot ").strip(), amount))
    return tuple(lots)


def _overrides(
    state: ItemState, form: Form, step: Step, against: tuple[Objection, ...]
) -> list[Draft]:
    never = tuple(Problem("places", one.says) for one in against if one.never)
    if never:
        raise Refusal(never, values=dict(form))
    rules = list(dict.fromkeys(objection.rule for objection in against))
    given = form.get("override", "").strip()
    if not given and not all(form.get(f"override.{rule}", "").strip() for rule in rules):
        problems = tuple(Problem("override", objection.says) for objection in against)
        raise Refusal(problems, rule=rules[0], values=dict(form))
    drafts = []
    for number, rule in enumerate(rules, start=1):
        # A rule may be given a reason of its own.
        reason = form.get(f"override.{rule}", "").strip() or given
        try:
            override = Override(f"override-{state.version + 1}-{number}", rule, reason, step.id)
        except ValueError as error:
            says = f"{str(error)[:1].upper()}{str(error)[1:]}."
            raise Refusal((Problem("override", says),), rule=rule, values=dict(form)) from error
        drafts.append(Draft(state.id, "override.made", to_body(override)))
    return drafts


def _minutes(form: Form, field: str = "minutes") -> Decimal | None:
    text = form.get(field, "").strip()
    if not text:
        return None
    try:
        minutes = typed.minutes(text)
    except typed.Unreadable as error:
        raise no(form, field, f"{error}.") from error
    if not 0 <= minutes <= MOST_MINUTES:
        says = f"Minutes must be between 0 and {MOST_MINUTES} (two weeks), got {minutes}."
        raise no(form, field, says)
    return minutes


def _temperature(form: Form) -> Decimal | None:
    field = "temperature_c" if form.get("temperature_c", "").strip() else "temperature"
    text = form.get(field, "").strip()
    if not text:
        return None
    try:
        celsius = typed.temperature_c(text)
    except typed.Unreadable as error:
        raise no(form, field, f"{error}.") from error
    if not -10 <= celsius <= 150:
        raise no(
            form,
            field,
            f"A temperature at the bench lies between -10 and 150 °C, got {celsius} °C.",
        )
    return celsius


def _read(form: Form, field: str, otherwise: str, parse: typed.Parser) -> Decimal:
    text = form.get(field, "").strip() or otherwise
    try:
        return parse(text)
    except typed.Unreadable as error:
        raise no(form, field, f"{error}.") from error


def _said(step: Step) -> str:
    return {"planned": "only planned", "started": "under way", "done": "done"}[step.state]
