"""What a report says, before it has a shape: text, and numbers that know where they come from.

A report is nested lists and mappings of text, truth values and :class:`Shown`. A bare number
cannot get in, and a :class:`Shown` whose finding or record is not in the journal stops the
report: nothing is printed that cannot be asked about.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from quirewell.record.nouns import ItemState
from quirewell.stages.results import Shown

# Words typed by a person, as the record of this id holds them.
TYPED = "typed"
# The item's whole record: what is told of something that is not in it leads here.
JOURNAL = "journal"


class Untraceable(ValueError):
    """A number on its way into a report that no finding or record stands behind."""


@dataclass(frozen=True, slots=True)
class Said:
    """A report ready for its template, and the list of every number it shows."""

    content: dict[str, Any]
    numbers: tuple[Shown, ...]


def typed(text: str, *refs: str) -> Shown:
    """Words that the records ``refs`` hold: in the report they lead to their entries."""
    return Shown(text, refs, TYPED)


def known_refs(state: ItemState) -> frozenset[str]:
    """Ids of everything a number may come from: findings, runs, and records of the item."""
    refs = {"item", JOURNAL} | ({"gathering"} if state.gathering else set())
    for run in state.runs.values():
        refs.add(f"run:{run.id}")
        refs.update(finding.id for finding in run.findings)
    for collection in (
        state.captures, state.readings, state.defects, state.grades, state.remaining,
        state.spot_tests, state.overrides, state.steps, state.baths, state.margins,
        state.staples, state.found, state.holes, state.joined,
        state.choices, state.custodies, state.quotes, state.invoices, state.costs, state.times,
        state.mishaps, state.checks, state.keeps, state.pilots, state.trials,
        state.laters, state.next_checks, state.claims, state.returned, state.sold,
    ):  # fmt: skip
        refs.update(collection)
    return frozenset(refs)


def settle(content: dict[str, Any], refs: frozenset[str]) -> Said:
    """Content with every :class:`Shown` turned into its text, and the list of them.

    Raises:
        Untraceable: a bare number, or a shown number without a finding in ``refs``.
    """
    numbers: list[Shown] = []
    settled = _settle(content, refs, numbers, "report")
    assert isinstance(settled, dict)
    return Said(settled, tuple(dict.fromkeys(numbers)))


def _settle(value: Any, refs: frozenset[str], numbers: list[Shown], where: str) -> Any:
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Shown):
        _check(value, refs, where)
        if value.text:
            numbers.append(value)
        return value.text
    if isinstance(value, dict):
        return {k: _settle(v, refs, numbers, f"{where}.{k}") for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_settle(v, refs, numbers, f"{where}[{i}]") for i, v in enumerate(value)]
    raise Untraceable(f"{where}: {value!r} is a bare number; show it with the finding it came from")


def _check(shown: Shown, refs: frozenset[str], where: str) -> None:
    if not shown.text:
        return
    if not shown.refs:
        raise Untraceable(f"{where}: {shown.text!r} names no finding and no record")
    for ref in shown.refs:
        if ref not in refs:
            raise Untraceable(f"{where}: {shown.text!r} names {ref!r}, which is not in the journal")
