"""What would be shared of an item, before anything is written: pictures, captions, sections, and
what is left out and why. Page and command line show this; only then is a folder made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from quirewell.exchange.share_private import Held, currencies, look, private_of
from quirewell.exchange.share_text import (
    caption_of,
    condition_lines,
    facts_lines,
    listing,
    measured_lines,
    photo_caption,
    remaining_lines,
    told_lines,
)
from quirewell.record.bench import BenchState
from quirewell.record.nouns import Capture, ItemState
from quirewell.report.plates import chosen
from quirewell.stages.naming import place_words
from quirewell.stages.prove import PairView, prove_view
from quirewell.stages.results import PageResult, page_results

Film = Literal["webm", "gif", "none"]
FILMS: tuple[Film, ...] = ("webm", "gif", "none")
USUAL_PAGES, MOST_PICTURES = 4, 40
MOST_CAPTION, MOST_TITLE = 1200, 200
SHOWN_PLACES = ("item", "front", "back", "spine", "c")
SHOWN_VIEWS = ("front", "back", "spine", "head", "phone", "centrefold")
LEFT_OUT: tuple[tuple[str, str], ...] = (
    ("Owner, clients, buyers, receivers, sellers", "names and addresses are personal data"),
    ("Prices, costs, quotes, insured values", "what it cost or brings is nobody's business here"),
    ("Where it is kept, parcels, tracking", "that tells where it can be found"),
    ("Who worked on it, and notes of people", "they were written for the bench"),
    ("Names of files, and what a camera or scanner wrote into them (place, day, make)",
     "the pictures are written anew and hold pixels only"),
    ("Grades, estimated or given", "an estimate is no badge; look at the pictures instead"),
    ("The originals", "they stay in the studio, byte for byte"),
)  # fmt: skip
READ_THEM = (
    "What can be read in a picture itself (a stamp, a name in pencil, an address label) is not "
    "searched: look at each picture before it goes."
)


@dataclass(frozen=True, slots=True)
class Shot:
    """A picture, or two of one place, that can be shared; ``key`` names it in forms.

    ``result`` is there for scans of a page that were measured; photographs carry their captures.
    """

    key: str
    name: str
    caption: str
    alt_before: str
    alt_after: str
    before: Capture | None
    after: Capture | None
    result: PageResult | None = None
    pair: PairView | None = None

    @property
    def registered(self) -> bool:
        """Whether "after" lies on "before" by the print on both, so that a curtain is honest."""
        run = self.result.pair if self.result else None
        both = self.before is not None and self.after is not None
        return both and run is not None and "before_to_after_px" in run.drawing


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody asked for: keys of the pictures (None: the usual ones), captions of their own
    by key, the title, which film, plates, one file too, and whether the title was looked at."""

    pictures: tuple[str, ...] | None = None
    captions: Mapping[str, str] = field(default_factory=dict)
    title: str = ""
    film: Film = "webm"
    plates: bool = True
    one_file: bool = False
    title_seen: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that will be in, and what is left out."""

    title: str
    year: str
    shots: tuple[Shot, ...]
    more: tuple[Shot, ...]
    film_of: Shot | None
    facts: tuple[tuple[str, str], ...]
    condition: tuple[str, ...]
    measured: tuple[tuple[str, str], ...]
    told: tuple[str, ...]
    remaining: tuple[str, ...]
    not_measured: tuple[str, ...]
    listing: str
    left_out: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]
    asks: tuple[str, ...]
    unknown: tuple[str, ...]
    wanted: Wanted


def shots_of(state: ItemState) -> tuple[Shot, ...]:
    """Every picture that can be shared: photographs of the whole first, then pages as read."""
    pairs = {pair.place: pair for pair in prove_view(state).pairs}
    by_id = state.captures
    out = [*_photographs(state)]
    for result in page_results(state):
        before, after = (_capture(run, by_id) for run in (result.before, result.after))
        if before is None and after is None:
            continue
        pair = pairs.get(result.place)
        out.append(
            Shot(
                result.place, result.name, caption_of(result, pair),
                f"{result.name}, scanned before treatment", f"{result.name}, scanned after "
                "treatment", before, after, result, pair,
            )
        )  # fmt: skip
    return tuple(out)


def _capture(run: object, by_id: Mapping[str, Capture]) -> Capture | None:
    for entry in getattr(run, "inputs", ()):
        if entry.role == "image":
            return by_id.get(entry.ref)
    return None


def _photographs(state: ItemState) -> list[Shot]:
    """Photographs of the whole, the newest of each moment, by what they show."""
    groups: dict[str, dict[str, Capture]] = {}
    for one in state.captures.values():
        if one.place in SHOWN_PLACES and one.view in SHOWN_VIEWS:
            what = one.view if one.view != "phone" else one.place
            groups.setdefault(what, {})[one.moment or "before"] = one
    order = ("front", "back", "spine", "head", "centrefold", "item", "c")
    out = []
    for what in sorted(groups, key=order.index):
        held = groups[what]
        before, after = held.get("before"), held.get("after")
        name = {"item": "The whole", "c": "The cover", "head": "Head edge"}.get(
            what, place_words(what)
        )
        name = name[:1].upper() + name[1:]
        out.append(
            Shot(
                f"photo.{what}", name, photo_caption(name, before is not None, after is not None),
                f"{name}, photographed before treatment", f"{name}, photographed after treatment",
                before, after,
            )
        )  # fmt: skip
    return out


def usual(shots: Iterable[Shot], state: ItemState) -> tuple[str, ...]:
    """Keys of the pictures that are ticked at first: front, back, and some pages worth a look."""
    all_shots = tuple(shots)
    photos = [one.key for one in all_shots if one.key in ("photo.front", "photo.back")]
    pages = chosen((one.result for one in all_shots if one.result is not None), state, USUAL_PAGES)
    keys = (*photos, *(page.place for page in pages))
    return keys or tuple(one.key for one in all_shots[:USUAL_PAGES])


def make_plan(state: ItemState, bench: BenchState | None, wanted: Wanted) -> Plan:
    """The plan for what is asked, with everything that speaks against it."""
    shots = shots_of(state)
    keys = usual(shots, state) if wanted.pictures is None else wanted.pictures
    kept = tuple(_own_caption(one, wanted) for one in shots if one.key in keys)
    known = {one.key for one in shots}
    title = " ".join(wanted.title.split()) or state.item.title
    prove = prove_view(state)
    told = told_lines(state, bench)
    measured, remains = measured_lines(state), remaining_lines(state)
    film = next((one for one in kept if one.registered), None) if wanted.film != "none" else None
    facts, condition = facts_lines(state, title), condition_lines(state)
    text = listing(facts, condition, measured, told, remains, prove.not_measured)
    plan = Plan(
        title, state.item.year, kept, tuple(one for one in shots if one.key not in keys), film,
        facts, condition, measured, told, remains, prove.not_measured, text, LEFT_OUT, (), (),
        tuple(key for key in keys if key not in known), wanted,
    )  # fmt: skip
    return _looked_through(plan, state, bench)


def _own_caption(shot: Shot, wanted: Wanted) -> Shot:
    own = wanted.captions.get(shot.key)
    return shot if own is None else replace(shot, caption=" ".join(own.split()))


def texts_of(plan: Plan) -> dict[str, str]:
    """Every text that leaves, by where it stands."""
    out = {"the title": plan.title, "the listing": plan.listing}
    for shot in plan.shots:
        out[f"the caption of {shot.name}"] = shot.caption
    out["what was noted"] = "\n".join(plan.condition)
    out["what remains"] = "\n".join(plan.remaining)
    out["what was done"] = "\n".join(plan.told)
    return out


def search(texts: Mapping[str, str], plan: Plan, state: ItemState, bench: BenchState | None
           ) -> tuple[Held, ...]:  # fmt: skip
    """Private strings that the texts hold; a title that was looked at is let through."""
    let = plan.title if plan.wanted.title_seen else ""
    return look(texts, private_of(state, bench), currencies([state], bench), let)


def _looked_through(plan: Plan, state: ItemState, bench: BenchState | None) -> Plan:
    texts, private = texts_of(plan), private_of(state, bench)
    units = currencies([state], bench)
    in_title = look({"the title": texts.pop("the title")}, private, units)
    asks = tuple(
        f"The title holds “{one.text}” ({one.what}). Change the title, or say that it may stay."
        for one in in_title
    )
    problems = [
        f"“{one.text}” ({one.what}) stands in {one.where}. It is not shared: change the words, "
        "here or in the record."
        for one in look(texts, private, units, plan.title if in_title else "")
    ]
    if len(plan.title) > MOST_TITLE:
        problems.append(f"A title has up to {MOST_TITLE} signs, got {len(plan.title)}; shorten it.")
    problems += [
        f"The caption of {shot.name} has {len(shot.caption)} signs; up to {MOST_CAPTION} are read."
        for shot in plan.shots
        if len(shot.caption) > MOST_CAPTION
    ]
    if len(plan.shots) > MOST_PICTURES:
        problems.append(
            f"{len(plan.shots)} pictures are ticked; up to {MOST_PICTURES} go into one folder. "
            "Untick some: whoever looks will not look at more."
        )
    problems += [
        f"There is no picture {key!r}; ask for one of {', '.join(_keys(plan)) or 'none'}."
        for key in plan.unknown
    ]
    return replace(plan, problems=tuple(problems), asks=asks)


def _keys(plan: Plan) -> list[str]:
    return [shot.key for shot in (*plan.shots, *plan.more)]
