"""Cautions in words, once: shown before a step, on the bath card, and in the report.

``to`` says who is at risk. ``standing`` is honest about the authority: most of bench practice
has no source we could read and says so. Local codes and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from quirewell.stages.step_table import STEP_KINDS

Standing = Literal["published", "measured here", "common practice", "from memory"]

LOCAL_CODES = (
    "Local codes, the safety sheet of each product and licensed practice come before anything "
    "said here."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: ``to`` the object or the person, in one or two sentences."""

    id: str
    to: Literal["object", "person"]
    says: str
    standing: Standing = "common practice"
    source: str = ""

    def as_plain(self) -> dict[str, str]:
        """The caution as plain text fields for page, report and command line."""
        basis = (
            "common practice, no source" if self.standing == "common practice" else self.standing
        )
        return {
            "id": self.id, "to": self.to, "says": self.says, "standing": basis,
            "source": self.source,
        }  # fmt: skip


_ROWS = (
    Caution(
        "ink-first", "object",
        "Test every colour with the very liquid, and for as long as the bath will last, before "
        "any sheet is wetted: red, purple, blue and stamped inks, dyed covers and handwriting "
        "may bleed or change in water or alkali.",
    ),
    Caution(
        "blue-alkali", "object",
        "Iron blue (Prussian blue) and some dyes are destroyed by alkali even where plain water "
        "leaves them alone: test with the alkaline bath itself.", "from memory",
    ),
    Caution(
        "groundwood-alkali", "object",
        "Strong alkali can darken groundwood paper, and deacidified newsprint yellows faster in "
        "light, not slower. Try a scrap or a margin of least value, dry it, and compare.",
        "published", "bukovsky2001",
    ),
    Caution(
        "wet-weak", "object",
        "Wet pulp paper has almost no strength: carry every sheet on a support, never by itself.",
    ),
    Caution(
        "staples-out", "object",
        "Steel staples rust in the bath and stain the fold: take them out, or keep the fold dry.",
    ),
    Caution(
        "tidelines", "object",
        "Local wetting moves soluble brown matter and leaves a new tideline: wet out the whole "
        "sheet, or use almost no water.",
    ),
    Caution(
        "coated", "object",
        "Coated and glossy covers may block, lift or lose their shine when damp: keep them out "
        "of baths and presses unless a test says otherwise.",
    ),
    Caution(
        "plain-water", "object",
        "Very pure water alone can leave groundwood newsprint weaker than before; water with a "
        "little calcium does not.", "published", "nelson1982",
    ),
    Caution(
        "lime-eyes", "person",
        "Lime water is at pH 12 to 13: a splash injures eyes at once. Goggles and gloves on "
        "before the jar is opened; rinse an eye with running water for at least 15 minutes and get "
        "help.",
        "from memory",
    ),
    Caution(
        "lime-dust", "person",
        "Calcium hydroxide powder burns eyes, skin and airways: weigh it without draught, with "
        "a dust mask, and add powder to water.", "from memory",
    ),
    Caution(
        "no-quicklime", "person",
        "Never use quicklime (calcium oxide) instead: it heats violently with water.",
        "from memory",
    ),
    Caution(
        "no-aluminium", "person",
        "Lime water attacks aluminium and gives off hydrogen: use plastic or stainless trays.",
        "from memory",
    ),
    Caution(
        "blades", "person",
        "Blades and staple ends cut and staples may be rusty: cut away from the hand, and use a "
        "blunt lifter, not a knife, on staples.",
    ),
    Caution(
        "mould", "person",
        "Mouldy paper: stop, isolate it, wear a fitted P2/P3 or N95 mask and gloves, and do not "
        "brush it in the room where you work or live.",
    ),
    Caution(
        "solvents", "person",
        "Alcohol and acetone catch fire below room temperature: no flame, iron or hot press in "
        "the room, and air it.", "from memory",
    ),
    Caution(
        "heat-damp", "object",
        "Heat ages acid paper, damp heat most of all: an hour at 80 °C counts like weeks on the "
        "shelf (order of magnitude), and coated pages may stick. Press cold unless there is a "
        "measured reason, and never put a hot iron on damp paper.", "from memory",
    ),
    Caution(
        "hot-press", "person",
        "A heated press or iron burns and a screw press crushes: hands clear, never left alone "
        "while warm, least of all overnight, no solvents in the room.",
    ),
    Caution(
        "flash-steam", "person",
        "Damp paper or boards above 100 °C give steam at once: it scalds and lifts what lies on "
        "it. Switch off before you open, let it vent away from the face.", "from memory",
    ),
    Caution(
        "dummy-first", "object",
        "What heat does to this paper, its inks and cover shows only on paper: press a dummy of "
        "like paper and thickness first. No probe goes into the item: it prints itself there.",
    ),
    Caution(
        "fresh-mends", "object",
        "Fresh cellulose-ether mends and mended spines stick in damp heat, coated covers take "
        "gloss: a day to dry, and release sheet over each.", "from memory",
    ),
    Caution(
        "dry-slow", "object",
        "Paper starts to distort at about 0.6 g of water per gram: restrain it between blotters "
        "before that, not after.", "published", "sugarman1992",
    ),
    Caution(
        "over-humid", "object",
        "Long damp lets mould grow and inks offset: no more than 48 hours in the chamber without "
        "looking, and check for tack first.", "from memory",
    ),
    Caution(
        "brittle-fold", "object",
        "Brown brittle folds break when opened flat or pressed: relax them first, or leave them.",
    ),
    Caution(
        "loose-dirt", "object",
        "Rubbing flakes brittle edges, lifts soft pencil and polishes matt ink: soft brush first, "
        "from the centre outwards, and stay away from tears and stamps.",
    ),
    Caution(
        "mend-weight", "object",
        "A mend stronger or thicker than the paper makes the next tear beside it: the lightest "
        "tissue that holds, torn not cut.",
    ),
    Caution(
        "old-holes", "object",
        "New holes are permanent: put staples through the old ones, and take no more turns of "
        "the legs than they need.",
    ),
    Caution(
        "rust-evidence", "object",
        "Old staples are evidence of manufacture: keep them, labelled, even if new ones go in.",
    ),
    Caution(
        "disclose", "object",
        "A treatment that is not told is a defect of the sale: every step here goes into the "
        "report.",
    ),
)  # fmt: skip

