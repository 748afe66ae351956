"""The nouns of a treatment record, as frozen values with their invariants.

Places on the object are named by :class:`Place` text: ``item`` (the whole thing), ``spine``,
``staples``, ``c`` (cover) or ``w03`` (wrap 3, 1 = outermost), ``w03.outer`` (one side of it),
``w03.outer.left`` (one leaf's page as it lies flat, head up).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from typing import Literal

from quirewell.record.afterwards import Claim, Later, NextCheck
from quirewell.record.benchwork import Check, Entry, Keep, Pilot, Trial
from quirewell.record.dealing import (
    Answered,
    Choice,
    Cost,
    Custody,
    Holding,
    Invoice,
    Mishap,
    Options,
    Quote,
    Returned,
    Sold,
    TimeSpent,
)
from quirewell.record.finding import Run
from quirewell.record.regions import read_region
from quirewell.record.rejoining import Holes, Joined, SheetFound, Staple
from quirewell.record.shapes import area_px, read_corners, read_points, read_shapes

Moment = Literal["before", "after"]
Side = Literal["outer", "inner"]
Panel = Literal["left", "right", "whole"]
Permanence = Literal["removable", "re-treatable", "permanent"]

_PLACE = re.compile(
    r"(item|spine|staples|front|back|head|tail|fore-edge|centrefold"
    r"|(c|w\d{2})(\.(outer|inner)(\.(left|right))?)?)"
)


def check_place(place: str) -> str:
    """The place, checked.

    Raises:
        ValueError: when the text names no place on a gathering.
    """
    if not _PLACE.fullmatch(place):
        raise ValueError(
            f"{place[:60]!r} names no place; write item, spine, staples, c (cover), w03 (wrap 3), "
            "w03.outer or w03.outer.left"
        )
    return place


def wrap_code(wrap: int) -> str:
    """Place text of a wrap: 3 -> "w03"."""
    return f"w{wrap:02d}"


@cache
def _sheets(wraps: int, cover: bool) -> tuple[str, ...]:
    """Asked for at every look at a step; there are few kinds of make-up."""
    return (("c",) if cover else ()) + tuple(wrap_code(wrap) for wrap in range(1, wraps + 1))


@dataclass(frozen=True, slots=True)
class Item:
    """A stapled publication in the studio."""

    title: str
    year: str = ""
    form: str = ""
    owner: str = ""
    notes: str = ""
    paper: Literal["groundwood newsprint", "other uncoated", "coated", "unknown"] = "unknown"

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise ValueError("an item needs a title; a working title will do")


@dataclass(frozen=True, slots=True)
class Gathering:
    """How the item is made: wraps, cover, staples, and its nominal size when known."""

    wraps: int
    cover: bool = True
    staples: int = 2
    first_page: int = 1
    height_mm: float | None = None
    width_mm: float | None = None
    cover_overhang_mm: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.wraps <= 99:
            raise ValueError(f"wraps must be between 1 and 99, got {self.wraps}")
        if not 0 <= self.staples <= 9:
            raise ValueError(f"staples must be between 0 and 9, got {self.staples}")

    @property
    def pages(self) -> int:
        """Interior pages (the cover's four are not counted)."""
        return 4 * self.wraps

    def sheets(self) -> tuple[str, ...]:
        """Place text of every sheet, cover first, then wraps from the outside in."""
        return _sheets(self.wraps, self.cover)

    def surfaces(self) -> tuple[str, ...]:
        """Place text of every page as it lies flat: sheet.side.panel."""
        return tuple(
            f"{sheet}.{side}.{panel}"
            for sheet in self.sheets()
            for side in ("outer", "inner")
            for panel in ("left", "right")
        )


@dataclass(frozen=True, slots=True)
class Capture:
    """A picture taken into the studio, its original kept byte for byte under ``sha256``.

    ``place`` is empty while the picture is not assigned; ``view`` says what kind of picture
    it is ("scan", "phone", "lamp-left", "lamp-top", "gloss", "spine", "head"). ``scanner`` is
    the maker and model that a scan's file names (None where it names none, or in a record
    older than this field).
    """

    id: str
    sha256: str
    filename: str
    media: str
    width_px: int
    height_px: int
    bytes: int
    bits: int = 8
    resolution_dpi: float | None = None
    profile: str = ""
    moment: Moment | None = None
    place: str = ""
    panel: Panel = "whole"
    view: str = "scan"
    notes: str = ""
    warnings: tuple[str, ...] = ()
    scanner: str | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A number read off an instrument by a person, kept as typed (``value`` is decimal).

    ``resolution`` is the smallest step of the instrument in the same unit; ``off_scale`` is
    set when a strip only says "below" or "above"; ``buffers`` are the pH a meter was set on.
    """

    id: str
    place: str
    quantity: str
    value: Decimal
    unit: str
    method: str = ""
    temperature_c: Decimal | None = None
    resolution: Decimal | None = None
    off_scale: Literal["below", "above"] | None = None
    moment: Moment | None = None
    instrument: str = ""
    as_typed: str = ""
    note: str = ""
    buffers: tuple[Decimal, ...] = ()


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect in the trade's term, on a place, with its extent and a picture if there is one.

    ``region`` is where it lies on the page, as it was drawn: a kind (point, line, polygon) and
    millimetres from the upper left corner of the page as it lies flat, head up, x to the right,
    y down ("line 12.0,3.5 40.2,3.9"). ``u_mm`` says how well its points are placed;
    ``proposal`` names what the program proposed, where it was accepted.
    """

    id: str
    place: str
    term: str
    extent: str = ""
    severity: Literal["slight", "moderate", "severe"] = "moderate"
    moment: Moment = "before"
    capture: str = ""
    note: str = ""
    region: str = ""
    u_mm: float | None = None
    proposal: str = ""

    def __post_init__(self) -> None:
        check_place(self.place)
        read_region(self.region)


@dataclass(frozen=True, slots=True)
class GradeEstimate:
    """The owner's own estimate on a ten-point scale, in plain fields."""

    moment: Moment
    value: Decimal | None = None
    words: str = ""
    by: str = ""

    def __post_init__(self) -> None:
        if self.value is not None and not Decimal("0.5") <= self.value <= 10:
            raise ValueError(f"a grade lies between 0.5 and 10, got {self.value}")


@dataclass(frozen=True, slots=True)
class Remaining:
    """What is still wrong after treatment, said openly."""

    id: str
    place: str
    words: str


@dataclass(frozen=True, slots=True)
class SpotTest:
    """An ink or solubility test made before an aqueous step."""

    id: str
    place: str
    colour: str
    liquid: str
    result: Literal["no change", "slight", "bleeds"]
    minutes: Decimal | None = None
    temperature_c: Decimal | None = None
    note: str = ""
    capture: str = ""


@dataclass(frozen=True, slots=True)
class Override:
    """A caution passed over on purpose, with the reason and who decided."""

    id: str
    rule: str
    reason: str
    step: str = ""

    def __post_init__(self) -> None:
        if len(self.reason.strip()) < 8:
            raise ValueError("an override needs a reason in words that will make sense in a year")


@dataclass(frozen=True, slots=True)
class Lot:
    """A material used in a step, with its lot when known."""

    material: str
    lot: str = ""
    amount: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """A treatment step on some sheets. ``kind`` is a key of the step table of the treat stage;
    ``way`` names the variant of it that was used, so that two ways can be compared later;
    ``run`` the computed course it followed, where it followed one; ``recipe`` ("key@edition")
    and ``recipe_step`` the course of treatment it belongs to, ``task`` its place in a bench plan.
    A timer is ``started_at`` with ``planned_minutes``; past ``most_minutes`` it is too long."""

    id: str
    kind: str
    places: tuple[str, ...]
    state: Literal["planned", "started", "done"] = "planned"
    who: str = ""
    minutes: Decimal | None = None
    temperature_c: Decimal | None = None
    lots: tuple[Lot, ...] = ()
    bath: str = ""
    started_at: str = ""
    done_at: str = ""
    note: str = ""
    way: str = ""
    run: str = ""
    recipe: str = ""
    recipe_step: str = ""
    task: str = ""
    planned_minutes: Decimal | None = None
    most_minutes: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Bath:
    """A lime-water bath as mixed: what went in; what it holds is in the run ``run``."""

    id: str
    strength: Decimal
    temperature_c: Decimal
    litres: Decimal
    run: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """A report issued: its file's hash, the journal head it was written at, its findings."""

    id: str
    sha256: str
    head: str
    findings: tuple[str, ...]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Margin:
    """An equivalence margin, locked before measuring: ``quantity`` with ``value`` in ``unit``;
    ``at`` is when, empty in a record older than this field."""

    quantity: str
    value: Decimal
    unit: str
    reason: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """What a person set right of what was measured on one picture; empty means "as found".

    ``corners``: the leaf's four, clockwise from the upper left, "-" for one that may stay;
    ``ignore``: outlines to be left out; both as :mod:`quirewell.record.shapes` text in pixels of
    the upright picture.
    ``no_tears``: where proposed tears begin that are none; ``tears``: where confirmed ones do.
    """

    capture: str
    corners: str = ""
    ignore: str = ""
    ground: Literal["", "dark", "light"] = ""
    no_tears: tuple[str, ...] = ()
    tears: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        read_corners(self.corners)
        for shape in read_shapes(self.ignore):
            if len(shape) < 3 or area_px(shape) < 1.0:
                raise ValueError(
                    "a part to be left out needs three points or more that span an area, got "
                    f"{len(shape)} point{'s' * (len(shape) != 1)}"
                )
        for at in (*self.no_tears, *self.tears):
            if len(read_points(at)) != 1:
                raise ValueError(f"a tear is named by the point it begins at, got {at!r}")


@dataclass(frozen=True, slots=True)
class Undo:
    """A counter-event: the event ``seq`` no longer holds."""

    seq: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Retract:
    """A record set aside by id (it stays in the journal)."""

    id: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Assign:
    """Where a picture belongs. An empty place sends it back to the unassigned list."""

    capture: str
    place: str = ""
    panel: Panel = "whole"
    moment: Moment | None = None
    view: str = "scan"


@dataclass(frozen=True, slots=True)
class StudioOpened:
    """First event of every studio."""

    chain_version: int
    name: str = ""


@dataclass(frozen=True, slots=True)
class ItemState:
    """Everything true of one item after its events, and the version it was true at.

    ``touched`` maps the id of each record to the stream version that last changed it: a form
    carries that number, so that a stale save is noticed per record, not per item.
    ``undone`` lists the sequence numbers of events that were countered.
    """

    id: str
    version: int
    item: Item
    gathering: Gathering | None = None
    captures: dict[str, Capture] = field(default_factory=dict)
    readings: dict[str, Reading] = field(default_factory=dict)
    defects: dict[str, Defect] = field(default_factory=dict)
    grades: dict[str, GradeEstimate] = field(default_factory=dict)
    remaining: dict[str, Remaining] = field(default_factory=dict)
    spot_tests: dict[str, SpotTest] = field(default_factory=dict)
    overrides: dict[str, Override] = field(default_factory=dict)
    steps: dict[str, Step] = field(default_factory=dict)
    baths: dict[str, Bath] = field(default_factory=dict)
    margins: dict[str, Margin] = field(default_factory=dict)
    corrections: dict[str, Correction] = field(default_factory=dict)
    staples: dict[str, Staple] = field(default_factory=dict)
    found: dict[str, SheetFound] = field(default_factory=dict)
    holes: dict[str, Holes] = field(default_factory=dict)
    joined: dict[str, Joined] = field(default_factory=dict)
    answered: dict[str, Answered] = field(default_factory=dict)
    costs: dict[str, Cost] = field(default_factory=dict)
    times: dict[str, TimeSpent] = field(default_factory=dict)
    mishaps: dict[str, Mishap] = field(default_factory=dict)
    holdings: dict[str, Holding] = field(default_factory=dict)
    own_options: dict[str, Options] = field(default_factory=dict)
    choices: dict[str, Choice] = field(default_factory=dict)
    custodies: dict[str, Custody] = field(default_factory=dict)
    quotes: dict[str, Quote] = field(default_factory=dict)
    invoices: dict[str, Invoice] = field(default_factory=dict)
    returned: dict[str, Returned] = field(default_factory=dict)
    sold: dict[str, Sold] = field(default_factory=dict)
    sent: dict[str, Entry] = field(default_factory=dict)
    checks: dict[str, Check] = field(default_factory=dict)
    keeps: dict[str, Keep] = field(default_factory=dict)
    pilots: dict[str, Pilot] = field(default_factory=dict)
    trials: dict[str, Trial] = field(default_factory=dict)
    runs: dict[str, Run] = field(default_factory=dict)
    reports: dict[str, Report] = field(default_factory=dict)
    touched: dict[str, int] = field(default_factory=dict)
    archived: bool = False
    laters: dict[str, Later] = field(default_factory=dict)
    next_checks: dict[str, NextCheck] = field(default_factory=dict)
    claims: dict[str, Claim] = field(default_factory=dict)

    def newest_run(self, method: str, subject: str) -> Run | None:
        """The run of a method on a subject that was asked for last; None where none was.

        The same run asked again is the newest again, wherever it stands among the others.
        """
        mine = [run for run in self.runs.values() if (run.method, run.subject) == (method, subject)]
        return max(reversed(mine), key=lambda run: self.touched.get(run.id, 0), default=None)
