"""The whole item at a glance: progress stage by stage, and what there is on each sheet."""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record import nouns
from quirewell.record.bench import BenchState
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, Gathering, ItemState
from quirewell.stages.examine import (
    DefectView,
    defect_views,
    known_sheets,
    measurable,
    unmeasured,
)
from quirewell.stages.intake import wraps_from
from quirewell.stages.naming import STAGES, sheet_of, sheet_pages, sheet_words
from quirewell.stages.next_step import next_step
from quirewell.stages.noting import decimal_or_none
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.sending import progress_words

# How a stage begins that has nothing to show yet; a card leaves those out.
_NOTHING = ("no ", "nothing ", "not ")


@dataclass(frozen=True, slots=True)
class Progress:
    """One stage in a word or two: "12 pictures, 2 to assign"."""

    stage: str
    says: str


@dataclass(frozen=True, slots=True)
class CardView:
    """An item as a card of the studio's page."""

    id: str
    title: str
    year: str
    sha256: str
    says: str
    next: str = ""


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One sheet in the list beside the drawing."""

    sheet: str
    title: str
    pages: str
    says: str


@dataclass(frozen=True, slots=True)
class ItemView:
    """An item's own page."""

    id: str
    title: str
    year: str
    form: str
    owner: str
    notes: str
    paper: str
    gathering: Gathering | None
    sheets: tuple[SheetLine, ...]
    progress: tuple[Progress, ...]
    picture: str
    loose_defects: tuple[DefectView, ...]
    touched_item: int
    touched_gathering: int
    version: int


def card_view(state: ItemState, bench: BenchState | None = None) -> CardView:
    """One item for the studio's page: what there is of it, and what comes next."""
    there = [line.says for line in progress(state, bench) if not line.says.startswith(_NOTHING)]
    after = next_step(state, bench)
    return CardView(
        state.id, state.item.title, state.item.year, cover_picture(state), "; ".join(there),
        after.act if after else "",
    )  # fmt: skip


def item_view(state: ItemState, bench: BenchState | None = None) -> ItemView:
    """An item's page without its drawing."""
    item = state.item
    return ItemView(
        state.id,
        item.title,
        item.year,
        item.form,
        item.owner,
        item.notes,
        item.paper,
        state.gathering,
        sheet_lines(state),
        progress(state, bench),
        cover_picture(state),
        tuple(entry for entry in defect_views(state) if not sheet_of(entry.place)),
        state.touched.get("item", 0),
        state.touched.get("gathering", 0),
        state.version,
    )


def cover_picture(state: ItemState) -> str:
    """Hash of the picture that best stands for the item; empty when it has none."""

    def rank(capture: Capture) -> tuple[int, ...]:
        return (
            capture.view != "front",
            not capture.place.startswith("c.outer"),
            capture.panel != "right" and not capture.place.endswith(".right"),
            capture.moment != "before",
            not capture.place,
        )

    best = min(state.captures.values(), key=rank, default=None)
    return best.sha256 if best else ""


def sheet_lines(state: ItemState) -> tuple[SheetLine, ...]:
    """Every sheet with what there is on it, in words."""
    gathering = state.gathering
    return tuple(
        SheetLine(
            sheet,
            sheet_words(sheet),
            sheet_pages(sheet, gathering) if gathering and sheet in gathering.sheets() else "",
            _sheet_says(state, sheet),
        )
        for sheet in known_sheets(state)
    )


def _sheet_says(state: ItemState, sheet: str) -> str:
    captures = [entry for entry in state.captures.values() if sheet_of(entry.place) == sheet]
    defects = [entry for entry in state.defects.values() if sheet_of(entry.place) == sheet]
    words = [count_words(len(captures), "picture")]
    if defects:
        words.append(count_words(len(defects), "defect"))
    hand = [entry for entry in state.steps.values() if entry.state == "started"]
    if any(sheet in map(sheet_of, entry.places) for entry in hand):
        words.append("in hand now")
    return ", ".join(words)


def count_words(count: int, noun: str) -> str:
    """Count with its noun: "1 picture", "3 pictures", "no pictures"."""
    return f"{count or 'no'} {noun}{'' if count == 1 else 's'}"


def progress(state: ItemState, bench: BenchState | None = None) -> tuple[Progress, ...]:
    """The job's course, stage by stage; the ``bench`` knows of plans and parcels."""
    said = {
        "intake": _intake_says(state),
        "examine": _examine_says(state),
        "decide": _decide_says(state),
        "treat": _treat_says(state),
        "rejoin": _rejoin_says(state),
        "finish": _finish_says(state),
        "prove": _prove_says(state),
        "send": progress_words(state, bench),
    }
    return tuple(Progress(stage, said[stage]) for stage in STAGES)


