"""How many scans a set takes, in minutes and gigabytes, and what each set can prove.

Computed from the gathering and the scanner's glass. What a person and a scanner need for one
picture is from memory, stated with each plan, and there to be changed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.record.nouns import Gathering
from quirewell.stages.filenames import VIEWS

A4_GLASS_MM = (210.0, 297.0)
MM_PER_INCH = 25.4
CHANNELS = 3
MOMENTS = 2
TILE_SHARE = 0.1
SETS = ("short", "normal", "full")

_PROVES = {
    "short": "the size and tone of the cover and of the outermost and innermost wrap, on one side",
    "normal": "the size, tone and missing area of every leaf, and how each changed, on one side",
    "full": "the size, tone and missing area of every leaf, and how every printed page changed",
}
_CANNOT = {
    "short": "anything about the other wraps; their change stays unknown, not small",
    "normal": "what happened to print and stains on the inner side of each wrap",
    "full": "strength, acidity inside the fibres and ageing, which no picture shows",
}


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What a plan rests on, all from memory and editable.

    Parameters
    ----------
    dpi
        scanning resolution [1/inch]
    bits
        bits a channel, 8 or 16 [-]
    glass_mm
        short and long side of the scanner's glass [mm]
    scan_s
        time of one pass over the whole glass at 300 dpi [s]; grows with dpi
    handling_s
        lifting, laying down and naming one brittle leaf [s]
    phone_s
        one phone picture with its lamp set [s]
    phone_mb
        one phone picture [MB]
    """

    dpi: float = 300.0
    bits: int = 8
    glass_mm: tuple[float, float] = A4_GLASS_MM
    scan_s: float = 20.0
    handling_s: float = 45.0
    phone_s: float = 40.0
    phone_mb: float = 4.0

    def __post_init__(self) -> None:
        if not 75 <= self.dpi <= 2400:
            raise ValueError(f"the resolution must be between 75 and 2400 dpi, got {self.dpi:g}")
        if self.bits not in (8, 16):
            raise ValueError(f"a channel has 8 or 16 bits, got {self.bits}")
        for name, seconds in (("scan", self.scan_s), ("handling", self.handling_s)):
            if not 0 < seconds <= 3600:
                raise ValueError(f"{name} must take between 0 and 3600 s, got {seconds:g} s")
        if not all(50 <= side <= 2000 for side in self.glass_mm):
            raise ValueError(f"the glass must be 50 to 2000 mm a side, got {self.glass_mm}")

    @property
    def scan_gb(self) -> float:
        """Size of one uncompressed scan of the whole glass [GB]."""
        pixels = math.prod(self.glass_mm) / MM_PER_INCH**2 * self.dpi**2
        return pixels * CHANNELS * self.bits / 8 / 1e9

    @property
    def pixel_mm(self) -> float:
        """Side of one pixel [mm]."""
        return MM_PER_INCH / self.dpi


@dataclass(frozen=True, slots=True)
class ScanPlan:
    """One set: scans and phone pictures over both moments, minutes, gigabytes, and its reach."""

    name: str
    sheets: tuple[str, ...]
    sides: int
    panels: int
    scans: int
    phone_pictures: int
    minutes: float
    gigabytes: float
    proves: str
    cannot: str


@dataclass(frozen=True, slots=True)
class Plans:
    """The three sets, how wraps lie on the glass, and the assumptions in words."""

    sets: tuple[ScanPlan, ...]
    panels_words: str
    assumptions: tuple[str, ...]


def panels_on_glass(gathering: Gathering, glass_mm: tuple[float, float]) -> tuple[int, str]:
    """Scans one side of an opened wrap takes [-], and why in words.

    ``width_mm`` of the gathering is one leaf's width; an opened wrap is twice as wide.
    """
    short, long = sorted(glass_mm)
    if gathering.width_mm is None or gathering.height_mm is None:
        return 2, (
            "The size is not known yet, so each side counts as two half-wrap scans (left and "
            "right) with the fold in both, which is the usual case on A4 glass."
        )
    whole = sorted((2 * gathering.width_mm, gathering.height_mm))
    if whole[0] <= short and whole[1] <= long:
        return 1, "An opened wrap fits on the glass whole: one scan a side."
    half = sorted((gathering.width_mm, gathering.height_mm))
    if half[0] <= short and half[1] <= long:
        return 2, (
            f"An opened wrap is {2 * gathering.width_mm:.0f} x {gathering.height_mm:.0f} mm and "
            f"does not fit on {short:.0f} x {long:.0f} mm glass: two half-wrap scans a side, left "
            "and right, with the fold in both. Let the other half lie flat on a support level "
            "with the glass; never fold a brittle wrap back on itself."
        )
    return 2, (
        f"Even half a wrap ({gathering.width_mm:.0f} x {gathering.height_mm:.0f} mm) is larger "
        f"than the glass ({short:.0f} x {long:.0f} mm): two scans a side will cut an edge off, and "
        "width or height cannot be measured. Use larger glass, or a phone with a scale strip."
    )


def plan_scans(gathering: Gathering, assumed: Assumptions | None = None) -> Plans:
    """What a short, a normal and a full set take, before and after treatment together."""
    assumed = assumed or Assumptions()
    panels, words = panels_on_glass(gathering, assumed.glass_mm)
    sets = tuple(_plan(name, gathering, panels, assumed) for name in SETS)
    return Plans(sets, words, _assumption_words(assumed))


def _plan(name: str, gathering: Gathering, panels: int, assumed: Assumptions) -> ScanPlan:
    sheets = _sheets(name, gathering)
    sides = 2 if name == "full" else 1
    scans = MOMENTS * len(sheets) * sides * panels
    phone = MOMENTS * len(VIEWS)
    pass_s = assumed.scan_s * assumed.dpi / 300.0
    seconds = scans * (pass_s + assumed.handling_s) + phone * assumed.phone_s
    size_gb = (scans * assumed.scan_gb + phone * assumed.phone_mb / 1e3) * (1 + TILE_SHARE)
    return ScanPlan(
        name, sheets, sides, panels, scans, phone, seconds / 60, size_gb, _PROVES[name],
        _CANNOT[name],
    )  # fmt: skip


def _sheets(name: str, gathering: Gathering) -> tuple[str, ...]:
    sheets = gathering.sheets()
    if name != "short":
        return sheets
    wraps = [sheet for sheet in sheets if sheet != "c"]
    cover = [sheet for sheet in sheets if sheet == "c"]
    return tuple(dict.fromkeys([*cover, wraps[0], wraps[-1]]))


def _assumption_words(assumed: Assumptions) -> tuple[str, ...]:
    pass_s = assumed.scan_s * assumed.dpi / 300.0
    return (
        f"{assumed.dpi:.0f} dpi, {assumed.bits} bits a channel, uncompressed, the whole glass: "
        f"{assumed.scan_gb * 1000:.0f} MB a scan; one pixel is {assumed.pixel_mm:.3f} mm.",
        f"{pass_s:.0f} s for the scanner's pass and {assumed.handling_s:.0f} s for your hands, "
        "a scan (from memory: time three of yours and put your own numbers in).",
        f"{assumed.phone_s:.0f} s and {assumed.phone_mb:g} MB a phone picture (from memory).",
        "No leaf is scanned twice: the scatter of your own scanner is assumed, not measured.",
        f"Previews and tiles for the screen add {TILE_SHARE:.0%}; they can be deleted.",
    )
