"""The contact sheet: pictures in the order they were scanned, each with a proposed place.

Nothing is guessed into the record: the sheet proposes, a person looks at the thumbnails, sets
one right ("and number on from here") and confirms all at once. A picture whose print is that
of a scan from before is proposed where that one lies, whatever its number.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast, get_args

from quirewell.record import nouns
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, ItemState, Moment
from quirewell.stages.filenames import Named, named_of, parse
from quirewell.stages.matching import Match, Matches, Quarrel, quarrels
from quirewell.stages.naming import place_words
from quirewell.stages.refusal import Problem, Refusal

Form = Mapping[str, str]
# The two halves of a side after each other, sides after each other, sheets from the outside in.
ORDERS = {
    "halves": "each side in two halves, left then right",
    "whole": "each side in one scan",
    "sides": "all outer sides in halves, then all inner sides",
}
MOST = 200
_DIGITS = re.compile(r"(\d+)")


@dataclass(frozen=True, slots=True)
class Row:
    """One picture of the sheet: the place proposed for it ("w03.outer.left", "" for none)."""

    number: int
    id: str
    sha256: str
    filename: str
    place: str
    moment: str
    why: str
    sure: bool
    touched: int
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class ContactView:
    """The contact sheet: rows in scan order, and what can be chosen."""

    rows: tuple[Row, ...]
    places: tuple[tuple[str, str], ...]
    order: str
    moment: str
    orders: tuple[tuple[str, str], ...]
    quarrels: tuple[Quarrel, ...]
    says: str
    looking: bool = False


def scan_order(name: str) -> tuple[tuple[int, int | str], ...]:
    """Sort key by which scan2 comes before scan10.

    >>> sorted(["scan10.tif", "scan2.tif"], key=scan_order)
    ['scan2.tif', 'scan10.tif']
    """
    parts = _DIGITS.split(name.casefold())
    return tuple((0, int(part)) if part.isdigit() else (1, part) for part in parts if part)


def places_in_order(state: ItemState, order: str) -> tuple[Named, ...]:
    """Every place a scan can take, in the order they are scanned; moment "before"."""
    sheets = state.gathering.sheets() if state.gathering else ()
    halves = ("whole",) if order == "whole" else ("left", "right")
    if order == "sides":
        pages = [(sheet, side) for side in ("outer", "inner") for sheet in sheets]
    else:
        pages = [(sheet, side) for sheet in sheets for side in ("outer", "inner")]
    return tuple(
        Named(f"{sheet}.{side}", cast(nouns.Panel, half), "before", "scan")
        for sheet, side in pages
        for half in halves
    )


def view(
    state: ItemState,
    matches: Matches | None = None,
    form: Form | None = None,
    only: Sequence[str] | None = None,
) -> ContactView:
    """The sheet as proposed, or as chosen in ``form`` and numbered on from one picture.

    Form fields: ``order``, ``moment``, ``place-<picture>``, and ``act`` = "from:<picture>"
    (number on from there) or "again" (propose anew). ``only`` limits it to some pictures.
    """
    asked = dict(form or {})
    order = asked.get("order", "")
    order = order if order in ORDERS else _usual(state)
    moment = asked.get("moment", "")
    moment = moment if moment in get_args(Moment) else _likely(state)
    loose = [one for one in state.captures.values() if not one.place]
    loose = [one for one in loose if only is None or one.id in only]
    loose = sorted(loose, key=lambda one: scan_order(one.filename))[:MOST]
    found = matches.found if matches else {}
    rows = _rows(state, loose, found, order, cast(Moment, moment), asked)
    choices = [("", "leave for later")]
    choices += [(_code(named), _short(named)) for named in _all_places(state)]
    return ContactView(
        rows, tuple(choices), order, moment, tuple(ORDERS.items()),
        quarrels(state, found), _says(state, rows), bool(matches and matches.left),
    )  # fmt: skip


def assign_all(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Confirm the sheet: a place for each picture that has one, all or none.

    Form fields: ``place-<picture>`` and ``moment-<picture>`` (or one ``moment``).

    Raises:
        Refusal: a place this item has not, two pictures for one place, a place that is taken,
            or no place at all.
    """
    known = {_code(named): named for named in _all_places(state)}
    held = {named_of(one): one for one in state.captures.values() if one.place}
    wanted: dict[Named, str] = {}
    problems, drafts = [], []
    for key in sorted(form):
        if not key.startswith("place-") or not form[key]:
            continue
        id_ = key.removeprefix("place-")
        capture = state.captures.get(id_)
        moment = form.get(f"moment-{id_}", "") or form.get("moment", "")
        if capture is None or form[key] not in known or moment not in get_args(Moment):
            problems.append(Problem(key, "A picture or a place is no longer there; look again."))
            continue
        if capture.place:
            problems.append(Problem(key, f"{capture.filename} has been assigned meanwhile."))
            continue
        at = known[form[key]]
        named = Named(at.place, at.panel, cast(Moment, moment), "scan")
        if named in held:
            problems.append(
                Problem(key, f"{capture.filename}: {named.words} has a picture already "
                        f"({held[named].filename}).")
            )  # fmt: skip
        elif named in wanted:
            other = state.captures[wanted[named]].filename
            problems.append(
                Problem(key, f"{capture.filename} and {other} cannot both be {named.words}.")
            )
        else:
            wanted[named] = id_
            noun = nouns.Assign(id_, named.place, named.panel, named.moment, named.view)
            drafts.append(Draft(state.id, "capture.assigned", to_body(noun)))
    if problems:
        raise Refusal(tuple(problems), values=dict(form))
    if not drafts:
        raise Refusal((Problem("places", "No picture has a place yet."),), values=dict(form))
    return tuple(drafts)


