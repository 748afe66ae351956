"""What a real tray read, as typed: titres, drop counts, pH, conductivity, a weighed wrap.

Each is "after N: ..", N wraps bathed, or "bath 2: .." for a bath of the series as made up: "after
0: 10 mL took 4.3 mL of 0.05", "after 3: 12 drops of 1.8" (mmol/L a drop), "after 3: pH 12.2 @ 20",
"after 3: strip 12", "after 1: pickup 1.9", "after 1: dry 4.7 g wet 13.8 g", "after 3: 4.1 mS/cm
@ 20"; with "± u" behind it where the uncertainty is known.
"""

from __future__ import annotations

import math
import re

from quirewell.record.finding import Finding
from quirewell.science.bath.ledger_band import Spread
from quirewell.science.bath.ledger_fit import (
    Bench,
    Kind,
    TrayReading,
    alkalinity_of_titre,
)

_AFTER = re.compile(
    r"(?P<what>after|bath)\s+(?P<number>\d{1,4})\s*:\s*(?P<rest>.+?)(?:\s*(?:±|\+-)\s*(?P<u>\d*\.?\d+))?"
)
_AT = re.compile(r"(?P<value>\d*\.?\d+)(?:\s*ms/cm)?(?:\s*@\s*(?P<at>\d*\.?\d+)\s*c?)?")
_TITRE = re.compile(
    r"(?P<sample>\d*\.?\d+)\s*ml\s+took\s+(?P<acid>\d*\.?\d+)\s*ml\s+of\s+"
    r"(?P<strength>\d*\.?\d+)(?:\s*mol/l)?"
)
_DROPS = re.compile(r"(?P<drops>\d*\.?\d+)\s*drops?\s+of\s+(?P<each>\d*\.?\d+)(?:\s*mmol/l)?")
_WEIGHED = re.compile(r"dry\s+(?P<dry>\d*\.?\d+)\s*g?\s+wet\s+(?P<wet>\d*\.?\d+)\s*g?")
_LONGEST_LINE = 120
# Usual standard uncertainties (common practice, no source).
_U_ML, _U_ACID, _U_KIT = 0.07, 0.015, 0.05
_U = {"ph": 0.1, "strip": 0.4, "pickup": 0.15}


def read_lines(text: str) -> list[TrayReading]:
    """Readings of a tray, one a line or ";".

    Raises:
        ValueError: with a sentence that says how they are written.
    """
    return [read_reading(line) for line in re.split(r"[;\n]", text) if line.strip()]


def read_reading(text: str) -> TrayReading:
    """One reading of a tray as typed.

    Raises:
        ValueError: with a sentence that says how readings are written.

    >>> read_reading("after 3: 10 mL took 4.3 mL of 0.05").value
    0.0215
    """
    line = text.strip().lower().replace(",", ".").replace("\u2212", "-")
    match = _AFTER.fullmatch(line) if len(line) <= _LONGEST_LINE else None
    found = _reading_of(match["rest"]) if match else None
    if match is None or found is None:
        raise ValueError(
            "a reading of the tray is written as 'after 3: 10 mL took 4.3 mL of 0.05', 'after 3: "
            "12 drops of 1.8', 'after 0: pH 12.4 @ 20', 'after 0: strip 12', 'after 1: dry 4.7 g "
            f"wet 13.8 g', 'after 1: pickup 1.9' or 'bath 2: 4.1 mS/cm'; got {text.strip()[:60]!r}"
        )
    kind, value, u, at = found
    number = int(match["number"])
    if match["what"] == "bath":
        if number < 1:
            raise ValueError("baths are counted from 1: write 'bath 1: ..' for the first")
        return TrayReading(0, kind, value, float(match["u"] or u), at, number)
    return TrayReading(number, kind, value, float(match["u"] or u), at)


def _reading_of(rest: str) -> tuple[Kind, float, float, float] | None:
    """Kind, value, usual u, temperature [C]."""
    titre, drops = _TITRE.fullmatch(rest), _DROPS.fullmatch(rest)
    if titre:
        acid, strength, sample = (float(titre[key]) for key in ("acid", "strength", "sample"))
        value = alkalinity_of_titre(acid, strength, sample)
        return "alkalinity", value, math.hypot(_U_ML * strength / sample, _U_ACID * value), 20.0
    if drops:
        each = float(drops["each"]) / 1000
        value = float(drops["drops"]) * each
        return "alkalinity", value, math.hypot(each / math.sqrt(12), _U_KIT * value), 20.0
    weighed = _WEIGHED.fullmatch(rest)
    if weighed:
        return "pickup", _pickup(float(weighed["dry"]), float(weighed["wet"])), _U["pickup"], 20.0
    word, _, number = rest.partition(" ")
    kinds: dict[str, Kind] = {"ph": "pH", "strip": "pH", "pickup": "pickup"}
    kind: Kind = kinds.get(word, "conductivity")
    if kind == "conductivity" and "ms/cm" not in rest:
        return None
    match = _AT.fullmatch(rest if kind == "conductivity" else number.strip())
    if match is None:
        return None
    value = float(match["value"])
    return kind, value, _U.get(word) or max(0.12 * value, 0.05), float(match["at"] or 20)


def _pickup(dry_g: float, wet_g: float) -> float:
    if not (0.05 <= dry_g <= 500 and dry_g < wet_g):
        raise ValueError(
            f"a wrap weighs more wet than dry; got dry {dry_g:g} g and wet {wet_g:g} g. Were they "
            "swapped?"
        )
    return (wet_g - dry_g) / dry_g


def bench_findings(bench: Bench, usual: Spread) -> list[Finding]:
    """Pick-up, acid and air of this bench, pulled towards its readings; "measured here" is only
    what they narrowed to less than 0.7 of the ``usual`` spread."""
    rows = (
        ("bench.pickup_g_per_g", bench.pickup, "g/g", ("pickup",)),
        ("bench.acid_mol_per_kg", bench.acid_mol_per_kg, "mol/kg", ("acid_groups", "strong_acid")),
        ("bench.air_uptake", bench.uptake_mol_m2_h, "mol/m2/h", ("uptake",)),
    )
    out = []
    for quantity, band, unit, names in rows:
        told = any(getattr(bench.spread, n) < 0.7 * getattr(usual, n) for n in names)
        note = "pulled towards this tray's readings"
        if not told:
            note = "this tray's readings hardly narrow it"
        out.append(
            Finding(
                "", quantity, "item", band.value, band.u, unit, low90=band.low90,
                high90=band.high90, standing="measured here" if told else "from memory",
                note=note, sources=("cappe2004",),
            )
        )  # fmt: skip
    return out


def bench_words(bench: Bench) -> tuple[str, ...]:
    """Contradictions among the readings, and whether they lie within what the model can do."""
    out = [
        f"This contradicts the other readings: {says}, {score:.1f} standard deviations off. It "
        "counts the less for it. Read it again, or look for a top-up or a wrap that was not "
        "written down."
        for says, score in bench.contradictions
    ]
    if not bench.fits:
        out.append(
            "The readings lie at the rim of what the model can do: its bands are too narrow here."
        )
    return tuple(out)
