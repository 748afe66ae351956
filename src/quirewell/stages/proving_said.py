"""The evidence of an item in plain words: verdicts, and what it would take to know more."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from quirewell.science.evidence.over_units import MeanChange, units_needed
from quirewell.stages.asking import band_text, unit_text
from quirewell.stages.evidence_table import Evidence
from quirewell.stages.naming import place_words

if TYPE_CHECKING:
    from quirewell.stages.proving_change import Given

MOST_NAMED = 6
# What narrows a term that all leaves share, by its name; each costs little.
_TOOLS = {
    "humidity": "a hygrometer read beside the item at both moments, or both measured at one "
    "humidity",
    "scanner": "the scanner calibrated once, and each leaf laid on the same place of the glass",
    "scale": "the bench strip in every scan, its length read once on a steel rule",
    "colour": "a grey card with known steps in every scan",
    "resolution": "an instrument with a finer step",
}


def size_said(value: float, unit: str) -> str:
    """A size without an uncertainty of its own, as it was set: "0.5 mm".

    >>> size_said(0.5, "mm"), size_said(1.0, "pH")
    ('0.5 mm', '1')
    """
    return f"{value:.4g} {unit_text(unit)}".strip().replace("-", "\u2212")


def up(value: float) -> float:
    """A size rounded up to two figures: what is claimed to be seen is never rounded down.

    >>> up(0.1312), up(0.13)
    (0.14, 0.13)
    """
    if not value > 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return round(math.ceil(value / step - 1e-9) * step, 12)


def change_said(found: MeanChange, unit: str) -> str:
    """The mean change with its 90 % interval: "−0.03 mm (−0.12 to 0.06)"."""
    middle, low, high = band_text(found.mean, found.low, found.high)
    sign = "+" if found.mean > 0 and middle.strip("0.") else ""
    return f"{sign}{middle} {unit_text(unit)}".strip() + f" (90 %: {low} to {high})"


def verdict_said(
    about: Evidence, found: MeanChange, margin: float | None, cure: str, beyond: str = ""
) -> str:  # fmt: skip
    """The verdict as a sentence that begins with its word; ``beyond`` tells of single leaves."""
    word, unit = found.word(margin), about.unit
    numbers = f"on average {change_said(found, unit)} over {found.units} {found.noun}"
    seen = (
        f"a true change of {size_said(up(found.smallest_seen), unit)} would surely have been seen"
    )
    if word == "unchanged":
        assert margin is not None
        real = "; a change smaller than that was seen" if found.shifted else f"; {seen}"
        return (
            f"unchanged within {size_said(margin, unit)}: {numbers}, margin set beforehand{real}"
            f"{beyond}"
        )
    if word == "changed":
        more = ""
        if margin is not None and min(abs(found.low), abs(found.high)) > margin:
            more = f", more than the {size_said(margin, unit)} set beforehand"
        elif margin is not None:
            more = f"; whether by more than {size_said(margin, unit)} cannot be told"
        return f"changed: {numbers}{more}"
    within = f" whether it stayed within {size_said(margin, unit)}" if margin is not None else ""
    none = "" if margin is not None else f"; no change was found, and {seen}"
    return f"cannot tell{within}: {numbers}{none}. It would take {cure}."


def cure(given: Given, found: MeanChange) -> str:
    """What it would take: leaves where more of them would do, else the one cheap tool."""
    shared = math.sqrt(sum(one.u**2 for one in given.shared))
    if given.margin is None:
        return (
            "a margin locked before anything is measured again; this item would have passed "
            f"{size_said(up(found.would_pass), given.unit)}"
        )
    needed = units_needed(given.margin, found.sd, shared, true_change=min(
        abs(found.mean), 0.9 * given.margin))  # fmt: skip
    if needed is not None and needed > found.units:
        return (
            f"{needed} {found.noun} in place of {found.units} (80 of 100 cases, if the mean seen "
            f"is the truth), or {narrows(given, found)}"
        )
    return narrows(given, found)


def narrows(given: Given, found: MeanChange) -> str:
    """The one cheap thing that narrows the largest term most."""
    largest = found.budget.largest.name
    if largest == found.noun and "read" not in given.source:
        return f"more {found.noun}: most of it is how they differ, which no tool narrows"
    return _TOOLS.get(largest, given.about.tool)


def places_said(places: Iterable[str]) -> str:
    """Leaves in words, a few by name."""
    names = [leaf_said(place) for place in places]
    if len(names) > MOST_NAMED:
        return f"{'; '.join(names[:MOST_NAMED])}; and {len(names) - MOST_NAMED} more"
    return "; ".join(names)


def leaf_said(place: str) -> str:
    """A leaf by its outer page: "wrap 3, right leaf"; another place by its own words.

    >>> leaf_said("w03.outer.right"), leaf_said("c.outer.left")
    ('wrap 3, right leaf', 'cover, left leaf')
    """
    parts = place.split(".")
    if len(parts) == 3:
        return f"{place_words(parts[0])}, {parts[2]} leaf"
    return place_words(place)
