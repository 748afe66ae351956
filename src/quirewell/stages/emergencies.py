"""When it goes wrong at the bench: what to do first, what after, and the note that is kept of it.

First things first: one line to act on, then a photograph and the time. Bench practice without a
source unless it says otherwise; what concerns a person is usual first-aid advice, from memory, and
local codes and medical help come before it. What happened enters the record as a mishap and from
there the report: it is never hidden.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from quirewell.record.codec import to_body
from quirewell.record.dealing import Mishap
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.cautions import Standing
from quirewell.stages.places import read_places
from quirewell.stages.refusal import refused
from quirewell.stages.sale_entry import clean

Form = Mapping[str, str]
_WORDS = 500
PRACTICE: Standing = "common practice"
MEMORY: Standing = "from memory"


@dataclass(frozen=True, slots=True)
class Emergency:
    """One thing that can go wrong: ``first`` is a single line; ``never`` what makes it worse, read
    after the word Never.

    ``person`` says that somebody is hurt: then nothing about paper comes before it.
    """

    key: str
    name: str
    first: str
    then: tuple[str, ...]
    never: str
    look: str
    person: bool = False
    standing: Standing = PRACTICE


_ROWS = (
    Emergency(
        "eye", "Splash in the eye",
        "Rinse at once under running tap water, lids held open, for at least 15 minutes.",
        ("Call for help while you rinse; contact lenses come out under the water.",
         "Lime water and other alkali: ring the emergency number or go to an eye clinic even when "
         "it feels better, rinse on until help takes over, and take the safety sheet along.",
         "Solvent: the same, with fresh air."),
        "rub it, or neutralise with anything.",
        "The time of the splash and the name and strength of the liquid: the doctor will ask.",
        person=True, standing=MEMORY,
    ),
    Emergency(
        "hurt", "Cut or burn",
        "Burn: cool under running tap water for 20 minutes. Cut: press on it with a clean cloth.",
        ("Heat off, blade down, item out of the way of blood and water.",
         "Lime water, its powder or a solvent on skin: brush powder off dry, take off what is "
         "soaked, and rinse for 15 minutes.",
         "A deep cut, one from a rusty staple, a burn larger than a coin or on the face or hand: "
         "see a doctor, and ask about tetanus."),
        "ice, butter or paste on a burn.",
        "The time, and what it was.",
        person=True, standing=MEMORY,
    ),
    Emergency(
        "fire", "Fire",
        "Everybody out, shut the door behind you, and ring the emergency number from outside.",
        ("Only what is small and has just begun, with the way out behind you: a lid or a fire "
         "blanket over it, or the extinguisher. Not out at once: leave.",
         "Clothes alight: down on the floor and roll, or a blanket; then cool the burn under "
         "running tap water for 20 minutes.",
         "Tell those who come which solvents are in the room and how much of each."),
        "put water on burning solvent, carry what burns, or go back in for paper.",
        "Later, and only where it is safe: the time, what burned and what lit it.",
        person=True, standing=MEMORY,
    ),
    Emergency(
        "fumes", "Solvent spilt, breathed in or swallowed",
        "Out into fresh air. No flame, and no switch on or off; windows open on the way.",
        ("Dizzy, sick, a cough that stays, or some was swallowed: ring the emergency number or the "
         "poison centre, with the safety sheet in your hand.",
         "Somebody faints or does not wake: ring the emergency number, say solvent, and do what it "
         "tells you; do not go into the fumes alone.",
         "A small spill, when the air is clear: gloves, absorbent paper, all of it into a closed "
         "tin outdoors."),
        "make somebody sick who has swallowed some, or mop up while it still smells strongly.",
        "The time, the name on the bottle and how much is gone.",
        person=True, standing=MEMORY,
    ),
    Emergency(
        "ink", "Ink bleeds",
        "Lift the sheet out on its carrier now and lay it flat on dry blotter, that place upwards.",
        ("Blot straight down with fresh blotter, a new piece each time, until no colour comes.",
         "Keep every other sheet away from it, and pour that bath away.",
         "Dry it quickly and flat between blotters that are changed often, without weight on the "
         "place.",
         "Write down colour, liquid, warmth and minutes: that ink gets no water again."),
        "rub, rinse it clear, or stack it on another sheet.",
        "Both sides and the blotter, before anything else is laid on.",
    ),
    Emergency(
        "tear", "A wet sheet tears",
        "Stop pulling. Slide a carrier under the whole sheet before it moves again.",
        ("Let it lie in shallow water or on the wet carrier and float the edges together with a "
         "soft brush.",
         "Drain it on the carrier, dry it on the carrier, mend it when it is dry.",
         "Keep every loose piece on the carrier, in its place."),
        "lift it by a corner, or paste it wet.",
        "How it lies, from above, with the rule beside it.",
    ),
    Emergency(
        "tideline", "A tideline forms",
        "Do not let the wet edge dry: cover it with a damp blotter under film while you decide.",
        ("Where the inks have stood the test: wet the whole sheet out evenly, on its carrier.",
         "Where they have not: blot from outside to inside and dry flat under light weight.",
         "A tideline that has dried brown may need a whole bath, or stays: look a day later."),
        "dab at the line with a wet brush: that makes the next one.",
        "The line while it is wet, with light from the side.",
    ),
    Emergency(
        "stuck", "A cover sticks",
        "Stop pulling, and keep it as damp as it is: a coating that dries stuck stays stuck.",
        ("Under film, cool and out of the sun, while you decide.",
         "Still wet: let water in from the edge and slide spun polyester or release sheet "
         "between, flat and slowly.",
         "It does not give way: wrap it damp and cool and ask a conservator the same day (mould "
         "starts within days, not hours)."),
        "peel, heat, or force a knife in.",
        "The edge where it sticks, and what it sticks to.",
    ),
    Emergency(
        "rust", "Rust bleeds",
        "Take the sheet out of the water and lay the fold on dry blotter; the staple comes out.",
        ("Blot the place from both sides with fresh blotter while it is wet.",
         "Dry it away from the others; rust that has moved stays where it is.",
         "Look at every other sheet for metal before it is wetted."),
        "rust remover or bleach: both go on working in the paper.",
        "The place on both sides, with the staple beside it.",
    ),
    Emergency(
        "scorch", "Scorch or gloss from heat",
        "Heat off and lifted away; lay a cool dry board on and let it cool flat.",
        ("Nothing wet and nothing heavy on it until it is cold.",
         "Look under light from the side: brown is for good, a shine on a cover as well.",
         "Find out what was too hot before the next sheet: temperature, time, damp, release "
         "sheet."),
        "try to wash or bleach it out.",
        "Straight on and under light from the side, with iron or press setting in words.",
    ),
    Emergency(
        "mould", "Mould is found",
        "Stop, do not brush or blow: close the item in a bag or box, and leave it.",
        ("Gloves and a fitted P2/P3 or N95 mask before it is opened again; wash hands and wipe "
         "the bench.",
         "Away from all others; never in the chamber, and nothing that lay beside it either.",
         "Dry and cold slows it. Active growth (soft, smearing, smelling) is work for somebody "
         "equipped for it."),
        "damp it, sun it, or brush it in a lived-in room.",
        "Through the bag, and what lay beside it.",
    ),
)  # fmt: skip

EMERGENCIES: Mapping[str, Emergency] = {row.key: row for row in _ROWS}


@dataclass(frozen=True, slots=True)
class MishapLine:
    """A mishap as a page shows it; ``open`` while nobody has said that it is over."""

    id: str
    name: str
    what: str
    place: str
    at: str
    over_at: str
    done_about: str
    capture: str

    @property
    def open(self) -> bool:
        """Whether it has begun by the clock and is not over."""
        return bool(self.at) and not self.over_at


def note_mishap(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Keep that something went wrong, at the moment ``at``: ``kind``, and whatever else is known
    (``what``, ``place``, ``step``, ``capture``); words may wait, the clock may not.

    Raises:
        Refusal: no such kind and no words, or a picture or place that is not in this item.
    """
    kind = form.get("kind", "").strip()
    if kind and kind not in EMERGENCIES:
        raise refused(form, "kind", f"there is no page {kind!r}; say in words what went wrong")
    words = clean(form.get("what", ""), _WORDS)
    if not words and not kind:
        raise refused(form, "what", "say in a few words what went wrong")
    capture = form.get("capture", "").strip()
    if capture and capture not in state.captures:
        raise refused(form, "capture", "that picture is not in this item; choose another or none")
    step = form.get("step", "").strip()
    held = Mishap(
        f"mishap-{state.version + 1}", words or EMERGENCIES[kind].name,
        read_places(state, form, field="place", otherwise="item")[0],
        step if step in state.steps else "", form["at"][:10],
        clean(form.get("done_about", ""), _WORDS), kind, form["at"], capture,
    )  # fmt: skip
    return (Draft(state.id, "mishap.noted", to_body(held)),)


