"""Questions before a step, each looked up in the record first and asked of a person where it is
silent; and the mould that keeps a sheet out of the chamber.

An answer is "yes" (it is so), "no" (not yet) or "none" (there is nothing of the kind); the newest
one for a sheet counts. The questions are common practice without a source, unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quirewell.record.benchwork import Check
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Step
from quirewell.stages.ink_gate import COLOUR_SEEN, has_surfactant
from quirewell.stages.objecting import (
    Objection,
    begun_on,
    instant,
    listed,
    sheets_of,
    speaks_for,
)
from quirewell.stages.places import read_places
from quirewell.stages.refusal import no
from quirewell.stages.step_table import StepKind

Form = Mapping[str, str]
MOULD = "mould-apart"
REPAIRS = ("tape", "earlier mend", "old repair", "label remains")


@dataclass(frozen=True, slots=True)
class Question:
    """One check: what is asked, before which steps, what each answer says, what to do, why."""

    key: str
    name: str
    asks: str
    before: Callable[[StepKind], bool]
    answers: Mapping[str, str]
    to_do: str
    why: str
    standing: str = "common practice, no source"


def _whole(kind: StepKind) -> bool:
    return kind.wets == "whole"


def _after_surfactant(kind: StepKind) -> bool:
    return kind.key in ("lime-bath", "size", "dry", "press")


_ROWS = (
    Question(
        "staples-out", "Staples out", "Are the staples out?", _whole,
        {"yes": "they are out", "no": "not yet", "none": "it has none"},
        "Lift the staples first, or record that they are out.",
        "Steel rusts in the bath and stains the fold.",
    ),
    Question(
        "dry-clean", "Dry cleaning done", "Is the dry cleaning done?", _whole,
        {"yes": "done", "no": "not yet", "none": "none needed"},
        "Clean it dry first, or say that it needs none.",
        "Water carries loose dirt into the paper, where it stays.",
    ),
    Question(
        MOULD, "Mould set apart", "Is any mould set apart?", _whole,
        {"yes": "it is set apart", "no": "not yet", "none": "none seen"},
        "Look at it in slanting light; set mouldy sheets apart, dry, in a closed bag, and say so.",
        "Damp wakes it, and it spreads to whatever lies beside it; its dust harms lungs.",
    ),
    Question(
        "repairs-mapped", "Tape and old repairs mapped", "Are tape and old repairs mapped?", _whole,
        {"yes": "all are noted", "no": "not yet", "none": "there are none"},
        "Note each tape and mend where it lies, or say that there are none.",
        "Their glue swells, stains or lets go in water, and paper under tape dries differently.",
    ),
    Question(
        "keep-list", "Keep list made", "Is what must survive listed?", _whole,
        {"yes": "all is listed", "no": "not yet", "none": "nothing of the kind"},
        "Look for date stamps, pencil prices, names and signatures; list them, or say there are "
        "none.",
        "They are history and part of its worth, and many of them wash out.",
    ),
    Question(
        "carrier", "Carrier sheet", "Has each wet leaf a carrier sheet?", _whole,
        {"yes": "one under each leaf", "no": "not yet"},
        "Lay a spun polyester carrier under each leaf before it meets water.",
        "Wet pulp paper has almost no strength and tears under its own weight.",
    ),
    Question(
        "surfactant-rinsed", "Surfactant rinsed out", "Is the surfactant rinsed out?",
        _after_surfactant,
        {"yes": "rinsed in clear water", "no": "not yet", "none": "there was none"},
        "Rinse in clear water until it no longer foams, and say so.",
        "What stays of it draws damp and dirt and may take ink along later.",
    ),
)  # fmt: skip
QUESTIONS: Mapping[str, Question] = {row.key: row for row in _ROWS}


@dataclass(frozen=True, slots=True)
class Standing:
    """How a check stands for a sheet: ``state`` "well", "open" or "no"; ``from_record`` where a
    record answers it; ``says`` in words; ``check`` the answer's id, where a person gave one;
    ``refs`` the records it stands on, none where nothing was answered."""

    key: str
    state: str
    says: str
    from_record: bool = False
    check: str = ""
    refs: tuple[str, ...] = ()


def standing(state: ItemState, sheet: str, key: str) -> Standing:
    """How one check stands for one sheet: what the record shows first, then a person's answer."""
    answer = answer_for(state, sheet, key)
    if answer is not None and answer.answer == "no":
        return _answered(answer, "no", QUESTIONS[key].answers["no"])
    shown, on = _EVIDENCE[key](state, sheet)
    if shown:
        return Standing(key, "well", shown, from_record=True, refs=on)
    if answer is None:
        return Standing(key, "open", "not answered")
    if key == MOULD and answer.answer == "none" and (mould := _mould_on(state, sheet)):
        return _answered(answer, "open", "mould is noted here", *mould)
    if key == "surfactant-rinsed" and answer.answer == "none":
        return _answered(answer, "open", "the last wash had surfactant")
    return _answered(answer, "well", QUESTIONS[key].answers[answer.answer])


