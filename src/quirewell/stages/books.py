"""The practice's rates and wants: commands on the studio's own stream, and their views."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.books import Rates, Want
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages import sale_cells, typed
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.own_sales import plain, same_title, title_key
from quirewell.stages.refusal import refused
from quirewell.stages.sale_entry import clean, for_page
from quirewell.studio.studio import STUDIO, Studio

Form = Mapping[str, str]
_SIGNS = 200
MINE = ("sales", "wants", "stock", "rates")


def made(noun: type, body: Mapping[str, object], form: Form, field: str) -> dict[str, object]:
    """A noun's body, checked; what is None is left out.

    Raises:
        Refusal: at ``field``.
    """
    given = {name: value for name, value in body.items() if value is not None}
    try:
        held: object = from_body(noun, given)
    except ValueError as error:
        raise refused(form, field, f"{error}".removeprefix(f"{noun.__name__}: ")) from error
    return to_body(held)


def number_of(form: Form, name: str, least: str = "0", most: str = "") -> str | None:
    """A number out of a box as plain text; None where it is empty.

    Raises:
        Refusal: no number, or outside its limits.
    """
    text = form.get(name, "").strip().rstrip("% ")
    if not text:
        return None
    try:
        value = typed.number(text)
    except typed.Unreadable as error:
        raise refused(form, name, f"{error}") from error
    if value < Decimal(least) or (most and value > Decimal(most)):
        ends = f"between {least} and {most}" if most else f"{least} or more"
        raise refused(form, name, f"this is {ends}, got {plain(value)}")
    return plain(value)


def money_of(form: Form, name: str, currency: str) -> tuple[str | None, str]:
    """An amount out of a box, and the currency that it or the books name.

    Raises:
        Refusal: no amount, or another currency.
    """
    text = form.get(name, "").strip()
    if not text:
        return None, currency
    try:
        amount = sale_cells.money(text, sale_cells.decimal_sign([text]))
    except typed.Unreadable as error:
        raise refused(form, name, for_page(error)) from error
    if currency and not sale_cells.agree(amount.currency, currency):
        says = f"this is in {amount.currency}, and the currency said here is {currency}"
        raise refused(form, name, says)
    return plain(amount.value), currency or amount.currency


def set_rates(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """The practice's ``currency``, ``hour``, ``overhead_pct`` and ``sale_fee_pct``.

    Raises:
        Refusal: a number that cannot be, or nothing said.
    """
    hour, unit = money_of(form, "hour", sale_cells.currency(form.get("currency", "")))
    body = {
        "id": f"rates-{bench.version + 1}", "currency": clean(unit, 20), "hour": hour,
        "overhead_pct": number_of(form, "overhead_pct", most="1000"),
        "sale_fee_pct": number_of(form, "sale_fee_pct", most="99"),
        "note": clean(form.get("note", ""), 500),
    }  # fmt: skip
    if not any(body[name] for name in ("currency", "hour", "overhead_pct", "sale_fee_pct")):
        raise refused(form, "currency", "say the currency first, as in EUR; the rest can wait")
    return (Draft(STUDIO, "rates.set", made(Rates, body, form, "hour")),)


def set_aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set a record of the books aside: ``id``; it stays in the journal.

    Raises:
        Refusal: no such record.
    """
    key = form.get("id", "")
    if not any(key in getattr(bench, name) for name in MINE):
        raise refused(form, "id", "there is no such record; it may have been set aside meanwhile")
    return (Draft(STUDIO, "record.retracted", to_body(Retract(key))),)


# --- wants ------------------------------------------------------------------------------------


