"""The table of treatment steps: what each does, how wet it is, and whether it can be taken back.

Bench practice of paper treatment, in our own words; "common practice, no source" unless a
source key stands beside it. Washing, deacidifying and pressing cannot be taken back: the table
says which evidence they remove.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from quirewell.record.nouns import Permanence

Wetting = Literal["dry", "vapour", "local", "whole"]


@dataclass(frozen=True, slots=True)
class StepKind:
    """One kind of step.

    ``wets`` says how water reaches the paper; ``aqueous`` steps ask for an ink test first, and
    ``alkaline`` ones for a test with the alkaline liquid. ``evidence`` is what is gone after a
    permanent step. ``ways`` are variants a bench may set against each other. ``cautions`` are ids
    of :data:`quirewell.stages.cautions.CAUTIONS`.
    """

    key: str
    name: str
    does: str
    permanence: Permanence
    wets: Wetting = "dry"
    alkaline: bool = False
    heat: bool = False
    evidence: str = ""
    materials: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str = ""
    ways: tuple[str, ...] = ()

    @property
    def wets_paper(self) -> bool:
        """Whether the paper is moistened at all: such a step is corrected, never undone."""
        return self.wets != "dry"

    @property
    def aqueous(self) -> bool:
        """Whether liquid water touches the paper: such a step asks for an ink test first."""
        return self.wets in ("local", "whole")

    @property
    def standing(self) -> str:
        """On whose word the row stands."""
        return "published" if self.source else "common practice, no source"


PERMANENCE_WORDS: Mapping[str, str] = {
    "removable": "removable: it can be taken off again and leaves the paper as it was",
    "re-treatable": "re-treatable: not taken back, but the next person can do it over",
    "permanent": "permanent: it cannot be taken back",
}

# One wrap in a cold bath is the slow way, two in warm water with surfactant the fast one (common
# practice, no source); each is recorded as such so that the bench can judge one against the other.
ONE_OR_TWO = ("one wrap at a time", "two wraps at a time")
WASHES = tuple(
    f"{water}, {many}"
    for water in ("cold", "warm", "warm with surfactant") for many in ONE_OR_TWO
)  # fmt: skip

_ROWS = (
    StepKind(
        "staples-out", "Staples lifted",
        "The legs are straightened with a blunt lifter and the staples drawn out and kept.",
        "permanent",
        evidence="the makers' own clinch of the legs, and the sheets' untouched order",
        materials=("blunt lifter", "labelled bag for the staples"),
        cautions=("brittle-fold", "rust-evidence", "blades"),
    ),
    StepKind(
        "rust-reduced", "Rust reduced",
        "Loose rust around the staple holes is lifted dry under magnification.",
        "permanent", evidence="the rust pattern left by the old staples",
        materials=("bamboo or bone point", "soft brush"),
        cautions=("loose-dirt", "rust-evidence", "blades"),
    ),
    StepKind(
        "surface-clean", "Surface cleaned",
        "Loose dirt is taken off dry with a soft brush, then with soft eraser crumbs or sponge.",
        "permanent", evidence="dust, soot, finger marks and soft pencil where it was cleaned",
        materials=("soft brush", "vinyl eraser crumbs", "vulcanised rubber sponge"),
        cautions=("loose-dirt", "mould"),
    ),
    StepKind(
        "old-repair-out", "Old repair removed",
        "An earlier tape or paper repair is taken off, dry first and with the least liquid.",
        "permanent", wets="local",
        evidence="an earlier owner's repair, and the surface under its adhesive",
        materials=("micro-spatula", "least liquid that works"),
        cautions=("ink-first", "tidelines", "blades", "solvents"),
    ),
    StepKind(
        "humidify", "Humidified",
        "The paper is relaxed by moist air, without liquid water.",
        "permanent", wets="vapour",
        evidence="creases and rolls as found, and a little of the sheet's dried-in size",
        materials=("closed chamber", "damp blotter under a barrier of spun polyester"),
        cautions=("over-humid", "coated", "brittle-fold", "mould"),
    ),
    StepKind(
        "wash", "Washed",
        "The sheet is floated or bathed on a support in water holding a little calcium.",
        "permanent", wets="whole",
        evidence="soluble brown matter, tidelines, part of the sizing and anything water carries "
        "off; the sheet dries to a slightly different size",
        materials=("water with a little calcium", "spun polyester support", "tray"),
        cautions=("ink-first", "plain-water", "wet-weak", "staples-out", "coated"),
        ways=WASHES,
    ),
    StepKind(
        "lime-bath", "Deacidified in lime water",
        "The sheet is bathed in clear lime water; what it carries out dries to chalk in it.",
        "permanent", wets="whole", alkaline=True,
        evidence="the paper's own acidity and pH, soluble brown matter, and perhaps its shade; "
        "the sheet dries to a slightly different size",
        materials=("clear lime water", "spun polyester support", "covered tray"),
        cautions=(
            "ink-first", "blue-alkali", "groundwood-alkali", "wet-weak", "staples-out", "coated",
            "lime-eyes", "lime-dust", "no-quicklime", "no-aluminium",
        ),
        ways=ONE_OR_TWO,
    ),
    StepKind(
        "size", "Sized again",
        "A thin methyl cellulose size is brushed or floated on to give the sheet back some body.",
        "re-treatable", wets="whole",
        materials=("methyl cellulose, about 0.5 %",),
        cautions=("ink-first", "wet-weak", "tidelines", "staples-out", "coated"),
    ),
    StepKind(
        "mend", "Tear mended",
        "A torn strip of thin kozo tissue is set over the tear with methyl cellulose.",
        "removable", wets="local",
        materials=(
            "kozo tissue, 3.5 to 5 g/m²", "methyl cellulose, about 2.5 %", "blotter, weight",
        ),
        cautions=("ink-first", "tidelines", "mend-weight", "disclose"),
    ),
    StepKind(
        "tear-seal", "Tear sealed",
        "The fibres of a scarfed tear are laid back over each other and set, without tissue.",
        "re-treatable", wets="local",
        materials=("methyl cellulose, about 2.5 %", "fine brush", "blotter, weight"),
        cautions=("ink-first", "tidelines", "disclose"),
    ),
    StepKind(
        "fill", "Loss filled",
        "A missing part is filled with paper of like weight, joined by a narrow overlap.",
        "removable", wets="local",
        materials=("kozo paper of like weight", "methyl cellulose, about 2.5 %"),
        cautions=("ink-first", "tidelines", "mend-weight", "disclose"),
    ),
    StepKind(
        "guard", "Fold guarded",
        "A split fold is joined along its length with a guard of kozo tissue.",
        "removable", wets="local",
        materials=("kozo tissue, 5 to 9 g/m²", "methyl cellulose, about 2.5 %"),
        cautions=("ink-first", "tidelines", "mend-weight", "brittle-fold", "disclose"),
    ),
    StepKind(
        "dry", "Dried under restraint",
        "The damp sheet dries between blotters under light weight, before it starts to distort.",
        "permanent", wets="dry", evidence="the surface and size the sheet had when it was found",
        materials=("blotters", "spun polyester", "light board and weight"),
        cautions=("dry-slow", "heat-damp", "mould"), source="sugarman1992",
    ),
    StepKind(
        "refold", "Fold set again",
        "The relaxed fold is closed along its old line, without a sharp crease.",
        "re-treatable", materials=("bone folder through a guard sheet",),
        cautions=("brittle-fold",),
    ),
    StepKind(
        "press", "Pressed",
        "The dry sheet or the whole is held flat under weight, cold unless a measured reason says "
        "otherwise.",
        "permanent", heat=True,
        evidence="handling creases, the bite of the type and part of the paper's thickness",
        materials=("boards", "blotters", "weight or press"),
        cautions=("heat-damp", "coated", "brittle-fold", "hot-press"),
    ),
    StepKind(
        "staples-in", "Joined again with staples",
        "The wraps are nested in order and stapled through the old holes.",
        "removable", materials=("the old staples, or new stainless ones marked as new",),
        cautions=("old-holes", "rust-evidence", "blades"),
    ),
    StepKind(
        "handle", "Handled or looked at",
        "Lifted, turned, laid out or measured on its carrier; nothing is done to the paper itself.",
        "re-treatable", materials=("spun polyester support, or a board under the sheet",),
        cautions=("brittle-fold", "wet-weak"),
    ),
    StepKind(
        "house", "Housed",
        "The finished item goes into a clear sleeve or a folder with a board.",
        "removable", materials=("polyester sleeve", "buffered board"),
        cautions=("disclose",),
    ),
)  # fmt: skip

STEP_KINDS: Mapping[str, StepKind] = {row.key: row for row in _ROWS}


def step_kind(key: str) -> StepKind:
    """The kind of step called ``key``.

    Raises:
        KeyError: with the kinds there are.
    """
    if key not in STEP_KINDS:
        raise KeyError(f"no kind of step {key!r}; there are {', '.join(STEP_KINDS)}")
    return STEP_KINDS[key]
