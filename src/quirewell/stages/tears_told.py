"""Which tears of a measured picture are told: those proposed, less those a person set aside.

Report, pages and command line all ask here, so that a line said to be no tear is nowhere
counted as one. The measurement itself stays whole: its run keeps every tear it proposed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Correction
from quirewell.record.shapes import Point
from quirewell.stages.drawn import answered, tear_paths

PREFIX = "leaf.tears."
SEEN = "leaf.tears_seen"
CONFIRMED, PROPOSED = "confirmed", "proposed"


@dataclass(frozen=True, slots=True)
class ToldTear:
    """One tear: ``number`` as drawn and measured, ``said`` by a person ("confirmed") or by the
    measurement alone ("proposed"), where it begins [px], its length and all its findings."""

    number: int
    said: str
    start: Point | None
    length: Finding
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class ToldTears:
    """Tears that are told, longest first, and those a person said are none.

    ``seen`` is the finding in words with what was answered; None when tears were not looked for.
    """

    kept: tuple[ToldTear, ...]
    aside: tuple[ToldTear, ...]
    seen: Finding | None

    @property
    def longest(self) -> Finding | None:
        """Length of the longest tear told."""
        return self.kept[0].length if self.kept else None

    def count(self, said: str) -> int:
        """How many are "confirmed" or "proposed"."""
        return sum(tear.said == said for tear in self.kept)


def told_tears(run: Run | None, held: Correction | None) -> ToldTears:
    """Tears of a measurement with what a person answered of each."""
    found = run.findings if run else ()
    paths = tear_paths(run.drawing) if run else ()
    kept: list[ToldTear] = []
    aside: list[ToldTear] = []
    for number, entries in _grouped(found).items():
        length = next((f for f in entries if f.quantity.endswith(".length_mm")), None)
        if length is None:
            continue
        start = paths[number - 1][0] if number <= len(paths) else None
        answer = answered(held, start) if start is not None else ""
        said = CONFIRMED if answer == "yes" else PROPOSED
        length = replace(length, note=length.note.replace("; proposed", f"; {said}", 1))
        tear = ToldTear(number, said, start, length, tuple(entries))
        (aside if answer == "no" else kept).append(tear)
    kept.sort(key=lambda tear: (-(tear.length.value or 0.0), tear.number))
    seen = next((f for f in found if f.quantity == SEEN), None)
    told = ToldTears(tuple(kept), tuple(aside), seen)
    if seen is None or held is None or not (aside or told.count(CONFIRMED)):
        return told
    return replace(told, seen=replace(seen, text=_words(told, seen.text)))


def told_findings(run: Run, held: Correction | None) -> tuple[Finding, ...]:
    """Findings of a run as they are shown: without tears set aside, and with the count in words."""
    told = told_tears(run, held)
    hidden = {f.quantity for tear in told.aside for f in tear.findings}
    changed = {tear.length.quantity: tear.length for tear in told.kept}
    if told.seen is not None:
        changed[SEEN] = told.seen
    return tuple(
        changed.get(finding.quantity, finding)
        for finding in run.findings
        if finding.quantity not in hidden
    )


def _grouped(findings: tuple[Finding, ...]) -> dict[int, list[Finding]]:
    groups: dict[int, list[Finding]] = {}
    for finding in findings:
        number = finding.quantity.removeprefix(PREFIX).partition(".")[0]
        if finding.quantity.startswith(PREFIX) and number.isdigit():
            groups.setdefault(int(number), []).append(finding)
    return groups


def _words(told: ToldTears, found: str) -> str:
    """How many are confirmed, proposed and set aside, and what would have gone unseen."""
    confirmed, proposed = told.count(CONFIRMED), told.count(PROPOSED)
    parts = []
    if confirmed:
        parts.append(f"{_open(confirmed)} confirmed by eye")
    if proposed:
        parts.append(f"{proposed if parts else _open(proposed)} proposed, to be confirmed by eye")
    if not parts:
        parts.append("no open tear")
    if told.aside:
        parts.append(f"{len(told.aside)} set aside as no tear")
    _, colon, limit = found.partition(": ")
    return ", ".join(parts) + colon + limit


def _open(count: int) -> str:
    return f"{count} open tear{'s' * (count != 1)}"
