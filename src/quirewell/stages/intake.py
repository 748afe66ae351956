"""Intake: pictures come in byte for byte, each to the place its name says or to a list.

Three moments of picture taking, each with its guide; commands assign a picture by hand; the
view says what is there and what is missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast, get_args

from quirewell.record import nouns
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, ItemState, Moment, Panel, check_place
from quirewell.science.booklet.gathering import wraps_for_pages
from quirewell.stages.bench_params import scanner_words
from quirewell.stages.filenames import LIGHT_BOX, VIEWS, Named, named_of, split_place
from quirewell.stages.matching import Matches, Quarrel, quarrels
from quirewell.stages.naming import place_words, sheet_of, sheet_words
from quirewell.stages.refusal import no
from quirewell.stages.scan_planner import Plans, plan_scans
from quirewell.studio.undoing import users_of

FIRST = (
    "Never put damp paper on glass: it sticks, and its wet strength is next to nothing.",
    "Never press a rolled or brittle item under a scanner's lid: it breaks along the roll. "
    "Photograph it instead.",
)
MOMENT_WORDS = {"before": "before treatment", "after": "after treatment"}


@dataclass(frozen=True, slots=True)
class Guide:
    """One of the three moments of picture taking."""

    key: str
    title: str
    tool: str
    steps: tuple[str, ...]


GUIDES = (
    Guide(
        "whole",
        "The whole item, as it came",
        "phone",
        (
            "Lay it on a plain, matt, dark ground in daylight without sun, or under one lamp.",
            "Photograph front, back, spine, head and tail, the phone parallel to what it sees.",
            "With one low lamp from the left, then from the top: folds, cockling and tears show.",
            "Once with the lamp mirrored in the cover: gloss, fingerprints and rubbing show.",
            "Lay a steel rule or a printed scale strip beside it in at least one picture.",
            "HEIC, JPEG, PNG and TIFF are taken as they come from the phone; no filters, no "
            "portrait mode, flash off.",
        ),
    ),
    Guide(
        "wraps",
        "The wraps, apart and dry",
        "scanner",
        (
            "Only dry, flat paper that bears being turned over; leave the lid open and cover "
            "with black paper if the sheet is brittle.",
            "An opened wrap is larger than A4 glass: scan it in two halves, left and right, head "
            "up, with the fold in both.",
            "300 dpi, colour, 8 or 16 bits, TIFF or PNG; every automatic correction off, and the "
            "same settings before and after.",
            "Leave a finger's breadth of background around the edges that lie on the glass.",
            "Scan in one order, sheet by sheet from the outside in, each side left then right: the "
            "contact sheet then puts them all in place. A name such as w03-outer-left-before "
            "(wrap, 01 outermost, c for the cover; side; half; moment) does so by itself.",
        ),
    ),
    Guide(
        "finished",
        "The finished item",
        "phone",
        (
            "Only when it is dry through; paper that feels cool to the lip is still damp "
            "(common practice).",
            "The same views, ground, lamp and distance as at the beginning.",
            "Photograph what is still wrong as carefully as what is better.",
        ),
    ),
)


# --- view -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Slot:
    """One place a picture can fill: its state and, when filled, the pictures there."""

    place: str
    panel: str
    moment: str
    words: str
    captures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetSlots:
    """A sheet's places before and after. ``whole`` sides need one picture, others two."""

    sheet: str
    title: str
    slots: tuple[Slot, ...]
    missing_before: int
    missing_after: int


@dataclass(frozen=True, slots=True)
class Loose:
    """A picture to be assigned by hand, and why."""

    id: str
    sha256: str
    filename: str
    why: str
    touched: int


@dataclass(frozen=True, slots=True)
class IntakeView:
    """The intake page."""

    first: tuple[str, ...]
    guides: tuple[Guide, ...]
    sheets: tuple[SheetSlots, ...]
    whole: tuple[Slot, ...]
    loose: tuple[Loose, ...]
    pictures: int
    says: str
    plans: Plans | None
    quarrels: tuple[Quarrel, ...] = ()
    scanners: tuple[str, ...] = ()


def view(
    state: ItemState, matches: Matches | None = None, bench: BenchState = EMPTY_BENCH
) -> IntakeView:
    """What is there, what is missing, what waits to be assigned, and how to take the rest."""
    from quirewell.stages.examine import known_sheets

    sheets = tuple(_sheet_slots(state, sheet) for sheet in known_sheets(state))
    whole = tuple(
        _slot(state, Named("item", "whole", moment, name))
        for moment in get_args(Moment)
        for name in VIEWS
    )
    loose = tuple(
        Loose(entry.id, entry.sha256, entry.filename, entry.notes, state.touched.get(entry.id, 0))
        for entry in state.captures.values()
        if not entry.place
    )
    plans = plan_scans(state.gathering) if state.gathering else None
    return IntakeView(
        FIRST, GUIDES, sheets, whole, loose, len(state.captures), _says(state, sheets), plans,
        quarrels(state, matches.found if matches else {}), _scanners(state, bench),
    )  # fmt: skip


def _scanners(state: ItemState, bench: BenchState) -> tuple[str, ...]:
    """Which scans the bench's calibrations hold for and which not, each kind of scan once."""
    said = (scanner_words(bench, one) for one in state.captures.values() if one.place)
    return tuple(dict.fromkeys(words for words in said if words))


def _sheet_slots(state: ItemState, sheet: str) -> SheetSlots:
    slots = tuple(
        slot
        for moment in get_args(Moment)
        for side in ("outer", "inner")
        for slot in _side_slots(state, f"{sheet}.{side}", moment)
    )
    missing = {
        moment: sum(not slot.captures for slot in slots if slot.moment == moment)
        for moment in get_args(Moment)
    }
    return SheetSlots(sheet, sheet_words(sheet), slots, missing["before"], missing["after"])


