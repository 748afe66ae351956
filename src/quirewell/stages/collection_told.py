"""What a survey found, in figures for a script and in a few lines."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import Any

import pyarrow as pa

from quirewell.stages.collection_ranking import Criterion, Group, Ranking

MOST_FIRST = 10
_WIDTH = 88
NOT_SEEN = (
    "A scan shows one side, in flat light. Brittleness, acidity, closed tears, splits along a fold "
    "and losses under an old repair do not show and are not part of this."
)
RULE = (
    "An item comes first when it is surely among the first tenth in more of the three things "
    "looked at (missing area, darkening, longest open tear), then when it may be among them in "
    "more. Surely means: even at its worst place, with every band of 90 % that overlaps its own "
    "counted against it. The three are never added up, and items alike by this rule are tied."
)
HOW_WRONG = (
    "Of ten bands about one does not hold the true value. A tone is compared with the median of "
    "the scans by the same scanner and colour profile. Where the grey strip lies beside the leaf "
    "it is first brought to the strip's greys; elsewhere it is compared as if that scanner had "
    "kept its setting, and where it did not the order by tone means nothing. Print that was taken "
    "for missing paper, or a tear that was not, moves an item: look at the leaf before anything "
    "is decided."
)


def time_left(seconds: float) -> str:
    """Roughly how long something still takes.

    >>> time_left(20), time_left(200), time_left(20_000)
    ('less than a minute left', 'about 3 minutes left', 'about 5.6 hours left')
    """
    minutes = seconds / 60
    if minutes < 1:
        return "less than a minute left"
    if minutes < 90:
        count = round(minutes)
        return f"about {count} minute{'s' * (count > 1)} left"
    return f"about {minutes / 60:.1f} hours left"


def group_words(group: Group) -> str:
    """Why the items of a group stand where they stand.

    >>> import numpy as np
    >>> group_words(Group(2, 1, np.zeros(1, np.int64)))
    'surely among the first tenth in 2 things, perhaps in 1 more'
    >>> group_words(Group(0, 0, np.zeros(1, np.int64)))
    'among the first tenth in none of the three'
    """
    sure, may = group.surely, group.perhaps
    if not sure and not may:
        return "among the first tenth in none of the three"
    if not sure:
        return f"perhaps among the first tenth in {_things(may)}"
    return f"surely among the first tenth in {_things(sure)}" + (
        f", perhaps in {may} more" if may else ""
    )


def _things(count: int) -> str:
    return f"{count} thing{'s' * (count > 1)}"


def value_words(one: Criterion, at: int) -> str:
    """A value with its 90 % band and places, as "4.2 % of the leaf (3.9 to 4.5), place 1 to 3"."""
    if one.key == "tear" and one.value[at] == 0:
        return f"none seen (up to {one.high[at]:.0f} mm may pass unseen)"
    best, worst = int(one.standings.best[at]), int(one.standings.worst[at])
    place = f"place {best}" if best == worst else f"place {best} to {worst}"
    digits = 2 if one.key == "loss" and one.value[at] < 1 else 1
    numbers = [float(one.value[at]), float(one.low[at]), float(one.high[at])]
    side = ""
    if one.key == "tone":
        side = " darker"
        if numbers[0] < 0:
            side, numbers = " lighter", [-numbers[0], -numbers[2], -numbers[1]]
    value, low, high = (f"{number:.{digits}f}" for number in numbers)
    words = f"{value} {one.unit}{side} ({low} to {high}{side}), {place} of {len(one.rows)}"
    return words.replace("-", "\N{MINUS SIGN}")


def summary(table: pa.Table, ranking: Ranking) -> dict[str, Any]:
    """Figures of a survey as plain data, the first items with their reasons."""
    files = table["file"].to_pylist()
    errors = table["error"].to_pylist()
    ordered = [(group, int(row)) for group in ranking.groups for row in group.rows]
    bases = Counter(text for text in table["tone_basis"].to_pylist() if text)
    places = [{int(row): at for at, row in enumerate(one.rows)} for one in ranking.criteria]
    return {
        "files": table.num_rows,
        "measured": sum(not text for text in errors),
        "could_not_be_measured": sum(bool(text) for text in errors),
        "same_as_another": sum(bool(text) for text in table["same_as"].to_pylist()),
        "without_a_scale": sum(source == "none" for source in table["scale_source"].to_pylist()),
        "tone_rests_on": dict(sorted(bases.items())),
        "rule": RULE,
        "how_wrong": HOW_WRONG,
        "not_seen": NOT_SEEN,
        "first": [
            {
                "file": files[row], "group": ranking.groups.index(group) + 1,
                "why": group_words(group),
                **{one.key: value_words(one, at[row]) if row in at else None
                   for one, at in zip(ranking.criteria, places, strict=True)},
            }
            for group, row in ordered[:MOST_FIRST]
        ],
        "tied_in_groups": [
            {"group": number, "why": group_words(group), "items": len(group.rows)}
            for number, group in enumerate(ranking.groups, 1)
        ],
        "not_measurable_here": {words: len(rows) for words, rows in
                                ranking.not_measurable.items()},
        "says_nothing_of": {one.key: one.unknown for one in ranking.criteria},
    }  # fmt: skip


def summary_lines(said: dict[str, Any]) -> list[str]:
    """The same in a few lines."""
    lines = [f"{said['files']} files, {said['measured']} measured"]
    if said["could_not_be_measured"]:
        lines[0] += f", {said['could_not_be_measured']} could not be measured"
    if said["same_as_another"]:
        lines[0] += f", {said['same_as_another']} the same as another"
    if said["without_a_scale"]:
        lines.append(
            f"{said['without_a_scale']} without a scale: missing area as a share of the leaf, no "
            "lengths"
        )
    if said["tone_rests_on"]:
        bases = ", ".join(f"{name} {count}" for name, count in said["tone_rests_on"].items())
        lines.append(f"tone rests on: {bases}")
    lines += ["", "What needs treatment first"]
    for one in said["first"]:
        lines.append(f"  {one['group']:>2}  {one['file']}")
        lines += _wrapped(f"{one['why']}.", 6)
        for key, name in (("loss", "missing"), ("tone", "tone"), ("tear", "tear")):
            lines += [f"      {name + ':':<9}{one[key]}"] if one[key] else []
    for words, count in said["not_measurable_here"].items():
        lines += _wrapped(f"Not measurable here: {count}, {words}.", 2)
    for title in ("rule", "how_wrong", "not_seen"):
        lines += ["", *_wrapped(said[title], 0)]
    return lines


def _wrapped(text: str, indent: int) -> list[str]:
    pad = " " * indent
    return textwrap.wrap(text, _WIDTH, initial_indent=pad, subsequent_indent=pad)
