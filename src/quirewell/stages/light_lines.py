"""Looks brighter, or lit differently: the raw change of a page's lightness apart by what made it.

In lines for a page and for all pages of an item, each number with the finding it came from.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from quirewell.record.finding import Run
from quirewell.record.measured import Measured
from quirewell.stages.asking import signed
from quirewell.stages.comparing_light import LIGHT, RAW, SCANNER
from quirewell.stages.results import NOTHING, PageResult, Shown, show, shown, shown_smallest

PAPER = "paper.dL"
TOLD, OPEN, TOO_FAR, NOT_KEPT = "told apart", "cannot be told apart", "too far apart", "not kept"


@dataclass(frozen=True, slots=True)
class LightLine:
    """One page: raw change of L*, the light's, the scanner's and the paper's part of it; ``word``
    is whether they can be told apart, ``says`` the same in a sentence or two; ``alike`` whether
    the after picture can be shown as if exposed like the before picture."""

    place: str
    name: str
    raw: Shown
    light: Shown
    light_smallest: Shown
    scanner: Shown
    paper: Shown
    word: str
    says: str
    alike: bool

    @property
    def shown_as(self) -> str:
        """How the after picture is shown beside the before one, and what could not be done."""
        if self.word == TOO_FAR:
            return (
                "The after picture is brought near the before picture by the strip’s grey steps, "
                "for looking only: so large a change of light cannot be taken out faithfully."
            )
        if self.alike:
            return (
                "The after picture is shown as if exposed like the before picture, by the strip’s "
                "grey steps. One curve does it for red, green and blue: a change of the lamp’s "
                "tint is not taken out."
            )
        if self.light:
            return (
                "Both pictures are shown as scanned: the strip’s grey steps moved too little "
                "between them to take anything out."
            )
        return (
            "Both pictures are shown as scanned: no strip tells whether they were lit alike, so "
            "a change of light may look like a change of the paper."
            if self.word == OPEN
            else "Both pictures are shown as scanned."
        )

    @property
    def rows(self) -> tuple[tuple[str, Shown], ...]:
        """The parts by name, those that there are."""
        named = (
            ("As the two pictures show it", self.raw),
            ("Of that, light and exposure", self.light),
            ("Of that, the scanner’s own curve and colours", self.scanner),
            ("Left: the paper", self.paper if self.word == TOLD else NOTHING),
        )
        return tuple((name, value) for name, value in named if value)


def light_line(run: Run, place: str, name: str) -> LightLine:
    """What a comparison tells of light and paper."""
    found = {finding.quantity: finding for finding in run.findings}
    raw, light, scanner, paper = (_shown(run, key) for key in (RAW, LIGHT, SCANNER, PAPER))
    held = found.get("paper.dE00")
    if held is not None and held.value is None:
        word = TOO_FAR
    elif not raw:
        word = NOT_KEPT if paper else OPEN
    else:
        word = TOLD if light else OPEN
    alike = "exposure.after_dL" in found or (light.value is not None and light.value != 0)
    alike = alike or any("were lit differently" in says for says in run.warnings)
    return LightLine(
        place, name, raw, light, shown_smallest(found.get(LIGHT)), scanner, paper, word,
        _says(word, raw, light, scanner, paper, shown_smallest(found.get(LIGHT))),
        alike or word == TOO_FAR,
    )  # fmt: skip


def _shown(run: Run, quantity: str) -> Shown:
    value = shown(next((one for one in run.findings if one.quantity == quantity), None))
    return replace(value, text=signed(quantity, value.text)) if value.value is not None else value


def _says(
    word: str, raw: Shown, light: Shown, scanner: Shown, paper: Shown, smallest: Shown
) -> str:
    if word == NOT_KEPT:
        return "This comparison was made before the light’s part was kept, so it is not told here."
    if word == TOO_FAR:
        return (
            "The strip’s grey steps moved by more than can honestly be taken out again: how much "
            "is light and how much is paper is not told. Scan the leaf again with the settings of "
            "the first scan."
        )
    if not raw:
        return "Too little bare paper is seen in both pictures to compare its lightness."
    if word == OPEN:
        return (
            f"The paper is {raw.text} in L* as the two pictures show it. How much of that is light "
            "or exposure cannot be told apart; the strip beside the leaf would tell. What is told "
            "of the paper counts all of it as the paper’s, with an assumed light of 0.5 in its "
            "uncertainty."
        )
    made = f"the paper {paper.text}" if paper else "the paper the rest"
    curve = f", the scanner’s own curve and colours {scanner.text}" if scanner else ""
    if _seen(light):
        return f"Of {raw.text} in L*, light and exposure made {light.text}{curve}, {made}."
    return (
        f"Of {raw.text} in L*, no part is surely light or exposure ({light.text}; from "
        f"{smallest.text} on it would surely have been seen){curve}; {made}."
    )


def _seen(part: Shown) -> bool:
    return part.value is not None and part.u is not None and abs(part.value) > 1.96 * part.u


def light_facts(page: PageResult) -> list[tuple[str, Shown]]:
    """The split of a page's change of lightness beside its plate; nothing where none was kept."""
    if page.pair is None:
        return []
    line = light_line(page.pair, page.place, page.name)
    if not line.light:
        return [("Lightness as scanned, L*; light not told apart", line.raw)] if line.raw else []
    named = (
        ("Lightness as scanned, L*", line.raw),
        ("Of that, light and exposure", line.light),
        ("Of that, the scanner’s own curve", line.scanner),
        ("Of that, the paper", line.paper),
    )
    return [(name, value) for name, value in named if value]


