"""The inks of a comparison as lines for a page: own change, what would have been seen, verdict."""

from __future__ import annotations

import re
from dataclasses import dataclass

from quirewell.record.finding import Finding, Run
from quirewell.stages.asking import say
from quirewell.stages.results import NOTHING, Shown, shown, shown_smallest

_PREFIX = "ink."
# How a verdict says that an ink changed, as ``science.imaging.page_inks`` writes it.
_CHANGED = re.compile(
    r"(?:^|; )(?:lost|gained|changed in hue|bled into|area average)\b| and (?:lost|gained) "
)


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

    @property
    def brief(self) -> str:
        """The verdict without the number that stands beside it."""
        own = self.own.value
        return self.verdict if own is None else self.verdict.replace(f", a change of {own:.1f}", "")

    @property
    def changed(self) -> bool:
        """Whether the verdict says that the ink itself changed or bled."""
        return _CHANGED.search(self.verdict) is not None


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
