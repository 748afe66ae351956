"""What was planted: the right answers for scans of the demo, ready for ``truth.json``."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

from quirewell.demo.outline import Movement

Lab = tuple[float, float, float]

DEFINITION = (
    "width_mm: distance at mid-height between the least-squares lines of the left and right "
    "edges; height_mm: distance at mid-width between those of head and foot; stretches where "
    "paper is missing take no part. loss_mm2: area between those lines and the paper where "
    "chips and corners are gone, plus holes; staple holes and a split lie on the fold and are "
    "given apart. Tones are CIELAB D50 of unprinted paper: centre "
    "is the mean over the middle half of width and height, margin the mean of 2 to 8 mm from "
    "the outer edges, median the median over all unprinted paper of the leaf."
)


@dataclass(frozen=True, slots=True)
class StripTruth:
    """The bench strip in a scan: length between its end marks and where they lie [px]."""

    length_mm: float
    nominal_mm: float
    marks_px: dict[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeafTruth:
    """The right answers for one leaf in one scan (see :data:`DEFINITION`).

    ``um_per_px_x``/``_y`` are true, ``tag_dpi`` is what the file says; ``corners_px`` are the
    corners of the fitted outline, clockwise from the upper left. In a half-wrap scan ``fold``
    names the edge that is the fold, and ``loss_at_fold_mm2`` is this leaf's half of staple
    holes and of the split at the foot (``split_mm`` long), not part of ``loss_mm2``.
    """

    width_mm: float
    height_mm: float
    loss_mm2: float
    corner_deg: float
    tone_centre: Lab
    tone_margin: Lab
    tone_median: Lab
    um_per_px_x: float
    um_per_px_y: float
    tag_dpi: float
    skew_deg: float
    corners_px: tuple[tuple[float, float], ...]
    strip: StripTruth | None = None
    fold: str = ""
    loss_at_fold_mm2: float = 0.0
    split_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class PairTruth:
    """The right answers for one leaf scanned before and after treatment.

    ``paper_dE00`` is the CIEDE2000 difference of the two median tones of unprinted paper.
    """

    before: LeafTruth
    after: LeafTruth
    change_width_pct: float
    change_height_pct: float
    paper_dE00: float
    movement: Movement


@dataclass(frozen=True, slots=True)
class ChangeTruth:
    """What treatment did to one page: size and paper (see :class:`PairTruth`)."""

    change_width_pct: float
    change_height_pct: float
    paper_dE00: float
    stretch_x_pct: float
    stretch_y_pct: float
    warp_x_um: float
    warp_y_um: float


@dataclass(frozen=True, slots=True)
class InkTruth:
    """One ink of the cover as a solid on the paper of the front's middle, CIELAB D50.

    ``own_dE00`` is the difference between the solid after treatment and what the same solid
    would look like on the treated paper had the ink kept its colour.
    """

    before: Lab
    after: Lab
    after_if_unchanged: Lab
    own_dE00: float


@dataclass(frozen=True, slots=True)
class HoleTruth:
    """One planted staple hole in its sheet's own frame: x mm from the fold to the right as the
    outer side is seen, y mm from the head edge down; of a torn one the place of the wire."""

    number: int
    x_mm: float
    y_mm: float
    size_mm: float
    state: str


@dataclass(frozen=True, slots=True)
class BathTruth:
    """What was planted in the bath: the paper, and the reserve each wrap was given [% CaCO3]."""

    pickup_g_per_g: float
    acid_mol_per_kg: float
    reserve_pct_caco3: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class BookletTruth:
    """What was planted in the folded Annual [mm, degrees].

    ``creep_mm`` from wrap to wrap and ``kappa``, that in leaves; ``stands_mm`` each wrap's reading
    edges beyond the cover's, as made; ``allowance_mm`` goes round the spine; ``front_mm`` and
    ``back_mm`` the cover's overhang after the wash, on its old crease; the roll as the front
    reading edge beyond the back one, first folded and pressed, and the first as an angle.
    """

    creep_mm: float
    kappa: float
    stands_mm: dict[str, float]
    allowance_mm: float
    front_mm: float
    back_mm: float
    roll_before_mm: float
    roll_after_mm: float
    roll_deg: float


@dataclass(frozen=True, slots=True)
class TrialTruth:
    """What was planted between two ways of washing: by pair ("w02 w01", the sheet of the first way
    in front) how much lighter the first got than the second [L*]; the way itself does nothing."""

    lighter_L: dict[str, float]


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything planted in a generated demo.

    ``scans`` is keyed by file name, ``changes`` by place ("w03.outer.left"), ``inks`` by ink,
    ``holes`` by sheet and moment ("w03.before").
    """

    seed: int
    dpi: int
    definition: str
    scans: dict[str, LeafTruth]
    changes: dict[str, ChangeTruth]
    inks: dict[str, InkTruth]
    photographs: tuple[str, ...] = ()
    bath: BathTruth | None = None
    booklet: BookletTruth | None = None
    trial: TrialTruth | None = None
    holes: dict[str, tuple[HoleTruth, ...]] = field(default_factory=dict)


def as_json(truth: Any) -> Any:
    """A truth as plain JSON data, numbers rounded to nine digits."""
    if dataclasses.is_dataclass(truth) and not isinstance(truth, type):
        return {
            entry.name: as_json(getattr(truth, entry.name)) for entry in dataclasses.fields(truth)
        }
    if isinstance(truth, dict):
        return {str(key): as_json(entry) for key, entry in truth.items()}
    if isinstance(truth, (list, tuple)):
        return [as_json(entry) for entry in truth]
    if isinstance(truth, float):
        return float(f"{truth:.9g}")
    return truth