def tell_more(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """More about a mishap (``id``): words, where, what was done, a picture; ``over`` ends it.

    Raises:
        Refusal: no such mishap, or a picture that is not in this item.
    """
    held = state.mishaps.get(form.get("id", ""))
    if held is None:
        raise refused(form, "id", "that note was set aside meanwhile; write it anew")
    capture = form.get("capture", "").strip() or held.capture
    if capture and capture not in state.captures:
        raise refused(form, "capture", "that picture is not in this item; choose another or none")
    more = replace(
        held,
        what=clean(form.get("what", ""), _WORDS) or held.what,
        place=read_places(state, form, field="place", otherwise=held.place)[0],
        done_about=clean(form.get("done_about", ""), _WORDS) or held.done_about,
        capture=capture,
        over_at=form["at"] if form.get("over") else held.over_at,
    )
    return () if more == held else (Draft(state.id, "mishap.noted", to_body(more)),)


def lines(state: ItemState) -> tuple[MishapLine, ...]:
    """The mishaps of an item, newest first."""
    return tuple(
        MishapLine(
            one.id, EMERGENCIES[one.kind].name if one.kind in EMERGENCIES else "", one.what,
            one.place, one.at, one.over_at, one.done_about, one.capture,
        )
        for one in reversed(state.mishaps.values())
    )  # fmt: skip
