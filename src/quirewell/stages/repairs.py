"""What a repair could gain, never without its risk and what cannot be taken back.

Each row names a step of :mod:`quirewell.stages.step_table`, whose permanence and cautions hold,
and the damage it may help. Own words, common practice, no source. Trimming, bleaching, new holes
and added colour are proposed nowhere: what only they would hide stays as it is and is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from quirewell.stages.step_table import PERMANENCE_WORDS, StepKind, step_kind


@dataclass(frozen=True, slots=True)
class Repair:
    """A repair: its step, the codes it may help, its risk, and what it leaves behind at best."""

    step: str
    codes: tuple[str, ...]
    risk: str
    leaves: str

    @property
    def kind(self) -> StepKind:
        """The step it is done by."""
        return step_kind(self.step)

    @property
    def permanence(self) -> str:
        """Whether it can be taken back, and what is gone for good."""
        gone = self.kind.evidence
        return PERMANENCE_WORDS[self.kind.permanence] + (f"; gone for good: {gone}" if gone else "")


REPAIRS = (
    Repair(
        "mend", ("tear_cover", "tear_interior", "staple_pull"),
        "Paste wets the paper: inks may bleed, a tideline may form, and a mend stronger than the "
        "paper starts the next tear beside it.",
        "The tear stays a tear that is held; the mend is told.",
    ),
    Repair(
        "guard", ("spine_split", "fold_split"),
        "A brittle fold breaks while it is joined, and a stiff guard moves the break beside it.",
        "A joined fold is a repair, and is told.",
    ),
    Repair(
        "fill", ("loss_cover", "loss_interior"),
        "The fill pulls on thin old paper as it dries, and its overlap covers original paper.",
        "What was printed there stays missing; the fill is left plain and is told.",
    ),
    Repair(
        "refold", ("spine_roll",),
        "A dry brown fold cracks when it is worked: it is relaxed by moist air first, which may "
        "let inks offset and rust grow.",
        "An old line of the fold may stay to be seen.",
    ),
    Repair(
        "press", ("crease", "corner", "cockling"),
        "Pressing takes the bite of the type with the creases, gloss may stick, and warm damp "
        "paper ages faster.",
        "Broken fibres stay broken: the crease may still show in raking light.",
    ),
    Repair(
        "wash", ("tanning", "tideline", "foxing"),
        "A bath can bleed inks, weaken pulp paper and change its size; wet newsprint tears by its "
        "own weight.",
        "Paper gets lighter, seldom as light as when issued, and spots may come back; it is told.",
    ),
    Repair(
        "surface-clean", ("soil",),
        "Rubbing lifts fibres, soft pencil and matt ink, and flakes brittle edges.",
        "What is ground into the fibres stays.",
    ),
    Repair(
        "old-repair-out", ("tape",),
        "Old adhesive takes ink and paper surface with it, and the liquids that free it can move "
        "both.",
        "The stain of the adhesive stays for the most part.",
    ),
    Repair(
        "rust-reduced", ("staple_rust",),
        "Rust dust stains the paper round the legs, and thin legs break.",
        "The metal stays pitted.",
    ),
    Repair(
        "staples-in", ("cover_loose", "cover_off", "wrap_loose", "centrefold_off"),
        "Weak paper tears out again at the old holes; the legs cut.",
        "It holds by the old holes only; that it was joined again is told.",
    ),
)  # fmt: skip

# What no repair is proposed for, and why.
NOTHING: Mapping[str, str] = {
    "crease_colour": "Broken colour is gone and none is put back.",
    "crease_full": "Broken colour is gone and none is put back.",
    "spine_stress": "The bends stay; working a fold makes more of them.",
    "spine_stress_colour": "Broken colour is gone and none is put back.",
    "abrasion": "A rubbed surface does not come back.",
    "ink_offset": "Ink on the neighbour's page sits in the fibres as its own print does.",
    "fading": "Faded colour does not come back and none is put back.",
    "brittleness": "Brittle paper does not get strong again: support it, keep it cool and dry.",
    "marks": "Ink, stamps and labels come off only with what takes the print along.",
    "staple_stain": "Rust that went into the fibres stays; what dissolves it harms the paper.",
    "staple_changed": "Which staples were there first cannot be brought back.",
    "leaf_missing": "What is missing is told.",
    "coupon_cut": "What is missing is told.",
    "loss_picture": "What is missing is told.",
    "mould": "Nothing before it is set apart, dry and dead; that it was there is told.",
    "pest": "First make sure nothing lives in it; eaten paper is told.",
}


def repairs_for(codes: frozenset[str]) -> tuple[tuple[Repair, tuple[str, ...]], ...]:
    """Repairs that may help some of these codes, with the codes each helps."""
    found = ((one, tuple(code for code in one.codes if code in codes)) for one in REPAIRS)
    return tuple((one, helped) for one, helped in found if helped)