def _side_slots(state: ItemState, place: str, moment: Moment) -> list[Slot]:
    whole = _slot(state, Named(place, "whole", moment, "scan"))
    if whole.captures:
        return [whole]
    return [_slot(state, Named(place, panel, moment, "scan")) for panel in ("left", "right")]


def _slot(state: ItemState, named: Named) -> Slot:
    held = tuple(
        entry.id for entry in state.captures.values() if entry.place and named_of(entry) == named
    )
    return Slot(named.place, named.panel, named.moment, named.words, held)


def _says(state: ItemState, sheets: tuple[SheetSlots, ...]) -> str:
    if not state.captures:
        return "No pictures yet. One phone picture is enough to begin."
    missing = sum(entry.missing_before for entry in sheets)
    loose = sum(not entry.place for entry in state.captures.values())
    words = [f"{len(state.captures)} pictures"]
    if loose:
        words.append(f"{loose} to assign by hand")
    if sheets:
        words.append(f"{missing} scans before treatment not there" if missing else "all wraps in")
    return ", ".join(words) + "."


# --- commands -------------------------------------------------------------------------------


def wraps_from(form: Mapping[str, str]) -> int | None:
    """Wraps [-] from a form's ``wraps`` or ``pages``; None when neither is given.

    Raises:
        Refusal: not a whole number, pages that make no whole wraps, or two counts that disagree.
    """
    wraps, pages = (_whole(form, name) for name in ("wraps", "pages"))
    if pages is None:
        return wraps
    try:
        counted = wraps_for_pages(pages)
    except ValueError as error:
        raise no(form, "pages", f"{str(error).capitalize()}") from error
    if wraps is not None and wraps != counted:
        raise no(
            form,
            "pages",
            f"{pages} pages make {counted} wraps (four pages a wrap, the cover not counted), "
            f"but you gave {wraps} wraps; correct one of them.",
        )
    return counted


def _whole(form: Mapping[str, str], name: str) -> int | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    if not text.isdigit() or len(text) > 4:
        says = f"{text!r} is not a whole number of {name}: write it in digits, such as 9."
        raise no(form, name, says)
    return int(text)


def assign(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Say where a picture belongs, by hand; an empty place sends it back to the list.

    Form fields: ``capture``, ``place`` ("w03.outer" or "w03.outer.left" or "item"), ``panel``,
    ``moment``, ``view``, and ``replace`` = "yes" to send the picture that is there back to the
    list.

    Raises:
        Refusal: no such picture or place, no moment, or a place that is taken.
    """
    capture = _capture(state, form)
    text = form.get("place", "").strip()
    if not text:
        return (_assigned(state, nouns.Assign(capture.id)),)
    named = _asked_place(state, form, text)
    drafts = []
    for other in state.captures.values():
        if other.id == capture.id or not other.place or named_of(other) != named:
            continue
        if form.get("replace") != "yes":
            raise no(
                form,
                "replace",
                f"{named.words[:1].upper()}{named.words[1:]}, has a picture already "
                f"({other.filename}). Say that this one takes its place, or choose another place.",
            )
        drafts.append(_assigned(state, nouns.Assign(other.id)))
    new = nouns.Assign(capture.id, named.place, named.panel, named.moment, named.view)
    return (*drafts, _assigned(state, new))


def set_aside(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Set a picture aside that does not belong to the item; the file and its history stay.

    Form fields: ``capture``, ``reason``.

    Raises:
        Refusal: no such picture, or a defect or spot test shows it.
    """
    capture = _capture(state, form)
    silent = (state.runs, state.corrections)
    kept = [
        name
        for name in users_of(state, capture.id)
        if not any(name in collection for collection in silent)
    ]
    if kept:
        raise no(
            form,
            "capture",
            f"{kept[0]} shows this picture; give it another picture or set it aside first.",
        )
    noun = nouns.Retract(capture.id, form.get("reason", "").strip())
    return (Draft(state.id, "record.retracted", to_body(noun)),)


def _asked_place(state: ItemState, form: Mapping[str, str], text: str) -> Named:
    panel = form.get("panel", "").strip() or "whole"
    moment = form.get("moment", "").strip()
    if panel not in get_args(Panel):
        raise no(form, "panel", f"The half is left, right or whole, got {panel!r}.")
    if moment not in get_args(Moment):
        raise no(form, "moment", "Say whether it was taken before or after treatment.")
    try:
        place, half = split_place(check_place(text), cast(Panel, panel))
    except ValueError as error:
        raise no(form, "place", f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    sheet = sheet_of(place)
    if state.gathering is not None and sheet and sheet not in state.gathering.sheets():
        raise no(
            form,
            "place",
            f"This item has no {place_words(sheet)}; correct the count of wraps first.",
        )
    wanted = form.get("view", "").strip() or ("scan" if sheet else "phone")
    if wanted == LIGHT_BOX and not sheet:
        raise no(form, "view", "Over a light box lies one sheet: say which one.")
    if wanted in ("scan", LIGHT_BOX) and "." not in place and sheet:
        raise no(form, "place", "Say which side of the sheet it shows, outer or inner.")
    return Named(place, half, cast(Moment, moment), wanted)


def _capture(state: ItemState, form: Mapping[str, str]) -> Capture:
    found = state.captures.get(form.get("capture", ""))
    if found is None:
        raise no(form, "capture", "That picture is not in this item (any more).")
    return found


def _assigned(state: ItemState, noun: nouns.Assign) -> Draft:
    return Draft(state.id, "capture.assigned", to_body(noun))
