"""Taking apart: each sheet as it was found, each staple as it sat and what becomes of it.

Commands and the view of the record that guides putting together again. Fields of the sheets' form
are named by sheet: ``pages.w03``, ``faced.w03``, ``position.w03``, ``note.w03``; those of a single
leaf ``pages.s01``, ``after.s01``, ``note.s01``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.record.rejoining import SheetFound, Staple
from quirewell.science.booklet.gathering import wrap_pages
from quirewell.stages.naming import sheet_words
from quirewell.stages.noting import decimal_or_none
from quirewell.stages.refusal import Problem, Refusal

FACINGS = ("", "as made", "inside out", "head down", "inside out and head down", "not there")
CROWNS = ("", "outside", "inside")
LEGS = ("", "folded inwards", "folded outwards", "straight", "broken")
RUST = ("", "none", "slight", "heavy")
CARE = ("", "clean and put back", "replace", "leave out")
_OF_LEAF = ("pages", "after", "note")
_MM = ("upper_mm", "lower_mm", "upper_leg_mm", "lower_leg_mm", "wire_mm")
# Common practice, no source.
STAPLE_CARE = (
    "Open the legs from inside, the fold supported; never pull a staple through paper.",
    "Rusty ends and the awl puncture: eyes and fingers first, and a tetanus shot that is in date.",
    "Rust goes on where paper stays damp: a staple goes back clean and dry, or not at all.",
    "A replaced staple is told to whoever owns or buys the item.",
)
NO_GATHERING = "Say first how the item is made (wraps, cover, staples): on its own page."


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A sheet of the form: as found, and the page numbers its place would have."""

    place: str
    name: str
    found: SheetFound
    expected: str
    looked: bool


@dataclass(frozen=True, slots=True)
class StapleRow:
    """A staple of the form: as recorded so far, with its words; ``id`` empty while it is not."""

    staple: Staple
    known: bool
    says: str
    touched: int


@dataclass(frozen=True, slots=True)
class TakingApart:
    """What the page shows of taking apart; ``leaves`` are the single ones, and an empty row."""

    sheets: tuple[SheetRow, ...]
    leaves: tuple[SheetRow, ...]
    staples: tuple[StapleRow, ...]
    looked: int
    disclosed: tuple[str, ...]


def printed_pages(state: ItemState, place: str) -> str:
    """What should be printed on a sheet in its place, as :class:`SheetFound` writes it; the
    cover's pages carry no number. Where the order was checked, as it runs with the single leaves
    that are counted."""
    gathering = state.gathering
    if place == "c" or gathering is None:
        return "- - - -"
    run = state.newest_run("order.check", "item")
    made = str(gathering.wraps), str(gathering.first_page)
    if run is not None and (run.params.get("wraps"), run.params.get("first_page")) == made:
        pairs = dict(word.split(":") for word in run.drawing["pairs"].split())
        return str(pairs[str(int(place[1:]))]).replace(",", " ")
    pages = wrap_pages(int(place[1:]), gathering.wraps)
    shift = gathering.first_page - 1
    return " ".join(
        str(page + shift)
        for page in (pages.outer_left, pages.outer_right, pages.inner_left, pages.inner_right)
    )


def view(state: ItemState) -> TakingApart:
    """The record of taking apart; empty without a gathering."""
    gathering = state.gathering
    if gathering is None:
        return TakingApart((), (), (), 0, ())
    sheets = []
    for position, place in enumerate(gathering.sheets(), 0 if gathering.cover else 1):
        held = state.found.get(f"found.{place}")
        sheets.append(
            SheetRow(
                place,
                sheet_words(place),
                held or SheetFound(place, position),
                printed_pages(state, place),
                held is not None,
            )
        )
    staples = []
    for number in range(1, gathering.staples + 1):
        held_one = next((one for one in state.staples.values() if one.number == number), None)
        shown = held_one or Staple(f"staple-{number}", number)
        staples.append(
            StapleRow(
                shown,
                held_one is not None,
                staple_words(shown) if held_one else "",
                state.touched.get(shown.id, 0),
            )
        )
    told = tuple(
        f"Staple {row.staple.number}: {row.staple.care}."
        for row in staples
        if row.staple.care in ("replace", "leave out")
    )
    looked = sum(row.looked for row in sheets)
    return TakingApart(tuple(sheets), _leaves(state), tuple(staples), looked, told)


def _leaves(state: ItemState) -> tuple[SheetRow, ...]:
    """Single leaves said so far, and the next one, empty."""
    rows = []
    for number in range(1, 10):
        place = f"s{number:02d}"
        held = state.found.get(f"found.{place}")
        rows.append(
            SheetRow(place, sheet_words(place), held or SheetFound(place), "", held is not None)
        )
        if held is None:
            break
    return tuple(rows)


