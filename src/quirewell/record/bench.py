"""What belongs to the bench, not to an item: strip, greys, scanner, press, stacks, materials.

These values live in the studio's own stream of the journal. They are measured once and used
for every item from then on; a newer value of the same kind takes the older one's place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from quirewell.record.benchwork import BenchPlan, Recipe, Shop
from quirewell.record.books import (
    Client,
    Disclosures,
    GradeRules,
    Offer,
    Parcel,
    Plan,
    Rates,
    Sale,
    Service,
    StockLot,
    Want,
)
from quirewell.record.finding import Finding, Run

STRIP_LOW_MM, STRIP_HIGH_MM = Decimal("144"), Decimal("176")
GREY_STEPS = 6


@dataclass(frozen=True, slots=True)
class StripReading:
    """One reading of the bench strip with a rule: left edge of its first mark to that of its last.

    ``strip`` names the strip: a newly printed one gets a new name and begins without readings.
    """

    id: str
    length_mm: Decimal
    step_mm: Decimal = Decimal("0.1")
    strip: str = "1"
    as_typed: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not STRIP_LOW_MM <= self.length_mm <= STRIP_HIGH_MM:
            raise ValueError(
                "the strip is 160 mm as drawn, left edge of the first mark to left edge of the "
                f"last, and prints between {STRIP_LOW_MM} and {STRIP_HIGH_MM} mm; got "
                f"{self.length_mm} mm. Were both left edges measured?"
            )
        if not Decimal("0.001") <= self.step_mm <= 2:
            raise ValueError(f"a rule's step lies between 0.001 and 2 mm, got {self.step_mm} mm")


@dataclass(frozen=True, slots=True)
class StripGreys:
    """Lightness L* of the strip's grey steps, darkest first.

    ``source`` "instrument": measured, absolute. "scan": as the first scan gave them, a
    reference by which later scans show a change of exposure, and no more.
    """

    id: str
    steps_L: tuple[float, ...]
    u_L: float
    source: Literal["instrument", "scan"]
    strip: str = "1"
    sha256: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if len(self.steps_L) != GREY_STEPS:
            raise ValueError(
                f"the strip has {GREY_STEPS} grey steps, got {len(self.steps_L)} numbers; give "
                "the L* of each, the darkest first"
            )
        if any(not 0 <= value <= 105 for value in self.steps_L):
            raise ValueError("a lightness L* lies between 0 and 100 (105 for bright paper)")
        if any(b <= a for a, b in zip(self.steps_L, self.steps_L[1:], strict=False)):
            raise ValueError("the grey steps grow lighter from the first to the last; give them so")
        if not 0 < self.u_L <= 10:
            raise ValueError(f"the uncertainty of a step lies between 0 and 10, got {self.u_L}")


@dataclass(frozen=True, slots=True)
class ScannerCalibration:
    """A scanner held against something of known length, with the run that did it.

    ``scanner`` is the name its files carry (maker and model) or the one a person gave;
    ``untagged`` says that files that name no scanner come from this one. It holds at ``dpi``
    only. ``dpi`` is the resolution that the files state.
    """

    id: str
    scanner: str
    dpi: float
    run: Run
    untagged: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        if not self.scanner.strip():
            raise ValueError("a calibration needs the scanner's name; any name you will know")

    def finding(self, quantity: str) -> Finding | None:
        """A finding of the calibration by its quantity."""
        return next((one for one in self.run.findings if one.quantity == quantity), None)

    def fits(self, scanner: str, dpi: float | None) -> bool:
        """Whether a scan from ``scanner`` ("" for none named) at ``dpi`` is one of these."""
        if dpi is None or abs(dpi / self.dpi - 1) > 0.002:
            return False
        return scanner == self.scanner or (not scanner and self.untagged)


@dataclass(frozen=True, slots=True)
class ToneCard:
    """A ladder of paper tones of the bench's own, measured once: ``steps`` "name L a b; ..".

    ``by``: with an instrument, or read from a scan of the card.
    """

    id: str
    steps: str
    by: Literal["scan", "instrument"] = "instrument"
    note: str = ""


@dataclass(frozen=True, slots=True)
class FittedTarget:
    """A colour target fitted once for a scanner: ``use`` is what ``leaf.measure`` takes.

    It holds for scans of ``scanner`` ("" for files that name none), at settings unchanged.
    """

    id: str
    use: str
    scanner: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class PressCalibration:
    """A press held against a dummy's log and weights, with the run that did it.

    ``press`` is a name its owner will know. ``use`` is what ``press.run`` takes as known; empty
    where the readings contradicted the model, so that nothing is narrowed by it.
    """

    id: str
    press: str
    run: Run
    use: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.press.strip():
            raise ValueError("a calibration needs the press's name; any name you will know")


@dataclass(frozen=True, slots=True)
class StackRecipe:
    """A pressing kept by name: the text parameters of ``press.run`` that lay it out."""

    id: str
    name: str
    params: Mapping[str, str]
    note: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ValueError("a recipe needs a name")


@dataclass(frozen=True, slots=True)
class OwnMaterials:
    """The bench's own materials for a press, a line each as ``press.run`` reads them; a line that
    names one of the table takes its place."""

    id: str
    lines: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class BenchState:
    """Everything true of the bench, newest last, at ``version`` of the studio's stream."""

    version: int = 0
    strip_readings: dict[str, StripReading] = field(default_factory=dict)
    strip_greys: dict[str, StripGreys] = field(default_factory=dict)
    calibrations: dict[str, ScannerCalibration] = field(default_factory=dict)
    cards: dict[str, ToneCard] = field(default_factory=dict)
    targets: dict[str, FittedTarget] = field(default_factory=dict)
    presses: dict[str, PressCalibration] = field(default_factory=dict)
    stacks: dict[str, StackRecipe] = field(default_factory=dict)
    materials: dict[str, OwnMaterials] = field(default_factory=dict)
    sales: dict[str, Sale] = field(default_factory=dict)
    wants: dict[str, Want] = field(default_factory=dict)
    stock: dict[str, StockLot] = field(default_factory=dict)
    rates: dict[str, Rates] = field(default_factory=dict)
    disclosures: dict[str, Disclosures] = field(default_factory=dict)
    grade_rules: dict[str, GradeRules] = field(default_factory=dict)
    clients: dict[str, Client] = field(default_factory=dict)
    offers: dict[str, Offer] = field(default_factory=dict)
    services: dict[str, Service] = field(default_factory=dict)
    plans: dict[str, Plan] = field(default_factory=dict)
    parcels: dict[str, Parcel] = field(default_factory=dict)
    courses: dict[str, Recipe] = field(default_factory=dict)
    shops: dict[str, Shop] = field(default_factory=dict)
    bench_plans: dict[str, BenchPlan] = field(default_factory=dict)

    @property
    def strip(self) -> str:
        """Name of the strip in use: that of the newest reading or greys; "1" at first."""
        names = [one.strip for one in self.strip_readings.values()]
        names = names or [one.strip for one in self.strip_greys.values()]
        return names[-1] if names else "1"

    def lengths(self) -> tuple[StripReading, ...]:
        """Readings of the strip in use."""
        return tuple(one for one in self.strip_readings.values() if one.strip == self.strip)

    def greys(self) -> StripGreys | None:
        """The newest greys of the strip in use, an instrument's before a scan's."""
        mine = [one for one in self.strip_greys.values() if one.strip == self.strip]
        ranked = sorted(mine, key=lambda one: one.source == "instrument")
        return ranked[-1] if ranked else None

    def calibration(self, scanner: str, dpi: float | None) -> ScannerCalibration | None:
        """The newest calibration that holds for a scan; one that names its scanner goes first."""
        fitting = [one for one in self.calibrations.values() if one.fits(scanner, dpi)]
        named = [one for one in fitting if one.scanner == scanner]
        chosen = named or fitting
        return chosen[-1] if chosen else None

    def card(self) -> ToneCard | None:
        """The newest tone card."""
        return next(reversed(self.cards.values()), None)

    def target(self, scanner: str) -> FittedTarget | None:
        """The newest target fitted for scans that name ``scanner`` ("" for none named)."""
        mine = [one for one in self.targets.values() if one.scanner == scanner]
        return mine[-1] if mine else None

    def press(self, name: str) -> PressCalibration | None:
        """The newest calibration of a press by its name."""
        mine = [one for one in self.presses.values() if one.press == name]
        return mine[-1] if mine else None

    def known_presses(self) -> tuple[PressCalibration, ...]:
        """The newest calibration of each press, contradicted ones left out."""
        newest = {one.press: one for one in self.presses.values()}
        return tuple(one for one in newest.values() if one.use)

    def recipes(self) -> tuple[StackRecipe, ...]:
        """The newest recipe by each name."""
        return tuple({one.name: one for one in self.stacks.values()}.values())

    def rate(self) -> Rates | None:
        """The newest rates; None where none were set."""
        return next(reversed(self.rates.values()), None)

    def disclosure(self) -> Disclosures | None:
        """The newest own table of what must be told."""
        return next(reversed(self.disclosures.values()), None)

    def grading(self) -> GradeRules | None:
        """The newest own rules and scale."""
        return next(reversed(self.grade_rules.values()), None)

    def own_materials(self) -> str:
        """The bench's own lines of the table of materials; empty where there are none."""
        newest = next(reversed(self.materials.values()), None)
        return newest.lines if newest else ""


EMPTY_BENCH = BenchState()
BENCH_COLLECTIONS = (
    "strip_readings", "strip_greys", "calibrations", "cards", "targets", "presses", "stacks",
    "materials", "sales", "wants", "stock", "rates", "disclosures", "grade_rules", "clients",
    "offers", "services", "plans", "parcels", "courses", "shops", "bench_plans",
)  # fmt: skip
