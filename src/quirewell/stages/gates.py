"""The questions asked before a dangerous step, all in one place: ink test, checks, keep list and
pilot before water; dry paper before heat; mould out of the chamber; a bath or a lot that is spent.
"""

from __future__ import annotations

from collections.abc import Sequence

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState, Step
from quirewell.stages.bath_state import bath_objections
from quirewell.stages.checks import QUESTIONS, check_objections
from quirewell.stages.ink_gate import (
    INK_TEST,
    ink_objections,
    ink_pointers,
    ink_tests_of,
    liquid_class,
    wish_of,
)
from quirewell.stages.keeping import keep_objections, keep_words, keeps_at, shown_before
from quirewell.stages.lots_used import lot_objections
from quirewell.stages.objecting import Objection, is_damp, listed, sheets_of
from quirewell.stages.pilot import pilot_objections
from quirewell.stages.step_table import StepKind

__all__ = [
    "HEAT_ON_DAMP", "INK_TEST", "Objection", "ink_tests_of", "is_damp", "liquid_class",
    "objections", "pointers", "rule_words", "sheets_of",
]  # fmt: skip

HEAT_ON_DAMP = "heat-on-damp"
WARM_C = 40
_RULES = {
    INK_TEST: "ink test before water", HEAT_ON_DAMP: "no heat on damp paper",
    "keep-untested": "ink of what is kept, tested", "pilot-first": "a pilot first",
    "mould-chamber": "no mould in the chamber", "bath-spent": "a bath that is not spent",
    "past-its-day": "materials before their last day",
    **{key: row.name[:1].lower() + row.name[1:] for key, row in QUESTIONS.items()},
}  # fmt: skip


def rule_words(rule: str) -> str:
    """What a rule that was passed over asks, in words; the rule itself where none is known.

    >>> rule_words("pilot-first")
    'a pilot first'
    """
    return _RULES.get(rule, rule)


def objections(
    state: ItemState,
    kind: StepKind,
    places: Sequence[str],
    temperature_c: float | None = None,
    *,
    step: Step | None = None,
    bench: BenchState | None = None,
    at: str = "",
) -> tuple[Objection, ...]:
    """What speaks against starting a step of this kind on these places now.

    ``step`` adds what is known of it (way, minutes, bath, lots), ``bench`` the shelf its lots come
    from, ``at`` the moment it begins.
    """
    found: list[Objection] = []
    wish = wish_of(state, kind, temperature_c, step)
    if kind.aqueous:
        found += ink_objections(state, kind, places, wish)
        found += keep_objections(state, kind, places, wish)
    found += pilot_objections(state, kind, places)
    found += check_objections(state, kind, places)
    warmed = kind.heat or kind.wets == "dry"  # a fold under an iron, a sheet before a heater
    if warmed and temperature_c is not None and temperature_c > WARM_C:
        found += _heat_objections(state, places)
    found += bath_objections(state, step, sheets_of(state, places))
    found += lot_objections(bench, step, at)
    return tuple(found)


def pointers(
    state: ItemState,
    kind: StepKind,
    places: Sequence[str],
    temperature_c: float | None = None,
    *,
    step: Step | None = None,
) -> tuple[str, ...]:
    """What to look at before a step that holds nobody up: what ink tests leave unsaid, and what is
    to be kept where the step reaches."""
    out: list[str] = []
    if kind.aqueous:
        out += ink_pointers(state, places, wish_of(state, kind, temperature_c, step))
    if shown_before(kind):
        out += [f"To be kept: {keep_words(keep)}." for keep in keeps_at(state, places)]
    return tuple(out)


def _heat_objections(state: ItemState, places: Sequence[str]) -> list[Objection]:
    damp = [sheet for sheet in sheets_of(state, places) if is_damp(state, sheet)]
    if not damp:
        return []
    return [
        Objection(
            HEAT_ON_DAMP,
            f"By this record {listed(damp)} was wetted and not dried since. Heat on damp acid "
            "paper ages it fast: record the drying first, or start it all the same with a reason.",
        )
    ]