def note_want(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """A want, new or (by ``id``) as it is now: only ``title`` is needed.

    Raises:
        Refusal: no title, or a number that cannot be.
    """
    known = form.get("id", "")
    if known and known not in bench.wants:
        raise refused(form, "title", "this want was set aside meanwhile; note it anew")
    if not form.get("title", "").strip():
        raise refused(form, "title", "say which publication is wanted")
    currency = bench.wants[known].currency if known else ""
    rate = bench.rate()
    most, unit = money_of(form, "most", currency or (rate.currency if rate else ""))
    body = {
        "id": known or f"want-{bench.version + 1}", "title": clean(form["title"], _SIGNS),
        "year": clean(form.get("year", ""), 20),
        "grade_from": number_of(form, "grade_from", "0.5", "10"), "most": most, "currency": unit,
        "item": form.get("item", ""), "met": bench.wants[known].met if known else False,
        "note": clean(form.get("note", ""), 500),
    }  # fmt: skip
    return (Draft(STUDIO, "want.noted", made(Want, body, form, "title")),)


def meet_want(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """A want met (``met`` yes or no), by an ``item`` where one is named.

    Raises:
        Refusal: no such want.
    """
    held = bench.wants.get(form.get("id", ""))
    if held is None:
        raise refused(form, "id", "there is no such want; it may have been set aside meanwhile")
    item = form.get("item", "") or held.item
    now = replace(held, met=form.get("met", "yes") != "no", item=item)
    return (Draft(STUDIO, "want.noted", to_body(now)),)


def stand_in(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Which item stands in for a want (``id``) until a better one turns up; ``item`` may be empty.

    Raises:
        Refusal: no such want.
    """
    held = bench.wants.get(form.get("id", ""))
    if held is None:
        raise refused(form, "id", "there is no such want; it may have been set aside meanwhile")
    return (Draft(STUDIO, "want.noted", to_body(replace(held, item=form.get("item", "")))),)


@dataclass(frozen=True, slots=True)
class Copy:
    """An item of a wanted title: its grade as far as it is known, and on whose word."""

    item: str
    title: str
    grade: Decimal | None
    by: str

    @property
    def says(self) -> str:
        """The grade in words."""
        return "no grade yet" if self.grade is None else f"{plain(self.grade)}, {self.by}"


@dataclass(frozen=True, slots=True)
class WantView:
    """A want, the copy that stands in, other copies here, and a sentence where one is better."""

    want: Want
    says: str
    stands: Copy | None
    others: tuple[Copy, ...]
    better: str


def wants_view(bench: BenchState, states: Iterable[ItemState]) -> tuple[WantView, ...]:
    """The wants, open ones first, each with the copies the studio holds."""
    items = tuple(one for one in states if "sold" not in one.sold)
    held = [_want(one, items) for one in bench.wants.values()]
    return tuple(sorted(held, key=lambda one: (one.want.met, one.want.title.casefold())))


def wanted_states(studio: Studio) -> list[ItemState]:
    """The items that a want may be about, by their titles, so that no other need be read."""
    wants = studio.bench().wants.values()
    titles, named = {title_key(one.title) for one in wants}, {one.item for one in wants}
    return [
        studio.state(entry.id)
        for entry in studio.items()
        if entry.id in named or title_key(entry.title) in titles
    ]


def copies(states: Iterable[ItemState], want: Want) -> tuple[Copy, ...]:
    """Items of a wanted title (and year, where both name one)."""
    return tuple(
        Copy(one.id, one.item.title, *grade_of(one))
        for one in states
        if one.id == want.item
        or (
            same_title(one.item.title, want.title)
            and (not want.year or not one.item.year or want.year == one.item.year)
        )
    )


def grade_of(state: ItemState) -> tuple[Decimal | None, str]:
    """The grade to go by: one that came back, else the newest estimate from its damage, else the
    owner's own."""
    back = [one for one in state.returned.values() if one.grade is not None]
    if back:
        return back[-1].grade, "as it came back"
    run = state.newest_run(GRADE, "plan")
    if run is not None:
        found = next((one for one in run.findings if one.quantity == "condition.grade"), None)
        if found is not None and found.value is not None:
            return Decimal(f"{found.value:g}"), "estimated from its damage"
    for moment in ("after", "before"):
        own = state.grades.get(f"grade.{moment}")
        if own is not None and own.value is not None:
            return own.value, "own estimate"
    return None, ""


def _want(want: Want, items: Iterable[ItemState]) -> WantView:
    there = copies(items, want)
    stands = next((one for one in there if one.item == want.item), None)
    others = tuple(one for one in there if one is not stands)
    graded = [one for one in others if one.grade is not None]
    best = max(graded, key=lambda one: one.grade or Decimal(0), default=None)
    better = ""
    if best is not None and best.grade is not None and not want.met:
        enough = want.grade_from is None or best.grade >= want.grade_from
        if stands is None and enough:
            better = f"A copy is here: {best.title} at {best.says}."
        elif stands is not None and stands.grade is None and enough:
            better = f"Another copy is here at {best.says}; the stand-in has no grade yet."
        elif stands is not None and stands.grade is not None and best.grade > stands.grade:
            better = (
                f"A better copy is here: {best.says}, against {plain(stands.grade)} of the "
                f"stand-in ({stands.by})."
            )
            better += "" if enough else f" It is still below the {want.grade_from:f} wanted."
    return WantView(want, _want_says(want), stands, others, better)


def _want_says(want: Want) -> str:
    parts = [want.year] if want.year else []
    parts += [f"from grade {want.grade_from:f}"] if want.grade_from is not None else []
    parts += [f"up to {want.most:f} {want.currency}".strip()] if want.most is not None else []
    return ", ".join(parts)