def _answered(answer: Check, state: str, says: str, *more: str) -> Standing:
    return Standing(answer.key, state, says, check=answer.id, refs=(answer.id, *more))


def answer_for(state: ItemState, sheet: str, key: str) -> Check | None:
    """The newest answer that speaks for a sheet."""
    mine = [
        check for check in state.checks.values()
        if check.key == key and any(speaks_for(place, sheet) for place in check.places)
    ]  # fmt: skip
    if key == "surfactant-rinsed":
        mine = [check for check in mine if _since_surfactant(state, sheet, check)]
    return max(mine, key=lambda check: state.touched.get(check.id, 0), default=None)


# What the record shows of a check, and the records that show it; "" where it is silent.
_Shows = tuple[str, tuple[str, ...]]
_SILENT: _Shows = ("", ())


def _staples(state: ItemState, sheet: str) -> _Shows:
    if state.gathering is not None and state.gathering.staples == 0:
        return "it has no staples", ("gathering",)
    moved = [
        step for step in state.steps.values()
        if (step.kind, step.state) == ("staples-out", "done")
        or (step.kind == "staples-in" and step.state != "planned")
    ]  # fmt: skip
    if not moved or moved[-1].kind != "staples-out":
        return _SILENT
    return "lifted, by the record of steps", (moved[-1].id,)


def _cleaned(state: ItemState, sheet: str) -> _Shows:
    done = [
        step.id for step, _ in begun_on(state, sheet)
        if step.kind == "surface-clean" and step.state == "done"
    ]  # fmt: skip
    return ("cleaned, by the record of steps", tuple(done)) if done else _SILENT


def _asked(state: ItemState, sheet: str) -> _Shows:
    """No record answers this one: a person does."""
    return _SILENT


def _mapped(state: ItemState, sheet: str) -> _Shows:
    noted = [
        defect for defect in state.defects.values()
        if defect.place != "item" and speaks_for(defect.place, sheet) and is_repair(defect.term)
    ]  # fmt: skip
    if not noted:
        return _SILENT
    terms = dict.fromkeys(defect.term for defect in noted)
    return f"noted here: {', '.join(terms)}", tuple(defect.id for defect in noted)


def _kept(state: ItemState, sheet: str) -> _Shows:
    mine = [keep for keep in state.keeps.values() if speaks_for(keep.place, sheet)]
    if not mine:
        return _SILENT
    return f"listed here: {', '.join(one.what for one in mine)}", tuple(one.id for one in mine)


def _rinsed(state: ItemState, sheet: str) -> _Shows:
    last = _last_wash(state, sheet)
    if last is None or not _with_surfactant(last):
        return "no surfactant in its last water", () if last is None else (last.id,)
    return _SILENT


_EVIDENCE: Mapping[str, Callable[[ItemState, str], _Shows]] = {
    "staples-out": _staples, "dry-clean": _cleaned, MOULD: _asked,
    "repairs-mapped": _mapped, "keep-list": _kept, "carrier": _asked,
    "surfactant-rinsed": _rinsed,
}  # fmt: skip


def is_repair(term: str) -> bool:
    """Whether a damage term is tape or an old repair."""
    return any(word in term.lower() for word in REPAIRS)


def _mould_on(state: ItemState, sheet: str) -> list[str]:
    return [
        defect.id for defect in state.defects.values()
        if "mould" in defect.term.lower()
        and "dead" not in defect.term.lower()
        and speaks_for(defect.place, sheet)
    ]  # fmt: skip


def mouldy(state: ItemState, sheets: Sequence[str]) -> tuple[str, ...]:
    """Sheets on which mould is noted, or said not to be set apart yet."""
    found = []
    for sheet in sheets:
        answer = answer_for(state, sheet, MOULD)
        if _mould_on(state, sheet) or (answer is not None and answer.answer == "no"):
            found.append(sheet)
    return tuple(found)


