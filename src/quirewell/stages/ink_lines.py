"""The inks of a comparison as lines for a page: own change, what would have been seen, verdict."""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record.finding import Finding, Run
from quirewell.stages.asking import say
from quirewell.stages.results import NOTHING, Shown, shown, shown_smallest

_PREFIX = "ink."


@dataclass(frozen=True, slots=True)
class InkLine:
    """One ink: its own change with the paper's taken out (CIEDE2000), and what is seen."""

    key: str
    name: str
    verdict: str
    own: Shown
    smallest: Shown
    seen: Shown
    bleed: Shown
    area: str


def ink_lines(run: Run) -> tuple[InkLine, ...]:
    """Every ink of a comparison, in the order of its findings; none when none was compared."""
    groups: dict[str, dict[str, Finding]] = {}
    for finding in run.findings:
        if is_ink(finding.quantity):
            key, what = finding.quantity.removeprefix(_PREFIX).split(".", 1)
            groups.setdefault(key, {})[what] = finding
    return tuple(_line(key, entries) for key, entries in groups.items() if "verdict" in entries)


def is_ink(quantity: str) -> bool:
    """Whether a quantity belongs to an ink."""
    return quantity.startswith(_PREFIX)


def is_ink_verdict(quantity: str) -> bool:
    """Whether a quantity is the verdict on an ink, in words."""
    return is_ink(quantity) and quantity.endswith(".verdict")


def _line(key: str, entries: dict[str, Finding]) -> InkLine:
    name, _, verdict = entries["verdict"].text.partition(": ")
    area = entries.get("area_mm2")
    return InkLine(
        key,
        name,
        verdict,
        shown(entries.get("dE00")),
        shown_smallest(entries.get("dE00")),
        shown(entries.get("seen_dE00")),
        shown(entries["bleed_dE00"]) if "bleed_dE00" in entries else NOTHING,
        say(area.value, None, area.unit) if area is not None and area.value is not None else "",
    )
