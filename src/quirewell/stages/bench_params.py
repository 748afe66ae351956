"""What the bench knows, as parameters of the measuring methods: its strip and its scanner."""

from __future__ import annotations

import math
import statistics

from quirewell.record.bench import EMPTY_BENCH, BenchState, ScannerCalibration
from quirewell.record.nouns import Capture, ItemState
from quirewell.science.colour.exposure import KnownGreys, greys_text

STRIP_STEP_MM = 0.1
RULE_LIMIT_MM = 0.05
# Parameter of leaf.measure -> the finding of scanner.calibrate it takes.
_SCANNER = {
    "scanner_u_um": ("scanner.length_u_um", "value"),
    "scanner_um_per_px_x": ("scanner.um_per_px_x", "value"),
    "scanner_um_per_px_y": ("scanner.um_per_px_y", "value"),
    "scanner_scale_u_pct": ("scanner.scale_mean_pct", "u"),
    "scanner_ratio_u_pct": ("scanner.scale_ratio_pct", "u"),
}


def strip_params(state: ItemState, bench: BenchState = EMPTY_BENCH) -> dict[str, str]:
    """Mean length of the bench strip from the readings of it, and its standard uncertainty [mm].

    Readings of the bench's strip count; where there are none, those that an item holds (as
    records made before the bench had its own). Three parts: the step of each reading, the
    scatter among them, and the rule itself (+-0.05 mm over the strip for a good steel rule,
    rectangular, from memory).
    """
    read = [(float(one.length_mm), float(one.step_mm)) for one in bench.lengths()] or [
        (float(entry.value), float(entry.resolution or STRIP_STEP_MM))
        for entry in state.readings.values()
        if entry.quantity == "strip_length"
    ]
    if not read:
        return {}
    return length_params([length for length, _ in read], max(step for _, step in read))


def length_params(lengths: list[float], step_mm: float) -> dict[str, str]:
    """Mean and standard uncertainty of readings of the strip [mm] on a rule with ``step_mm``."""
    scatter = statistics.stdev(lengths) if len(lengths) > 1 else 0.0
    each = max(step_mm / math.sqrt(12), scatter)
    u = math.hypot(each / math.sqrt(len(lengths)), RULE_LIMIT_MM / math.sqrt(3))
    return {
        "strip_length_mm": f"{statistics.fmean(lengths):.4f}",
        "strip_length_u_mm": f"{u:.4f}",
    }


def calibration_of(bench: BenchState, capture: Capture) -> ScannerCalibration | None:
    """The calibration that holds for a scan: same scanner, same resolution; else None."""
    if capture.view != "scan" or capture.resolution_dpi is None:
        return None
    return bench.calibration(capture.scanner or "", capture.resolution_dpi)


def scanner_params(bench: BenchState, capture: Capture) -> dict[str, str]:
    """What a calibration says of the scanner that made a scan, for ``leaf.measure``."""
    held = calibration_of(bench, capture)
    if held is None:
        return {}
    params = {}
    for name, (quantity, field) in _SCANNER.items():
        finding = held.finding(quantity)
        number = getattr(finding, field) if finding is not None else None
        if number is None:
            return {}
        params[name] = f"{number:.6g}"
    return params


def scanner_pair_params(bench: BenchState, before: Capture, after: Capture) -> dict[str, str]:
    """What a calibration says of a pair: both scans from one scanner at one resolution, or
    nothing."""
    one, two = calibration_of(bench, before), calibration_of(bench, after)
    if one is None or one is not two:
        return {}
    params = {}
    for name, quantity in (
        ("scanner_u_um", "scanner.length_u_um"),
        ("scanner_repeat_um", "scanner.repeatability_um"),
    ):
        finding = one.finding(quantity)
        if finding is None or finding.value is None:
            return {}
        params[name] = f"{finding.value:.6g}"
    return params


def colour_params(bench: BenchState, capture: Capture) -> dict[str, str]:
    """The bench's tone card, and the target fitted for the scanner that made a scan."""
    params: dict[str, str] = {}
    card = bench.card()
    if card is not None:
        params |= {"card": card.steps, "card_by": card.by}
    return params | target_params(bench, capture)


def target_params(bench: BenchState, *captures: Capture) -> dict[str, str]:
    """The target fitted for the one scanner that made all of these scans; else nothing."""
    if any(capture.view != "scan" for capture in captures):
        return {}
    names = {capture.scanner or "" for capture in captures}
    held = bench.target(names.pop()) if len(names) == 1 else None
    return {"target": held.use} if held else {}


def greys_params(bench: BenchState) -> dict[str, str]:
    """The strip's own greys, for ``pair.compare``; nothing until they were measured or read."""
    held = bench.greys()
    if held is None:
        return {}
    return {"greys": greys_text(KnownGreys(held.steps_L, held.u_L, held.source == "instrument"))}


def scanner_words(bench: BenchState, capture: Capture) -> str:
    """Whether a calibration holds for a scan, in a sentence; "" when there is none at all."""
    if not bench.calibrations or capture.view != "scan":
        return ""
    held = calibration_of(bench, capture)
    if held is not None:
        return f"The calibration of {held.scanner} at {held.dpi:g} dpi is used."
    dpi = f"{capture.resolution_dpi:g} dpi" if capture.resolution_dpi else "no stated resolution"
    name = capture.scanner or "a scanner that the file does not name"
    known = ", ".join(f"{one.scanner} at {one.dpi:g} dpi" for one in bench.calibrations.values())
    return (
        f"This scan comes from {name} at {dpi}; the calibration there is holds for {known}, so it "
        "is not used and the published error of an unchecked flatbed stands."
    )