def form_of(seen: ContactView, only_sure: bool = False) -> dict[str, str]:
    """The sheet as proposed, as a form to confirm it with."""
    form = {}
    for row in seen.rows:
        if row.place and (row.sure or not only_sure):
            form[f"place-{row.id}"] = row.place
            form[f"moment-{row.id}"] = row.moment
    return form


# --- proposing ------------------------------------------------------------------------------


def _rows(
    state: ItemState,
    loose: list[Capture],
    found: Mapping[str, Match],
    order: str,
    moment: Moment,
    asked: dict[str, str],
) -> tuple[Row, ...]:
    places = places_in_order(state, order)
    act = asked.get("act", "")
    start = act.removeprefix("from:") if act.startswith("from:") else ""
    ids = [one.id for one in loose]
    at = ids.index(start) if start in ids else -1
    taken = {named_of(one) for one in state.captures.values() if one.place}
    by_print = _by_print(state, loose, found, taken)
    taken |= {_at(named, "after") for named, _, _ in by_print.values() if named is not None}
    free = [named for named in places if _at(named, moment) not in taken]
    following = iter(free)
    if at >= 0:
        following = iter(_from(free, asked.get(f"place-{start}", "")))
    rows = []
    for number, one in enumerate(loose):
        key = f"place-{one.id}"
        named, why, sure = by_print.get(one.id, (None, "", False))
        if key in asked and act != "again" and (at < 0 or number < at):
            rows.append(_row(number, one, asked[key], asked.get(f"moment-{one.id}") or moment,
                             why, False, state))  # fmt: skip
        elif named is not None and number != at:
            rows.append(_row(number, one, _code(named), "after", why, sure, state))
        else:
            chosen = next(following, None)
            code = _code(chosen) if chosen is not None else ""
            rows.append(_row(number, one, code, moment, why or _name_says(one), False, state))
    return tuple(rows)


def _by_print(
    state: ItemState, loose: list[Capture], found: Mapping[str, Match], taken: set[Named]
) -> dict[str, tuple[Named | None, str, bool]]:
    """Where each picture belongs by its print, why, and whether that is sure."""
    out: dict[str, tuple[Named | None, str, bool]] = {}
    claimed: set[Named] = set()
    for one in loose:
        match = found.get(one.id)
        if match is None or match.state == "blank":
            continue
        key = match.capture or (match.near[0] if match.near else "")
        before = state.captures.get(key)
        if before is None or not before.place:
            continue
        named = _at(named_of(before), "after")
        if named in taken or named in claimed:
            taken_by = "has an after-scan already" if named in taken else "is shown twice"
            out[one.id] = (None, f"its print is that of {before.filename}, which {taken_by}", False)
            continue
        claimed.add(named)
        if match.state == "found":
            why = f"its print is that of {before.filename}"
            out[one.id] = (named, f"{why}; it lies {match.odd}" if match.odd else why, True)
        else:
            out[one.id] = (named, f"looks like {before.filename}, not surely: {match.says}", False)
    return out


def _from(free: list[Named], code: str) -> list[Named]:
    codes = [_code(named) for named in free]
    return free[codes.index(code) :] if code in codes else free


def _at(named: Named, moment: Moment) -> Named:
    return Named(named.place, named.panel, moment, "scan")


def _row(
    number: int, one: Capture, place: str, moment: str, why: str, sure: bool, state: ItemState
) -> Row:
    return Row(
        number + 1, one.id, one.sha256, one.filename, place, moment, why, sure,
        state.touched.get(one.id, 0), one.width_px, one.height_px,
    )  # fmt: skip


def _name_says(one: Capture) -> str:
    return one.notes if parse(one.filename) is not None else ""


def _all_places(state: ItemState) -> tuple[Named, ...]:
    both = [*places_in_order(state, "halves"), *places_in_order(state, "whole")]
    return tuple(both)


def _code(named: Named) -> str:
    return named.place if named.panel == "whole" else f"{named.place}.{named.panel}"


def _short(named: Named) -> str:
    """A place in few words, so that a narrow box shows them all: "wrap 3 outer left"."""
    words = place_words(named.place).replace(",", "").removesuffix(" side")
    return f"{words} {named.panel}"


def _usual(state: ItemState) -> str:
    """Halves, unless the scans that are there show whole sides."""
    scans = [one for one in state.captures.values() if one.place and one.view == "scan"]
    panels = [named_of(one).panel for one in scans]
    return "whole" if panels and panels.count("whole") > len(panels) / 2 else "halves"


def _likely(state: ItemState) -> str:
    """After, once most places are filled from before; else before."""
    scans = [one for one in state.captures.values() if one.place and one.view == "scan"]
    before = sum(one.moment == "before" for one in scans)
    places = len(places_in_order(state, _usual(state)))
    return "after" if places and before >= 0.6 * places else "before"


def _says(state: ItemState, rows: tuple[Row, ...]) -> str:
    if state.gathering is None:
        return "Say how many wraps the item has first; then its places can be numbered."
    if not rows:
        return "No pictures wait to be assigned."
    placed = sum(bool(row.place) for row in rows)
    sure = sum(row.sure for row in rows)
    words = f"{len(rows)} pictures wait; a place is proposed for {placed}"
    return f"{words}, for {sure} of them by their print." if sure else f"{words}."
