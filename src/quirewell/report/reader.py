"""As the reader likes it: lengths in millimetres or inches, warmth in C or F, and the language.

Only the text of a number changes, never the number: the manifest keeps value and unit as measured,
so that a report in inches is rechecked like any other. Sentences that a method or a person wrote
keep their own units, and the report says so.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from quirewell.report.languages import ENGLISH, Words, fixed_texts
from quirewell.stages.asking import say
from quirewell.stages.results import Shown, two_figures

UNITS = ("metric", "inches")
MM_PER_INCH = 25.4
KEPT = (
    "Lengths that were measured stand in inches and warmth in °F; sentences and readings by hand "
    "keep the units they were written in. The record itself is in millimetres and °C."
)
# unit -> (unit, value, uncertainty): exact by definition of the inch (25.4 mm) and of °F.
_TURNED: dict[str, tuple[str, Callable[[float], float], float]] = {
    "mm": ("in", lambda value: value / MM_PER_INCH, 1 / MM_PER_INCH),
    "mm2": ("in²", lambda value: value / MM_PER_INCH**2, 1 / MM_PER_INCH**2),
    "um": ("mil", lambda value: value / MM_PER_INCH, 1 / MM_PER_INCH),
    "C": ("°F", lambda value: value * 9 / 5 + 32, 9 / 5),
}
_NUMBER = r"[+\u2212-]?\d+(?:\.\d+)?"
_PLAIN = re.compile(rf"\+?({_NUMBER})( ± \d+(?:\.\d+)?)? (mm²|mm|µm|°C)")


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads: ``units`` "metric" or "inches", and the words of a language."""

    units: str = "metric"
    words: Words = field(default=ENGLISH)

    def __post_init__(self) -> None:
        if self.units not in UNITS:
            raise ValueError(f"units are {' or '.join(UNITS)}, got {self.units!r}")

    @property
    def plain(self) -> bool:
        """Whether nothing is to be changed."""
        return self.units == "metric" and self.words is ENGLISH

    def said_of_it(self) -> dict[str, Any]:
        """What a template is told of the reader: its words, and which units were kept."""
        kept = {} if self.units == "metric" else {"kept": self.words.say(KEPT)}
        if self.words is ENGLISH:
            return kept
        own = {text: self.words.say(text) for text in fixed_texts(*HOUSE)}
        return {"lang": self.words.tag, "words": own} | kept

    def as_read(self, content: Any) -> Any:
        """Content with its numbers and words as this reader likes them."""
        if self.plain:
            return content
        if isinstance(content, Shown):
            turned = in_inches(content) if self.units == "inches" else content
            return replace(turned, text=self.words.say(turned.text))
        if isinstance(content, str):
            return self.words.say(content)
        if isinstance(content, dict):
            return {key: self._kept(key, one) for key, one in content.items()}
        if isinstance(content, (list, tuple)):
            return [self.as_read(one) for one in content]
        return content

    def _kept(self, key: str, one: Any) -> Any:
        """Names of files, kinds of parts and measures are no words."""
        return one if key in NO_WORDS else self.as_read(one)


PLAIN = Reader()
HOUSE = ("house.typ", "treatment.typ", "paper.typ")  # whose own texts can be said otherwise
NO_WORDS = frozenset(
    ("kind", "file", "hash", "paper", "align", "widths", "head_hash", "drawing", "before_file",
     "source", "authors", "dated", "work")
)  # fmt: skip


def in_inches(shown: Shown) -> Shown:
    """A number as shown, in inches or °F where it is a plain length, area or warmth.

    >>> in_inches(Shown("265.31 ± 0.14 mm", ("a",), "leaf.height_mm", 265.31, 0.0715, "mm")).text
    '10.4453 ± 0.0056 in'
    >>> in_inches(Shown("at least 206.8 mm: an edge lies outside", ("a",))).text
    'at least 206.8 mm: an edge lies outside'
    """
    turn = _TURNED.get(shown.unit)
    match = _PLAIN.fullmatch(shown.text)
    if turn is None or match is None or shown.value is None:
        return shown
    unit, value_of, share = turn
    change = shown.text.startswith("+") or shown.quantity.startswith("change.")
    value = shown.value * share if change else value_of(shown.value)
    if match[2] is not None and shown.u is not None:
        text = say(value, shown.u * share, unit)
    else:
        text = f"{_as_sharp(value, match[1], share)} {unit}"
    sign = "+" if shown.text.startswith("+") and value > 0 else ""
    return replace(shown, text=f"{sign}{text}")


def _as_sharp(value: float, written: str, share: float) -> str:
    """``value`` to no coarser a last place than the number as ``written``, turned by ``share``."""
    places = len(written.partition(".")[2])
    step = 10.0**-places * share
    wanted = 0
    while 10.0**-wanted > step * 1.01 and wanted < 6:
        wanted += 1
    return f"{value:.{wanted}f}".replace("-", "\u2212") if wanted else two_figures(value)
