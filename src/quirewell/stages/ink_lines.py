"""The inks of a comparison as lines for a page: own change, what would have been seen, verdict."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from quirewell.record.finding import Finding, Run
from quirewell.science.colour.ways import hue_word, words
from quirewell.stages.asking import say, signed
from quirewell.stages.results import NOTHING, Shown, shown, shown_smallest

_PREFIX = "ink."
# How a verdict says that an ink changed, as ``science.imaging.page_inks`` writes it.
_CHANGED = re.compile(
    r"(?:^|; )(?:lost|gained|changed in hue|bled into|area average)\b| and (?:lost|gained) "
)


@dataclass(frozen=True, slots=True)
class InkLine:
    """One ink: its own change with the paper's taken out (CIEDE2000), and what is seen.

    ``ways`` says in words which way it moved, as far as that is surely seen; ``parts`` are its own
    changes of lightness L*, strength of colour C* and hue (as a distance), where they were kept.
    """

    key: str
    name: str
    verdict: str
    own: Shown
    smallest: Shown
    seen: Shown
    bleed: Shown
    area: str
    ways: str = ""
    parts: tuple[Shown, ...] = ()

    @property
    def bled(self) -> bool:
        """Whether the verdict says that it bled into the paper."""
        return "bled into" in self.verdict

    @property
    def untold(self) -> bool:
        """Whether nothing can be said of it."""
        return self.verdict.startswith("cannot tell")

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
        *_moved(entries, _CHANGED.search(verdict) is not None),
    )


_NO_WAY = "no direction surely seen"


def _moved(entries: dict[str, Finding], changed: bool) -> tuple[str, tuple[Shown, ...]]:
    """Which way an ink moved, in words and in its three parts; nothing where they were not kept.

    An ink that was not found changed is given no direction.
    """
    kept = [entries.get(f"own_d{part}") for part in "LCH"]
    seen = [entries.get(f"{axis}_after") for axis in "ab"]
    parts = [(one.value, one.u) for one in kept if one is not None]
    a, b = (one.value if one is not None else None for one in seen)
    if len(parts) < 3 or a is None or b is None:
        return "", ()
    (dL, u_L), (dC, u_C), (dH, u_H) = ((value or 0.0, u or 0.0) for value, u in parts)
    said = words((dL, u_L), (dC, u_C), (dH, u_H, hue_word(dH, a, b)))
    shown_parts = [shown(one) for one in kept]
    return (said if changed and said else _NO_WAY), tuple(
        replace(one, text=signed(one.quantity, one.text)) for one in shown_parts
    )


@dataclass(frozen=True, slots=True)
class InkInAll:
    """One ink over all pages of an item: where it changed and how, where it bled, the largest own
    change, and from where on a change would surely have been seen on every page."""

    name: str
    pages: int
    changed: tuple[tuple[str, str], ...]
    bled: tuple[tuple[str, str], ...]
    untold: int
    largest: Shown
    largest_at: str
    surely: Shown
    ways: str


def inks_in_all(pages: Iterable[tuple[str, str, tuple[InkLine, ...]]]) -> tuple[InkInAll, ...]:
    """Inks of all pages, given as (place, name, inks); those found changed first."""
    groups: dict[str, list[tuple[str, str, InkLine]]] = {}
    for place, name, inks in pages:
        for ink in inks:
            groups.setdefault(ink.key, []).append((place, name, ink))
    rows = [_in_all(group) for group in groups.values()]
    return tuple(sorted(rows, key=lambda row: (-len(row.changed), -row.pages, row.name)))


def _in_all(group: list[tuple[str, str, InkLine]]) -> InkInAll:
    changed = [entry for entry in group if entry[2].changed]
    top = max(changed or group, key=lambda entry: entry[2].own.value or 0.0)
    least = max((entry[2].smallest for entry in group), key=lambda one: one.value or 0.0)
    ways = dict.fromkeys(entry[2].ways for entry in changed if entry[2].ways not in ("", _NO_WAY))
    return InkInAll(
        group[0][2].name,
        len(group),
        tuple((place, name) for place, name, _ in changed),
        tuple((place, name) for place, name, ink in group if ink.bled),
        sum(ink.untold for *_, ink in group),
        top[2].own,
        top[1],
        least,
        "; ".join(ways),
    )
