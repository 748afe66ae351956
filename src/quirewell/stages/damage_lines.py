"""Tears and stains of a page as lines for report and pages: how many, how long, how much.

Tears a person said are none are left out and counted (:mod:`quirewell.stages.tears_told`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Correction, ItemState
from quirewell.stages.correcting import correction_of
from quirewell.stages.results import NOTHING, PageResult, Shown, captured, shown
from quirewell.stages.tears_told import CONFIRMED, PROPOSED, ToldTears, told_tears

TOLD = "tears:told"
_SHORTEST = re.compile(r"tears of (?P<long>[\d.]+) mm with a gap of (?P<gap>[\d.]+) mm")
_FAINTEST = re.compile(
    r"from (?P<area>[\d.]+) mm2 on when it is (?P<L>[\d.]+) darker in L\* and (?P<b>[\d.]+) "
    r"yellower in b\*"
)


@dataclass(frozen=True, slots=True)
class DamageLine:
    """One measured picture of a page: tears, the longest, stained share, and what the stains are.

    ``moment`` is "before" or "after"; a cell is empty where nothing of the kind was looked for.
    """

    moment: str
    tears: Shown
    longest: Shown
    stained: Shown
    stains: Shown


def damage_lines(entry: PageResult, state: ItemState) -> tuple[DamageLine, ...]:
    """Lines of a page, before and after; none where neither tears nor stains were looked for."""
    found = (("before", entry.before), ("after", entry.after))
    lines = (_line(moment, run, state) for moment, run in found if run is not None)
    return tuple(line for line in lines if line.tears or line.stained or line.stains)


def _line(moment: str, run: Run, state: ItemState) -> DamageLine:
    told = told_tears(run, held_of(state, run))
    return DamageLine(
        moment,
        tears_shown(told),
        shown(told.longest),
        shown(_of(run, "stains.area_pct")),
        _stains(_of(run, "stains.seen")),
    )


def held_of(state: ItemState, run: Run) -> Correction | None:
    """The correction of the picture a measurement was made on."""
    capture = captured(state, run, "image")
    return correction_of(state, capture.id) if capture else None


def tears_shown(told: ToldTears) -> Shown:
    """How many tears are told, as "1 confirmed, 2 proposed, 1 set aside"; what was answered is
    part of it, so it names the finding in words and every tear it counts."""
    if told.seen is None:
        return NOTHING
    counts = [(told.count(said), said) for said in (CONFIRMED, PROPOSED)]
    parts = [f"{count} {said}" for count, said in counts if count]
    parts = parts or [_none(told.seen.text)]
    if told.aside:
        parts.append(f"{len(told.aside)} set aside")
    refs = (told.seen.id, *(tear.length.id for tear in (*told.kept, *told.aside)))
    return Shown(", ".join(parts), refs, TOLD)


def _none(seen: str) -> str:
    limit = _SHORTEST.search(seen)
    if limit is None:
        return "none seen"
    return f"none from {limit['long']} mm, gap {limit['gap']} mm"


def _stains(seen: Finding | None) -> Shown:
    """What the stains are; where none was seen, the faintest that would have shown."""
    if seen is None:
        return NOTHING
    words = seen.text.partition(";")[0]
    if words == "no stain seen":
        limit = _FAINTEST.search(seen.text)
        words = seen.text if limit is None else (
            f"none from {limit['area']} mm², L* \u2212{limit['L']}, b* +{limit['b']}"
        )  # fmt: skip
    return replace(shown(seen), text=words)


def _of(run: Run, quantity: str) -> Finding | None:
    return next((entry for entry in run.findings if entry.quantity == quantity), None)
