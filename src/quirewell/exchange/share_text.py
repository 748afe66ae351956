"""The words that go out: captions with the change and its band, the facts, the plain listing.

All numbers come from the same places as the pages and the report; nothing here computes any.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState, Step
from quirewell.record.signs import visible
from quirewell.stages.asking import PLUS_MINUS_SAYS
from quirewell.stages.disclosure import must_tell, policy
from quirewell.stages.naming import place_words
from quirewell.stages.prove import PairView
from quirewell.stages.results import PageResult, Shown, listed, page_results

Rows = tuple[tuple[str, str], ...]
AS_SCANNED = "Both as scanned: nothing was brightened, sharpened or matched in colour."
BAND = f"In all figures {PLUS_MINUS_SAYS}."


def caption_of(result: PageResult, pair: PairView | None) -> str:
    """What a page's two scans show: the change, its band, and what could have been missed."""
    if pair is None:
        size = _size(result)
        which = "before treatment" if result.before is not None else "after treatment"
        if result.before is not None and result.after is not None:
            which = "before and after treatment, not compared"
        return f"{result.name}, {which}. {size} As scanned; no change can be given.".replace(
            "  ", " "
        )
    parts = [f"{pair.name}."]
    change = [
        f"{name} {shown.text}"
        for name, shown in (("width", pair.width_change), ("height", pair.height_change))
        if shown
    ]
    if change:
        parts.append(f"Change of size: {' and '.join(change)}.")
    if pair.word:
        parts.append(_meant(pair))
    if pair.smallest:
        parts.append(
            f"A change of {pair.smallest.text} or more would have been called in 95 of 100 cases; "
            "a smaller one could have been missed."
        )
    if pair.colour_change:
        parts.append(f"The paper's colour moved by {pair.colour_change.text} (CIEDE2000).")
    for ink in pair.inks_changed:
        parts.append(f"The {ink.name} changed: {ink.brief}.")
    parts.append(_laid(result))
    return " ".join(parts)


def _meant(pair: PairView) -> str:
    words = {"unchanged": "No change of size beyond the limit was seen.",
             "changed": "The size changed.",
             "cannot tell": "Whether the size changed cannot be told."}  # fmt: skip
    if pair.word == "unchanged" and "set beforehand" in pair.verdict.text:
        return f"The size is {pair.verdict_short.text}, a limit set beforehand."
    return words[pair.word]


def _laid(result: PageResult) -> str:
    laid = result.pair is not None and "before_to_after_px" in result.pair.drawing
    return f"{AS_SCANNED} The second lies on the first by its print." if laid else AS_SCANNED


def _size(result: PageResult) -> str:
    moment = "before" if result.before is not None else "after"
    width, height = (result.at(moment, f"leaf.{side}_mm") for side in ("width", "height"))
    return f"{width.text} wide, {height.text} high." if width and height else ""


def photo_caption(name: str, before: bool, after: bool) -> str:
    """What a photograph shows, and what it cannot."""
    when = "before and after treatment" if before and after else (
        "before treatment" if before else "after treatment")  # fmt: skip
    says = f"{name}, photographed {when}."
    if before and after:
        says += " Scale, angle and light may differ between the two: nothing is read off them."
    return says


def facts_lines(state: ItemState, title: str) -> Rows:
    """What it is and how it is made."""
    item, made = state.item, state.gathering
    rows = [("Title", title), ("Year", item.year), ("Form", item.form)]
    rows.append(("Paper", "" if item.paper == "unknown" else item.paper))
    if made is not None:
        wraps = "one wrap" if made.wraps == 1 else f"{made.wraps} nested wraps"
        staples = "no staple" if made.staples == 0 else (
            "one staple" if made.staples == 1 else f"{made.staples} staples")  # fmt: skip
        cover = "a separate cover" if made.cover else "no separate cover"
        rows.append(("Making", f"{wraps}, {made.pages} pages, {cover}, {staples}"))
    return tuple((name, text) for name, text in rows if text)


def condition_lines(state: ItemState) -> tuple[str, ...]:
    """What was noted, a line a kind of defect, in the words it was noted in; notes stay home."""
    noted = [one for one in state.defects.values() if one.moment == "before"]
    kinds: dict[str, list[str]] = {}
    for one in noted:
        places = kinds.setdefault(one.term, [])
        words = place_words(one.place)
        extent = one.extent.replace("mm2", "mm²")
        places.append(f"{words} ({extent})" if extent else words)
    counts = Counter(one.term for one in noted)
    return tuple(
        f"{term[:1].upper()}{term[1:]}: {'; '.join(places[:4])}"
        + (f"; and {counts[term] - 4} more" if counts[term] > 4 else "")
        for term, places in kinds.items()
    )


def measured_lines(state: ItemState) -> Rows:
    """The sizes measured: each page's width and height, after treatment where that was measured,
    drawn together as the least and the most; every end carries its own band."""
    results = page_results(state)
    rows: list[tuple[str, str]] = []
    for name, sheets in (("Cover", ("c",)), ("Leaves", ())):
        mine = [one for one in results if (one.sheet == "c") == bool(sheets)]
        for side in ("width", "height"):
            shown = [found for one in mine if (found := _latest(one, f"leaf.{side}_mm"))]
            if shown:
                rows.append((f"{name}, {side}", _ends(shown)))
    return tuple(rows)


