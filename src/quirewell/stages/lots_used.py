"""Lots from the shelf in a step: picked by name, refused past their day, counted as they go.

What is left of a lot is worked out from the amounts that steps name (:mod:`.stock`), so that the
record of the step is the only entry to make.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.books import StockLot
from quirewell.record.nouns import Lot, Step
from quirewell.stages import typed
from quirewell.stages.objecting import Objection, instant
from quirewell.stages.own_sales import plain, same_title
from quirewell.stages.refusal import no
from quirewell.stages.stock import last_day

Form = Mapping[str, str]
RULE = "past-its-day"


def on_shelf(bench: BenchState) -> tuple[StockLot, ...]:
    """Lots that can be picked, by material."""
    lots = (lot for lot in bench.stock.values() if not lot.gone)
    return tuple(sorted(lots, key=lambda one: (one.material.casefold(), one.lot)))


def with_picked(step: Step, form: Form, bench: BenchState | None) -> Step:
    """The step with the lot picked from the shelf (``shelf``, by id; ``used``, an amount in the
    lot's unit or with its own).

    Raises:
        Refusal: a lot that is not there, or an amount that cannot be read.
    """
    picked = form.get("shelf", "").strip()
    if not picked:
        if form.get("used", "").strip():
            raise no(form, "shelf", "Say from which lot this amount was taken.")
        return step
    held = bench.stock.get(picked) if bench is not None else None
    if held is None or held.gone:
        raise no(form, "shelf", "That lot is not on the shelf any more; choose another.")
    amount = _amount(form, held)
    mine = Lot(held.material, held.lot, amount)
    others = tuple(lot for lot in step.lots if not _is(lot, held) or lot.amount)
    return replace(step, lots=(*others, mine))


def _amount(form: Form, held: StockLot) -> str:
    text = form.get("used", "").strip()
    if not text:
        return ""
    try:
        found = typed.amount(text)
    except typed.Unreadable as error:
        raise no(form, "used", f"{error}.") from error
    if found.value < 0:
        raise no(form, "used", f"An amount used is 0 or more, got {text[:40]}.")
    return f"{plain(found.value)} {found.unit or held.unit}".strip()


def _is(lot: Lot, held: StockLot) -> bool:
    return same_title(lot.material, held.material) and same_title(lot.lot, held.lot)


def lot_objections(bench: BenchState | None, step: Step | None, at: str) -> tuple[Objection, ...]:
    """Lots of a step that are past their last day at the moment it begins."""
    moment = instant(at)
    if bench is None or step is None or moment is None:
        return ()
    return tuple(
        Objection(
            RULE,
            f"{_name(held)} is past its day ({last}). Try it on waste first and say so as the "
            "reason, or make it fresh.",
        )
        for held, last in _past(bench, step.lots, moment.date())
    )


def _past(bench: BenchState, lots: Iterable[Lot], today: date) -> list[tuple[StockLot, date]]:
    found = []
    for lot in lots:
        for held in bench.stock.values():
            last = last_day(held)
            if _is(lot, held) and not held.gone and last is not None and last < today:
                found.append((held, last))
    return found


def _name(held: StockLot) -> str:
    return held.material + (f", lot {held.lot}" if held.lot else "")


def shelf_words(held: StockLot, left: Decimal | None) -> str:
    """A lot as it is picked: material, lot, what is left, its last day."""
    last = last_day(held)
    parts = [_name(held)]
    parts += [f"{plain(left)} {held.unit} left".strip()] if left is not None else []
    parts += [f"until {last}"] if last is not None else []
    return ", ".join(parts)