def _intake_says(state: ItemState) -> str:
    loose = sum(not entry.place for entry in state.captures.values())
    says = count_words(len(state.captures), "picture")
    return f"{says}, {loose} to assign" if loose else says


def _examine_says(state: ItemState) -> str:
    scans = [entry for entry in state.captures.values() if measurable(entry)]
    if not scans:
        return count_words(len(state.defects), "defect") if state.defects else "nothing noted yet"
    done = len(scans) - len(unmeasured(state))
    return f"{done} of {len(scans)} scans measured"


def _decide_says(state: ItemState) -> str:
    planned = [run for run in state.runs.values() if run.subject == "plan"]
    return count_words(len(planned), "option") + " worked out" if planned else "nothing weighed yet"


def _finish_says(state: ItemState) -> str:
    planned = [run for run in state.runs.values() if run.subject == "finish"]
    return count_words(len(planned), "plan") if planned else "no pressing planned yet"


def _rejoin_says(state: ItemState) -> str:
    sheets = len(state.gathering.sheets()) if state.gathering else 0
    if state.joined:
        return f"{len(state.joined)} of {count_words(sheets, 'sheet')} laid"
    if state.holes:
        return f"holes of {count_words(len(state.holes), 'sheet')}"
    return (
        f"{count_words(len(state.found), 'sheet')} as found" if state.found else "nothing laid yet"
    )


def _treat_says(state: ItemState) -> str:
    if not state.steps:
        return "no steps yet"
    done = sum(entry.state == "done" for entry in state.steps.values())
    hand = sum(entry.state == "started" for entry in state.steps.values())
    says = f"{done} of {count_words(len(state.steps), 'step')} done"
    return f"{says}, {hand} in hand" if hand else says


def _prove_says(state: ItemState) -> str:
    pairs = {entry.subject for entry in state.runs.values() if entry.method == "pair.compare"}
    says = f"{count_words(len(pairs), 'pair')} compared"
    return f"{says}, report written" if state.reports else says


# --- commands -------------------------------------------------------------------------------


def open_item(item_id: str, form: dict[str, str]) -> tuple[Draft, ...]:
    """A new item: only the title is required; the gathering is described when wraps are given.

    Raises:
        Refusal: no title, or a count that cannot be.
    """
    drafts = [Draft(item_id, "item.opened", _item_body(form))]
    if form.get("wraps", "").strip() or form.get("pages", "").strip():
        drafts.append(Draft(item_id, "gathering.described", _gathering_body(form)))
    return tuple(drafts)


def describe_item(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """New words for an item.

    Raises:
        Refusal: no title.
    """
    return (Draft(state.id, "item.described", _item_body(form)),)


def describe_gathering(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """How the item is made.

    Raises:
        Refusal: a count that cannot be.
    """
    return (Draft(state.id, "gathering.described", _gathering_body(form)),)


# Signs a card, a page's head and a printed sheet have room for.
LONGEST = {"title": 200, "year": 60, "form": 200, "owner": 200}


def _item_body(form: dict[str, str]) -> dict[str, object]:
    long = tuple(
        Problem(name, f"The {name} has {len(form[name])} signs; {most} at most: put the rest into "
                "the notes.")
        for name, most in LONGEST.items() if len(form.get(name, "")) > most
    )  # fmt: skip
    if long:
        raise Refusal(long, values=form)
    if not form.get("title", "").strip():
        raise Refusal(
            (Problem("title", "Give the item a title; a working title will do."),), values=form
        )
    return _body(
        form,
        nouns.Item,
        "title",
        **{name: form.get(name, "") for name in ("title", "year", "form", "owner", "notes")},
        paper=form.get("paper") or "unknown",
    )


def _gathering_body(form: dict[str, str]) -> dict[str, object]:
    wraps = wraps_from(form)
    if wraps is None:
        raise Refusal(
            (Problem("wraps", "Say how many wraps (nested sheets) or interior pages it has."),),
            values=form,
        )
    size = {name: decimal_or_none(form, name) for name in ("height_mm", "width_mm")}
    return _body(
        form,
        nouns.Gathering,
        "wraps",
        wraps=wraps,
        cover=form.get("cover", "yes") != "no",
        staples=_count(form, "staples", 2),
        first_page=_count(form, "first_page", 1),
        **{name: None if value is None else float(value) for name, value in size.items()},
    )


def _count(form: dict[str, str], name: str, otherwise: int | None) -> int | None:
    number = decimal_or_none(form, name)
    if number is None:
        return otherwise
    if number != int(number):
        raise Refusal((Problem(name, f"This must be a whole number, got {number}."),), values=form)
    return int(number)


def _body(sent: dict[str, str], noun: type, field: str, **values: object) -> dict[str, object]:
    try:
        body = to_body(noun(**values))
        from_body(noun, body)
    except ValueError as error:
        raise Refusal((Problem(field, f"{error}."),), values=sent) from error
    return body