def _latest(result: PageResult, quantity: str) -> Shown:
    return result.at("after", quantity) or result.at("before", quantity)


def _ends(shown: Sequence[Shown]) -> str:
    low = min(shown, key=lambda one: one.value or 0.0)
    high = max(shown, key=lambda one: one.value or 0.0)
    if len(shown) == 1 or low is high:
        return low.text
    return f"{low.text} to {high.text}, {len(shown)} measured"


def told_lines(state: ItemState, bench: BenchState | None) -> tuple[str, ...]:
    """Every step done, as a buyer must be told it, with the sheets it was done on."""
    own = bench.disclosure() if bench is not None else None
    table = policy(own.rows if own else "")
    done: dict[str, list[Step]] = {}
    for one in state.steps.values():
        if one.state == "done":
            done.setdefault(one.kind, []).append(one)
    out = []
    for kind, steps in done.items():
        for says in must_tell((kind,), table, "buyer"):
            kept = says if table.get(kind) is None or table[kind].own else _PROMPT.sub("", says)
            out.append(" ".join([kept.rstrip(".") + ".", *_filled_in(steps)]))
    return tuple(dict.fromkeys(out))


# What a shipped row asks for; the record answers it.
_PROMPT = re.compile(r"(?:: |, and )(?:which|how|where|what|say)\b[^;]*?(?=;|\.?$)")


def _filled_in(steps: Sequence[Step]) -> list[str]:
    places = sorted({place for one in steps for place in one.places})
    on = "" if "item" in places else listed(places)
    used = dict.fromkeys(lot.material for one in steps for lot in one.lots if lot.material)
    return [
        *((f"On: {on}.",) if on else ()),
        *((f"With: {', '.join(used)}.",) if used else ()),
    ]


def remaining_lines(state: ItemState) -> tuple[str, ...]:
    """What treatment could not mend, in the practitioner's words, and what was noted after it."""
    words = [
        one.words if one.place == "item" else f"{_capital(place_words(one.place))}: {one.words}"
        for one in state.remaining.values()
    ]
    words += [
        f"{_capital(place_words(one.place))}: {one.term}" + (f", {one.extent}" * bool(one.extent))
        for one in state.defects.values()
        if one.moment == "after"
    ]
    return tuple(words)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


NO_STEP = (
    "No step of a treatment is recorded as done here. What others did before is told as it was "
    "found."
)
NO_DEFECT = "Nothing was noted; that means nobody wrote anything down, not that there is nothing."
NO_REMAINING = "Nothing is recorded as left over; look at the pictures yourself."
NO_SIZE = "Nothing was measured."


def listing(
    facts: Rows,
    condition: Sequence[str],
    measured: Rows,
    told: Sequence[str],
    remaining: Sequence[str],
    not_measured: Sequence[str],
) -> str:
    """A sale listing with plain disclosure, as text."""
    parts = [
        "WHAT IT IS", *(f"{name}: {text}" for name, text in facts), "",
        "TREATED: WHAT WAS DONE", *_dashed(told or (NO_STEP,)), "",
        "WHAT REMAINS", *_dashed(remaining or (NO_REMAINING,)), "",
        "CONDITION, AS FOUND BEFORE TREATMENT", *_dashed(condition or (NO_DEFECT,)), "",
        "SIZE, MEASURED", *_dashed([f"{name}: {text}" for name, text in measured] or (NO_SIZE,)),
        *((BAND,) if measured else ()), "",
        "NOT MEASURED", *_dashed(not_measured), "",
        "No grade is given: the pictures are before and after treatment, as scanned or "
        "photographed. Ask for any page.",
    ]  # fmt: skip
    return visible("\n".join(parts) + "\n")


def _dashed(lines: Iterable[str]) -> list[str]:
    return [f"- {line}" for line in lines]


def captions_text(title: str, rows: Sequence[tuple[str, str, str]]) -> str:
    """``captions.txt``: number, name and caption of each picture."""
    out = [title, "=" * min(len(title), 72), ""]
    for number, name, caption in rows:
        out += [f"{number}  {name}", caption, ""]
    return "\n".join([*out, BAND, ""])


def readme_text(files: Sequence[tuple[str, str]], made_on: date | None = None) -> str:
    """``README.txt``: what each file is, and how to put the folder to use."""
    rows = [f"{name}: {says}" for name, says in files]
    day = f"Made on {made_on.isoformat()}. " if made_on else ""
    return "\n".join([
        "WHAT IS IN THIS FOLDER", "", *rows, "",
        "HOW TO USE IT", "",
        "Open index.html by a double click, or put the whole folder on any web host. It loads "
        "nothing from elsewhere, tells nobody who looks, and needs no network.",
        "The pictures hold pixels only: no camera data, no place, no names of files.",
        f"{day}The record it was taken from stays in the studio: whoever doubts a figure can ask "
        "for its source there.", "",
    ])  # fmt: skip
