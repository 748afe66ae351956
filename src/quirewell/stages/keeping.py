"""The keep list: date stamps, pencil prices, names and signatures that must survive.

They are history and part of what an item is worth; a cleaner copy without them is a poorer one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from quirewell.record.benchwork import Keep
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.ink_gate import Wish, stood
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.objecting import Objection, meets
from quirewell.stages.places import read_places
from quirewell.stages.refusal import no
from quirewell.stages.step_table import StepKind

Form = Mapping[str, str]
RULE = "keep-untested"
CLEANS = ("surface-clean", "rust-reduced", "old-repair-out")


def note_keep(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Put something on the keep list: ``what`` it is; ``place``, ``why`` and a ``capture`` may
    wait. By ``id`` an entry is changed.

    Raises:
        Refusal: nothing named, or a place or picture that is not of this item.
    """
    what = " ".join(form.get("what", "").split())[:120]
    if not what:
        raise no(form, "what", "Say what is to be kept, as in: violet date stamp, or pencil price.")
    known, capture = form.get("id", ""), form.get("capture", "")
    if known and known not in state.keeps:
        raise no(form, "what", "This entry was set aside meanwhile; put it on the list anew.")
    if capture and capture not in state.captures:
        raise no(form, "capture", "That picture is not in this item; choose another or none.")
    place = read_places(state, form, field="place", otherwise="item")[0]
    keep = Keep(
        known or f"keep-{state.version + 1}", what, place, form.get("why", "").strip()[:500],
        capture or (state.keeps[known].capture if known else ""),
    )  # fmt: skip
    return (Draft(state.id, "keep.noted", to_body(keep)),)


def keeps_at(state: ItemState, places: Sequence[str]) -> tuple[Keep, ...]:
    """What is on the keep list and lies where a step reaches."""
    return tuple(
        keep for keep in state.keeps.values() if any(meets(keep.place, place) for place in places)
    )


def shown_before(kind: StepKind) -> bool:
    """Whether the keep list is shown before such a step: it wets or cleans."""
    return kind.wets_paper or kind.key in CLEANS


def keep_words(keep: Keep) -> str:
    """An entry in a line: "violet date stamp on wrap 3, outer side, left"."""
    return f"{keep.what} on {place_words(keep.place)}" + (f" ({keep.why})" if keep.why else "")


def keep_objections(
    state: ItemState, kind: StepKind, places: Sequence[str], wish: Wish
) -> tuple[Objection, ...]:
    """Things to be kept whose ink was not tested for the liquid about to reach them."""
    out = []
    for keep in keeps_at(state, places) if kind.aqueous else ():
        sheet = sheet_of(keep.place) or keep.place
        found = stood(state, sheet, keep.what, keep.place, wish)
        if not found.hard:
            continue
        said = "is not tested" if found.hard == "not tested" else f"was {found.hard}"
        says = (
            f"To be kept: {keep_words(keep)}. It {said}. Test it with the very bath, keep its "
            "place out of the step, or start it all the same with a reason."
        )
        out.append(Objection(RULE, says))
    return tuple(out)