def staple_words(staple: Staple) -> str:
    """A staple in a line: "legs at 60 and 73 mm, crown outside, legs folded inwards".

    >>> staple_words(Staple("staple-1", 1, Decimal("60"), Decimal("73"), crown="outside"))
    'legs at 60 and 73 mm, crown outside'
    """
    parts = []
    if staple.upper_mm is not None and staple.lower_mm is not None:
        parts.append(f"legs at {staple.upper_mm:f} and {staple.lower_mm:f} mm")
    lengths = [one for one in (staple.upper_leg_mm, staple.lower_leg_mm) if one is not None]
    if lengths:
        parts.append(f"legs {' and '.join(f'{one:f}' for one in lengths)} mm long")
    if staple.wire_mm is not None:
        parts.append(f"wire {staple.wire_mm:f} mm")
    if staple.crown:
        parts.append(f"crown {staple.crown}")
    if staple.legs:
        parts.append(f"legs {staple.legs}")
    if staple.rust:
        parts.append("no rust" if staple.rust == "none" else f"{staple.rust} rust")
    if staple.care:
        parts.append(staple.care)
    return ", ".join(parts) or "recorded"


def note_sheets(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Keep the sheets as found: those whose line says something new. ``as_made``: every sheet
    without a line of its own lay as made, in its place.

    Raises:
        Refusal: no gathering, or a line that cannot be; nothing is kept then, nothing typed lost.
    """
    if state.gathering is None:
        raise Refusal((Problem("pages", NO_GATHERING),), values=dict(form))
    drafts, problems = [], []
    for row in view(state).sheets:
        texts = {
            name: form.get(f"{name}.{row.place}", "").strip()
            for name in ("pages", "faced", "position", "note")
        }
        if not any(texts[name] for name in ("pages", "faced", "note")):
            if not form.get("as_made") or row.looked:
                continue
            texts |= {"faced": "as made"}
        elif form.get("as_made") and not texts["faced"]:
            texts["faced"] = "as made"
        try:
            found = _found(row, texts)
        except ValueError as error:
            problems.append(Problem(f"pages.{row.place}", f"{row.name}: {error}."))
            continue
        if not row.looked or found != row.found:
            drafts.append(Draft(state.id, "sheet.found", to_body(found)))
    for row in view(state).leaves:
        typed = {name: form.get(f"{name}.{row.place}", "").strip() for name in _OF_LEAF}
        if not any(typed.values()):
            continue
        try:
            leaf = _leaf_found(row.place, typed)
        except ValueError as error:
            problems.append(Problem(f"pages.{row.place}", f"{row.name}: {error}."))
            continue
        if leaf != row.found or not row.looked:
            drafts.append(Draft(state.id, "sheet.found", to_body(leaf)))
    if problems:
        raise Refusal(tuple(problems), values=dict(form))
    if not drafts:
        says = "Nothing new was said; write the page numbers you see, or how a sheet lay."
        raise Refusal((Problem("pages", says),), values=dict(form))
    return tuple(drafts)


def _found(row: SheetRow, texts: Mapping[str, str]) -> SheetFound:
    position = texts["position"]
    if position and not position.isdigit():
        raise ValueError(f"its place from the outside is a whole number, got {position!r}")
    pages = " ".join(texts["pages"].replace(",", " ").split())
    body = {
        "place": row.place, "faced": texts["faced"], "pages": pages, "note": texts["note"],
        "position": position or str(row.found.position if row.found.position is not None else 0),
    }  # fmt: skip
    return from_body(SheetFound, body)


def _leaf_found(place: str, texts: Mapping[str, str]) -> SheetFound:
    after = texts["after"]
    if after and not (after.isascii() and after.isdigit()):
        raise ValueError(f"the page it lay behind is a number, or empty; got {after!r}")
    pages = " ".join(texts["pages"].replace(",", " ").split())
    if not pages:
        raise ValueError('write its two pages, front and back; "- -" where nothing is printed')
    body = {"place": place, "pages": pages, "note": texts["note"]}
    return from_body(SheetFound, body | ({"after": after} if after else {}))


def note_staple(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Record a staple, or change what is recorded of it.

    Raises:
        Refusal: no such staple, a number that is none, or one that cannot be.
    """
    number = form.get("number", "")
    most = state.gathering.staples if state.gathering else 0
    if not number.isdigit() or not 1 <= int(number) <= most:
        says = f"This item has staples 1 to {most}, got {number!r}." if most else NO_GATHERING
        raise Refusal((Problem("number", says),), values=dict(form))
    sizes: dict[str, Decimal | None] = {name: decimal_or_none(form, name) for name in _MM}
    chosen = {name: form.get(name, "") for name in ("crown", "legs", "rust", "care", "note")}
    held = next((one for one in state.staples.values() if one.number == int(number)), None)
    try:
        staple = _staple(held or Staple(f"staple-{number}", int(number)), {**sizes, **chosen})
    except ValueError as error:
        field = next((name for name in _MM if name in str(error)), "upper_mm")
        raise Refusal((Problem(field, f"{error}."),), values=dict(form)) from error
    if staple == held:
        return ()
    return (Draft(state.id, "staple.recorded", to_body(staple)),)


def _staple(base: Staple, values: Mapping[str, Any]) -> Staple:
    made = replace(base, **values)
    return from_body(Staple, to_body(made))
