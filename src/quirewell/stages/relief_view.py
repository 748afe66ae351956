"""The view of a page's relief: what pages show of it, before and after, on the scan or apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.asking import say
from quirewell.stages.results import Shown, shown
from quirewell.stages.survey import subject_of

METHOD = "relief.measure"
MOMENTS = ("before", "after")
STEPS = 5
_ROWS = (
    ("relief.cockle_rms_um", "Cockle, root mean square height"),
    ("relief.slope_rms_deg", "Tilt, root mean square"),
    ("relief.crease_mm", "Length of creases"),
)


@dataclass(frozen=True, slots=True)
class ReliefLayer:
    """One relief: its run, when, its layers by name, whether it lies on the scan shown, how wide
    its picture is, the size of a pixel of that scan as the relief has it, what was said of it."""

    run: str
    moment: str
    names: tuple[str, ...]
    on_scan: bool
    wide: str
    um_per_px: float | None
    verdict: Shown
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReliefView:
    """The relief of a page: its layers, the range of height they share, and rows of numbers
    (name, before, after)."""

    layers: tuple[ReliefLayer, ...]
    range_um: tuple[float, float] | None
    steps: tuple[str, ...]
    rows: tuple[tuple[str, Shown, Shown], ...]

    @property
    def told(self) -> tuple[tuple[str, Shown, Shown, str], ...]:
        """The rows with a verdict on the change, "" where only one moment was measured."""
        return tuple((*row, _verdict(*row[1:])) for row in self.rows)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Layers that can be laid on a scan, "height" first."""
        found = {name for layer in self.layers if layer.on_scan for name in layer.names}
        return tuple(name for name in ("height", "shaded") if name in found)

    @property
    def um_per_px(self) -> float | None:
        """Size of a pixel of the scan [um] by the relief, where it lies on one."""
        return next((layer.um_per_px for layer in self.layers if layer.um_per_px), None)

    def of(self, moment: str) -> ReliefLayer | None:
        """The relief of a moment."""
        return next((layer for layer in self.layers if layer.moment == moment), None)


# Two-sided 95 % for calling a change, and as much again that it is called in 95 of 100 cases.
_CALLED, _SURE = 1.96, 1.96 + 1.645


def _verdict(before: Shown, after: Shown) -> str:
    """Changed, unchanged as far as could be seen, or that it cannot be told.

    A flat sheet can lose no more than it had: where even all of it would not have been seen,
    nothing is said.
    """
    if before.value is None or after.value is None:
        return ""
    if before.u is None or after.u is None or not before.u + after.u:
        return "cannot tell: no uncertainty is known"
    change, u = after.value - before.value, math.hypot(before.u, after.u)
    said = signed_change(change, u, before.unit)
    if abs(change) > _CALLED * u:
        return f"changed: {said}"
    least = _SURE * u
    if least > before.value:
        return f"cannot tell: {said}, and less than {say(least, None, before.unit)} is not seen"
    return f"unchanged within {say(least, None, before.unit)}: {said}"


def signed_change(change: float, u: float, unit: str) -> str:
    """A change with its sign and uncertainty."""
    text = say(change, u, unit)
    return f"+{text}" if change > 0 and not text.startswith("0 ") else text


def relief_view(state: ItemState, page: str, scans: dict[str, Capture]) -> ReliefView | None:
    """The latest relief of a page at each moment; None when it has none.

    ``scans`` are the pictures shown, by moment: a relief lies on one only when it was laid on
    that very picture.
    """
    runs = {moment: run for moment in MOMENTS if (run := latest_relief(state, page, moment))}
    return _view(runs, runs, scans)


def _view(
    runs: dict[str, Run], shown_too: dict[str, Run], scans: dict[str, Capture]
) -> ReliefView | None:
    """The view of ``runs``; ``shown_too`` share their range of height."""
    if not runs:
        return None
    layers = tuple(_layer(run, moment, scans.get(moment)) for moment, run in runs.items())
    span = height_range(tuple(shown_too.values()))
    return ReliefView(layers, span, _steps(span), _rows(runs))


def relief_on(state: ItemState, capture: Capture) -> ReliefView | None:
    """The relief of the page that a picture shows, at the picture's own moment."""
    page, own = subject_of(capture), capture.moment or "before"
    runs = {moment: run for moment in MOMENTS if (run := latest_relief(state, page, moment))}
    return _view({own: runs[own]} if own in runs else {}, runs, {own: capture})


def latest_relief(state: ItemState, page: str, moment: str) -> Run | None:
    """The latest relief of a page at a moment."""
    found = [
        run
        for run in state.runs.values()
        if run.method == METHOD
        and run.subject == page
        and run.params.get("moment", "before") == moment
    ]
    return max(found, key=lambda run: state.touched.get(run.id, 0), default=None)


def height_range(runs: tuple[Run, ...]) -> tuple[float, float] | None:
    """Lowest and highest height of all ``runs`` [um], rounded outwards to ten; None without any.

    Pictures of before and after share it, so that one colour means one height in both.
    """
    spans = [run.drawing["height_um"].split() for run in runs if "height_um" in run.drawing]
    if not spans:
        return None
    low, high = min(float(span[0]) for span in spans), max(float(span[1]) for span in spans)
    return 10.0 * (low // 10), 10.0 * -(-high // 10)


def _steps(span: tuple[float, float] | None) -> tuple[str, ...]:
    """What each step of the key stands for, low to high."""
    if span is None:
        return ()
    low, high = span
    values = [low + (high - low) * step / (STEPS - 1) for step in range(STEPS)]
    words = [f"{round(value):+d} µm".replace("-", "\u2212").replace("+0", "0") for value in values]
    return (f"{words[0]} or lower", *words[1:-1], f"{words[-1]} or higher")


def _layer(run: Run, moment: str, scan: Capture | None) -> ReliefLayer:
    drawing = run.drawing
    grid = next((entry.ref for entry in run.inputs if entry.role == "grid"), "")
    wide_mm = float(drawing.get("size_px", "0 0").split()[0]) * float(drawing.get("px_mm", "0"))
    on_scan = scan is not None and grid == scan.id
    verdict = next((f for f in run.findings if f.quantity == "relief.verdict"), None)
    return ReliefLayer(
        run.id,
        moment,
        tuple(drawing.get("layers", "").split()),
        on_scan,
        f"{wide_mm:.0f} mm",
        1000 * wide_mm / scan.width_px if scan is not None and on_scan else None,
        shown(verdict),
        run.warnings,
    )


def _rows(runs: dict[str, Run]) -> tuple[tuple[str, Shown, Shown], ...]:
    rows = []
    for quantity, name in _ROWS:
        before, after = (
            shown(next((f for f in run.findings if f.quantity == quantity), None))
            if (run := runs.get(moment))
            else Shown("", ())
            for moment in MOMENTS
        )
        if before or after:
            rows.append((name, before, after))
    return tuple(rows)