@dataclass(frozen=True, slots=True)
class LightInAll:
    """All pages of an item: medians of the parts over the pages where they are told apart."""

    told: int
    pages: int
    rows: tuple[tuple[str, Shown, Shown, Shown], ...]
    says: str


_ROWS: tuple[tuple[str, Callable[[LightLine], Shown]], ...] = (
    ("As the pictures show it", lambda line: line.raw),
    ("Of that, light and exposure", lambda line: line.light),
    ("Of that, the scanner’s own curve and colours", lambda line: line.scanner),
    ("Left: the paper", lambda line: line.paper),
)


def light_in_all(lines: Iterable[LightLine]) -> LightInAll:
    """Median, least and most of each part; u is the largest of the pages', because what errs
    (strip, scanner) is common to them."""
    every = tuple(lines)
    told = [line for line in every if line.word == TOLD]
    rows = []
    for name, pick in _ROWS:
        values = [pick(line) for line in told if pick(line).value is not None]
        if values:
            rows.append((name, _median(values), *_ends(values)))
    left = len(every) - len(told)
    says = f"On {len(told)} of {len(every)} pages the strip tells light and paper apart."
    if left:
        counts = {word: sum(line.word == word for line in every) for word in _WHY}
        says += " " + " ".join(
            f"On {count}: {_WHY[word]}." for word, count in counts.items() if count
        )
    return LightInAll(len(told), len(every), tuple(rows), says)


_WHY = {
    OPEN: "no strip in both pictures, so they cannot be told apart; the strip beside the leaf "
    "would tell",
    TOO_FAR: "light or exposure changed by more than can be taken out",
    NOT_KEPT: "compared before the light’s part was kept, so it is not told",
}


def _median(values: list[Shown]) -> Shown:
    middle = statistics.median(one.value or 0.0 for one in values)
    u = max((one.u or 0.0) for one in values)
    text = signed(values[0].quantity, show(Measured(middle, u, "1")))
    refs = tuple(ref for one in values for ref in one.refs)
    return Shown(text, refs, f"{values[0].quantity}:median", middle, u, "1")


def _ends(values: list[Shown]) -> tuple[Shown, Shown]:
    low = min(values, key=lambda one: one.value or 0.0)
    return low, max(values, key=lambda one: one.value or 0.0)
