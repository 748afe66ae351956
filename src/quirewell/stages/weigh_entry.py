"""Commands of a weighing: work it out (own options kept with it), and take an option."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quirewell.record.codec import to_body
from quirewell.record.dealing import Choice, Options
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages.options_table import options, with_row
from quirewell.stages.plain_table import TableError
from quirewell.stages.refusal import Problem, Refusal, no
from quirewell.stages.sale_entry import day_text
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.typed import Unreadable
from quirewell.stages.weighed_json import as_json
from quirewell.stages.working import newest, work_out
from quirewell.stages.working_rows import WORKINGS

KEY = "weigh"
MOST_WORDS = 1000
# Words a refusal begins with or holds, and the box it is about; the first that fits.
_ABOUT = (
    ("a table of options", "options"), ("is there twice", "options"), ("a table of sales", "sales"),
    ("set it right", "sales"), ("currency is", "currency"),
    ("low, likely and high", "likely"), ("value_now", "value_now"), ("value_u", "value_u"),
    ("prices", "prices"), ("per_grade_pct", "per_grade_pct"), ("spread_log", "spread_log"),
    ("life", "life"), ("hour:", "hour"), ("hour is", "hour"), ("grade:", "grade"),
    ("grade is", "grade"), ("option", "options"), ("works_pct", "options"), ("hours", "options"),
    ("mishap", "options"), ("factor_pct", "options"), ("chances", "options"),
    ("materials", "options"), ("sent is", "options"), ("kind is", "options"), ("sale", "sales"),
    ("price", "sales"), ("currenc", "rates"), ("must be told", "disclosures"),
    ("damage", "defects"), ("rule", "rules"), ("scale", "scale"),
)  # fmt: skip


def keep_weighing(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """Weigh the options of a form and keep the run; own rows and the aim are kept beside it.

    Raises:
        Refusal: with a sentence at the box, nothing typed lost.
    """
    try:
        run = work_out(state, KEY, form, {}, ())
    except Refusal as refusal:
        raise Refusal(
            tuple(Problem(_box(one), _named(one)) for one in refusal.problems), values=dict(form)
        ) from refusal
    text, aim = form.get("options", "").strip(), form.get("aim", "").strip()
    held = state.own_options.get("options") or Options("")
    made: Any = aim if aim in ("permanence", "both") else ""
    own = Options("\n".join(line.strip() for line in text.splitlines() if line.strip()), made)
    if (own.text, own.aim) == (held.text, held.aim):
        return run
    return (Draft(state.id, "options.set", to_body(own)), *run)


def _named(problem: Problem) -> str:
    """What was wrong, by the box's own label where it begins with a parameter's name."""
    first = problem.says.split(":")[0].split(" ")[0]
    label = next((box.label for box in WORKINGS[KEY].boxes if box.name == first), "")
    if not label:
        return problem.says
    rest = problem.says[len(first) :]
    return f"{label}{rest}" if rest.startswith(":") else f"{label!r} {rest.strip()}"


def add_option(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Lay an option of one's own beside the others and weigh again: ``name``, the steps ticked
    (``step.press`` = yes), ``hours`` and ``materials`` as one, two or three numbers, ``factor_pct``
    what told treatment leaves of a price. One of the same name takes the older one's place.

    Raises:
        Refusal: no name, nothing weighed yet, or a number that cannot be.
    """
    run = newest(state, WORKINGS[KEY])
    name = " ".join(form.get("name", "").split())[:80]
    if run is None:
        raise no(form, "name", "Weigh the options first; then one of your own can join them.")
    if not name:
        raise no(form, "name", "Give the option a name, such as: press the cover only.")
    steps = [key for key in STEP_KINDS if form.get(f"step.{key}")]
    cells = {"option": name, "kind": "own", "steps": " ".join(steps)}
    cells |= {key: form.get(key, "").strip() for key in ("hours", "materials", "factor_pct")}
    try:
        text = with_row(run.params.get("options", ""), cells)
        options(text)
    except TableError as error:
        says = str(error).split(": ", 1)[-1]
        field = next((one for one in ("hours", "materials", "factor_pct") if one in says), "name")
        raise no(form, field, f"{says[:1].upper()}{says[1:]}.") from error
    return keep_weighing(state, {**run.params, "options": text})


def _box(problem: Problem) -> str:
    names = [box.name for box in WORKINGS[KEY].boxes]
    first = problem.says.split(":")[0].split(" ")[0]
    if first in names:
        return first
    return next((box for word, box in _ABOUT if word in problem.says), problem.field)


def choose_option(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Take an option of the newest weighing, with the reason.

    Raises:
        Refusal: no weighing, no such option, a reason that is missing where the option is flagged,
            or a day that is none.
    """
    run = newest(state, WORKINGS[KEY])
    if run is None:
        raise no(form, "option", "Weigh the options first; then one can be taken.")
    wanted, reason = form.get("option", "").strip(), form.get("reason", "").strip()
    rows = {one["name"]: one for one in as_json(run)["options"]}
    if wanted not in rows:
        raise no(form, "option", f"There is no option {wanted[:60]!r} in the newest weighing.")
    if len(reason) > MOST_WORDS:
        raise no(form, "reason", f"A reason has at most {MOST_WORDS} characters.")
    if rows[wanted]["flag"] and not reason:
        raise no(
            form, "reason",
            f"This option is flagged: {rows[wanted]['flag']} Say why it is taken all the same.",
        )  # fmt: skip
    day = form.get("consent_on", "").strip()
    try:
        day = day_text(day, "") if day else ""
    except Unreadable as error:
        raise no(form, "consent_on", f"The day of consent: {error}.") from error
    made = Choice(wanted, reason, run.id, form.get("consent_by", "").strip()[:200], day)
    return (Draft(state.id, "choice.made", to_body(made)),)


def weighing_of(state: ItemState) -> tuple[Run, dict[str, Any]] | None:
    """The newest weighing of an item as a run and as plain data; None where none was asked for."""
    run = newest(state, WORKINGS[KEY])
    return None if run is None else (run, as_json(run))