CAUTIONS: Mapping[str, Caution] = {row.id: row for row in _ROWS}

HEAT = (
    "heat-damp", "dummy-first", "fresh-mends", "coated", "brittle-fold", "hot-press", "flash-steam",
)  # fmt: skip
LIME_BATH = (
    "ink-first", "blue-alkali", "groundwood-alkali", "staples-out", "wet-weak", "coated",
    "lime-eyes", "lime-dust", "no-quicklime", "no-aluminium",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Gear:
    """What a person wears or has at hand against a hazard, and the cautions that name it."""

    hazard: str
    says: str
    cautions: tuple[str, ...]
    standing: Standing = "from memory"


# Usual equipment of a paper bench; the safety sheet of a product says more, and comes first.
GEAR = (
    Gear("alkali", "goggles that close at the sides, nitrile gloves and long sleeves; running "
         "water within reach; a dust mask while powder is weighed",
         ("lime-eyes", "lime-dust", "no-quicklime", "no-aluminium")),
    Gear("heat", "heat-proof gloves, face away as it opens, and nobody leaves it alone while it is "
         "warm", ("hot-press", "flash-steam")),
    Gear("mould", "where any is seen: a fitted P2/P3 or N95 mask, gloves and an apron that is "
         "washed hot; not in the room where you live", ("mould",)),
    Gear("blades", "glasses against flying staple ends, a glove on the hand that holds, a tetanus "
         "shot that is in date; plasters at hand", ("blades",), "common practice"),
    Gear("solvents", "the gloves its safety sheet names (thin nitrile does not hold acetone), "
         "goggles and moving air; no flame or hot tool in the room; waste into a closed metal tin",
         ("solvents",)),
)  # fmt: skip


def protective(kind: str, hazards: Iterable[str] = ()) -> tuple[str, ...]:
    """What to wear and have at hand for a kind of step, a line to each hazard, with its standing.
    ``hazards`` are cautions of the very step beside those of its kind: a fold may be ironed.

    >>> protective("refold")
    ()
    """
    row = STEP_KINDS.get(kind)
    named = {*hazards, *(row.cautions if row is not None else ())}
    return tuple(
        f"Against {one.hazard}: {one.says} "
        f"({'common practice, no source' if one.standing == 'common practice' else one.standing})."
        for one in GEAR if named & set(one.cautions)
    )  # fmt: skip


def plain(ids: Iterable[str]) -> list[dict[str, str]]:
    """Cautions by id as plain fields, those to the object first."""
    rows = [CAUTIONS[id] for id in ids]
    return [row.as_plain() for row in sorted(rows, key=lambda row: row.to != "object")]