def _last_wash(state: ItemState, sheet: str) -> Step | None:
    washes = [step for step, _ in begun_on(state, sheet) if step.kind == "wash"]
    return washes[-1] if washes else None


def _with_surfactant(step: Step) -> bool:
    return has_surfactant(f"{step.way} {' '.join(lot.material for lot in step.lots)}")


def _since_surfactant(state: ItemState, sheet: str, check: Check) -> bool:
    """Whether an answer was given after the wash with surfactant began, as far as times say."""
    last = _last_wash(state, sheet)
    if last is None:
        return True
    at, begun = instant(check.at), instant(last.started_at)
    return at >= begun if at is not None and begun is not None else True


def check_objections(
    state: ItemState, kind: StepKind, places: Sequence[str]
) -> tuple[Objection, ...]:
    """What the checks leave open before a step: one objection to a check, naming its sheets."""
    sheets = sheets_of(state, places)
    out = [*_mould_objections(state, kind, sheets)]
    for question in QUESTIONS.values():
        if not question.before(kind):
            continue
        stands = {sheet: standing(state, sheet, question.key) for sheet in sheets}
        silent = [sheet for sheet in sheets if stands[sheet].state == "open"]
        undone = [sheet for sheet in sheets if stands[sheet].state == "no"]
        if not silent and not undone:
            continue
        said = [f"not answered for {listed(silent)}"] if silent else []
        said += [f"answered 'not yet' for {listed(undone)}"] if undone else []
        out.append(
            Objection(
                question.key,
                f"{question.asks} It is {' and '.join(said)}. {question.why} {question.to_do}",
            )
        )
    return tuple(out)


def _mould_objections(
    state: ItemState, kind: StepKind, sheets: Sequence[str]
) -> tuple[Objection, ...]:
    """Mouldy paper never goes into the chamber, nor beside other sheets in one tray or pile."""
    found = mouldy(state, sheets)
    if not found or not kind.wets_paper:
        return ()
    if kind.wets == "vapour":
        says = (
            f"Mould is noted on {listed(found)}: it never goes into the chamber, where it grows "
            "and spreads to every sheet and item in there. Keep it apart, closed and dry. What is "
            "only an old stain by the lens, dry for long, is noted as dead mould instead."
        )
        return (Objection("mould-chamber", says, never=True),)
    others = [sheet for sheet in sheets if sheet not in found]
    if others:
        says = (
            f"Mould is noted on {listed(found)}: not in one step with {listed(others)}, nor with "
            "sheets of other items. Treat it by itself, last, and clean the tray after it."
        )
        return (Objection(MOULD, says),)
    return ()


def answer_check(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Answer a check (``key``, ``answer``) for sheets (``places``; the whole item unless said).

    Raises:
        Refusal: no such check, an answer it does not have, a place or picture not of this item.
    """
    key, answer = form.get("key", "").strip(), form.get("answer", "").strip()
    if key not in QUESTIONS:
        known = ", ".join(QUESTIONS)
        raise no(form, "key", f"There is no check {key[:40]!r}; there are {known}.")
    if answer not in QUESTIONS[key].answers:
        known = ", ".join(QUESTIONS[key].answers)
        raise no(form, "answer", f"Answer {known}; got {answer[:40] or 'nothing'}.")
    return (_check(state, form, key, answer, form.get("note", "").strip()[:500]),)


def add_colour(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Add a colour or stamp (``colour``) that is to be tested on ``places``.

    Raises:
        Refusal: no colour named, or a place or picture not of this item.
    """
    colour = " ".join(form.get("colour", "").split())[:60]
    if not colour:
        raise no(form, "colour", "Say which colour or stamp, as in: red, or violet stamp.")
    return (_check(state, form, COLOUR_SEEN, "yes", colour),)


def _check(state: ItemState, form: Form, key: str, answer: str, note: str) -> Draft:
    places = read_places(state, form, otherwise="item")
    capture = form.get("capture", "")
    if capture and capture not in state.captures:
        raise no(form, "capture", "That picture is not in this item; choose another or none.")
    said: Any = answer
    check = Check(
        f"check-{state.version + 1}-{key}", key, said, places, form.get("at", ""), note, capture
    )
    return Draft(state.id, "check.answered", to_body(check))
