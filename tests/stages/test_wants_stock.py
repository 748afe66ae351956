"""Rates, wants with the copies that stand in, and lots on the shelf."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from quirewell.record.apply_bench import apply_bench
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.dealing import Returned
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import GradeEstimate, Item, ItemState, Lot, Step
from quirewell.stages import books, stock
from quirewell.stages.item_account import held_says
from quirewell.stages.refusal import Refusal

TODAY = date(2026, 6, 1)
TITLE = "Copperbeck Garden Annual"


def after(bench: BenchState, drafts: tuple[Draft, ...]) -> BenchState:
    for draft in drafts:
        event = Event(1, "studio", bench.version + 1, draft.kind, draft.body, "", "", "", "", "")
        bench = apply_bench(bench, event)
    return bench


def item(key: str, grade: str | None = None, title: str = TITLE, year: str = "1936") -> ItemState:
    own = {} if grade is None else {"grade.before": GradeEstimate("before", Decimal(grade))}
    return ItemState(key, 1, Item(title, year), grades=own)


def test_rates_need_no_more_than_a_currency() -> None:
    bench = after(EMPTY_BENCH, books.set_rates(EMPTY_BENCH, {"hour": "18,50 €"}))
    rate = bench.rate()
    assert rate is not None
    assert (rate.currency, rate.hour, rate.overhead_pct) == ("EUR", Decimal("18.50"), None)
    for form, field in (
        ({}, "currency"), ({"currency": "EUR", "hour": "x"}, "hour"),
        ({"currency": "EUR", "hour": "5 £"}, "hour"),
        ({"currency": "EUR", "sale_fee_pct": "120"}, "sale_fee_pct"),
        ({"currency": "EUR", "overhead_pct": "-1"}, "overhead_pct"),
    ):  # fmt: skip
        with pytest.raises(Refusal) as caught:
            books.set_rates(EMPTY_BENCH, form)
        assert caught.value.problems[0].field == field


def test_a_want_is_stood_in_for_and_a_better_copy_is_said() -> None:
    bench = after(EMPTY_BENCH, books.note_want(EMPTY_BENCH, {"title": TITLE, "grade_from": "5"}))
    (key,) = bench.wants
    poor, fine, other = item("poor", "3"), item("fine", "6.0"), item("other", "9", "Almanac")
    (seen,) = books.wants_view(bench, [poor, other])
    assert not seen.better
    assert [one.item for one in seen.others] == ["poor"]
    assert held_says(fine, bench) == (
        "A copy of Copperbeck Garden Annual is wanted from grade 5 on: see the wants."
    )
    bench = after(bench, books.stand_in(bench, {"id": key, "item": "poor"}))
    assert "until a better one turns up" in held_says(poor, bench)
    (seen,) = books.wants_view(bench, [poor, fine, other])
    assert seen.better.startswith("A better copy is here: 6.0, own estimate, against 3")
    (seen,) = books.wants_view(bench, [poor, item("some", "4")])
    assert "still below the 5 wanted" in seen.better
    bench = after(bench, books.meet_want(bench, {"id": key, "item": "fine"}))
    (seen,) = books.wants_view(bench, [poor, fine])
    assert seen.want.met
    assert not seen.better
    assert bench.wants[key].item == "fine"


def test_another_year_is_another_publication_and_a_returned_grade_goes_first() -> None:
    bench = after(EMPTY_BENCH, books.note_want(EMPTY_BENCH, {"title": TITLE, "year": "1936"}))
    (seen,) = books.wants_view(bench, [item("a", "3", year="1937"), item("b", "4", year="")])
    assert [one.item for one in seen.others] == ["b"]
    back = replace(item("c", "3"), returned={"r": Returned("r", Decimal("6.5"))})
    assert books.grade_of(back) == (Decimal("6.5"), "as it came back")


@pytest.mark.parametrize(
    ("form", "field"),
    [({"title": " "}, "title"), ({"title": "A", "grade_from": "11"}, "grade_from"),
     ({"title": "A", "most": "x"}, "most"), ({"title": "A", "id": "want-9"}, "title")],
)  # fmt: skip
def test_wants_that_cannot_be_are_refused(form: dict[str, str], field: str) -> None:
    with pytest.raises(Refusal) as caught:
        books.note_want(EMPTY_BENCH, form)
    assert caught.value.problems[0].field == field


def test_a_record_of_the_books_is_set_aside_and_no_other() -> None:
    bench = after(EMPTY_BENCH, books.note_want(EMPTY_BENCH, {"title": TITLE}))
    (key,) = bench.wants
    assert not after(bench, books.set_aside(bench, {"id": key})).wants
    with pytest.raises(Refusal):
        books.set_aside(bench, {"id": "strip-reading-1"})


# --- stock ------------------------------------------------------------------------------------


def lots(form: dict[str, str], bench: BenchState = EMPTY_BENCH) -> BenchState:
    return after(bench, stock.keep_lot(bench, form))


def worked(*used: Lot, day: str = "2026-05-20") -> ItemState:
    step = Step("step-1", "mend", ("w01",), "done", lots=used, done_at=f"{day}T10:00:00Z")
    return replace(item("a"), steps={"step-1": step})


def test_a_lot_past_its_day_is_said_and_none_without_a_day() -> None:
    bench = lots({"material": "starch", "keeps_until": "2026-05-31"})
    _, says = stock.stock_view(bench, (), TODAY)
    assert says == (
        "starch is past its day (2026-05-31): try it on waste first, or make it fresh.",
    )
    assert stock.age_warnings(bench, TODAY) == says
    assert stock.stock_view(lots({"material": "kozo tissue"}), (), TODAY)[1] == ()


def test_days_once_opened_count_from_the_day_it_was_opened() -> None:
    bench = lots({"material": "paste", "days_opened": "3", "keeps_until": "2026-12-31"})
    (key,) = bench.stock
    assert stock.last_day(bench.stock[key]) == date(2026, 12, 31)
    bench = after(
        bench, stock.mark_lot(bench, {"id": key, "what": "opened", "today": "2026-05-30"})
    )
    assert stock.last_day(bench.stock[key]) == date(2026, 6, 2)
    assert stock.stock_view(bench, (), TODAY)[1] == ("paste keeps until 2026-06-02.",)
    assert stock.age_warnings(bench, TODAY) == ()
    bench = after(bench, stock.mark_lot(bench, {"id": key, "what": "gone"}))
    assert stock.stock_view(bench, (), TODAY)[1] == ()


def test_a_day_beyond_all_calendars_is_no_fault() -> None:
    bench = lots({"material": "stone", "opened_on": "9999-12-31", "days_opened": "36500"})
    assert stock.stock_view(bench, (), TODAY)[1] == ()


def test_uses_are_counted_where_their_amount_is_known() -> None:
    bench = lots({"material": "Methyl cellulose", "lot": "A1", "amount": "0,5 l"})
    used = worked(
        Lot("methyl cellulose", "a1", "120 ml"), Lot("methyl cellulose", "A1", "two strips"),
        Lot("methyl cellulose", "B2", "100 ml"), Lot("methyl cellulose", "A1", "0.08"),
    )  # fmt: skip
    ((seen,), says) = stock.stock_view(bench, stock.used_in(used), TODAY)
    assert seen.left_says == "0.3 l, less one use of no known amount"
    assert says == ()


def test_a_lot_nearly_used_up_is_said() -> None:
    bench = lots({"material": "tissue", "lot": "K", "amount": "1 m"})
    _, says = stock.stock_view(bench, stock.used_in(worked(Lot("tissue", "K", "95 cm"))), TODAY)
    assert says == ("tissue, lot K is nearly used up (0.05 m left).",)
    _, says = stock.stock_view(bench, stock.used_in(worked(Lot("tissue", "K", "3 m"))), TODAY)
    assert "is used up" in says[0]


def test_what_was_seen_to_be_left_counts_from_its_day() -> None:
    bench = lots({"material": "tissue", "lot": "K", "amount": "100 g", "left": "40 g",
                  "today": "2026-05-20"})  # fmt: skip
    used = [worked(Lot("tissue", "K", "30 g"), day="2026-05-10"),
            worked(Lot("tissue", "K", "5 g"), day="2026-05-25")]  # fmt: skip
    took = [row for one in used for row in stock.used_in(one)]
    ((seen,), _) = stock.stock_view(bench, took, TODAY)
    assert seen.left_says == "35 g"


@pytest.mark.parametrize(
    ("form", "field"),
    [({}, "material"), ({"material": "a", "amount": "much"}, "amount"),
     ({"material": "a", "amount": "9" * 400}, "amount"),
     ({"material": "a", "amount": "5 g", "left": "2 ml"}, "left"),
     ({"material": "a", "days_opened": "2.5"}, "days_opened"),
     ({"material": "a", "keeps_until": "soon"}, "keeps_until"),
     ({"material": "a", "cost": "x"}, "cost")],
)  # fmt: skip
def test_lots_that_cannot_be_are_refused(form: dict[str, str], field: str) -> None:
    with pytest.raises(Refusal) as caught:
        stock.keep_lot(EMPTY_BENCH, form)
    assert caught.value.problems[0].field == field
