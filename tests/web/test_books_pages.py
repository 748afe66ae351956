"""The books and an item's money in the browser's forms."""

from __future__ import annotations

import html
import re
from datetime import date, timedelta

import pytest

from web.conftest import Bench

PAGES = ("/books", "/books/sales", "/books/collection", "/books/wants", "/books/stock",
         "/books/memory")  # fmt: skip
TABLE = (
    "Title;Sold on;Cond;Hammer\nCopperbeck Garden Annual;31.3.2025;4,5;80,00 €\n"
    "Copperbeck Garden Annual;2.4.2025;11;9 €\n<b>Almanac</b>;3.4.2025;;40 £\n"
)


def post(bench: Bench, path: str, form: dict[str, str], **files: object) -> tuple[int, str]:
    answer = bench.client.post(path, data=form, files=files or None)
    return answer.status_code, html.unescape(re.sub(r"</?small>", "", answer.text))


def csv_file(data: bytes | str, name: str = "sales.csv") -> tuple[str, bytes, str]:
    return (name, data.encode() if isinstance(data, str) else data, "text/csv")


@pytest.mark.parametrize("path", PAGES)
def test_every_empty_page_says_what_to_do(bench: Bench, path: str) -> None:
    answer = bench.client.get(path)
    assert answer.status_code == 200
    assert 'aria-current="page"' in answer.text
    assert "<h1>" in answer.text


def test_a_sale_by_hand_is_kept_listed_filtered_and_set_aside(bench: Bench) -> None:
    status, text = post(bench, "/books/sales/keep", {"title": "A & B", "price": "12,50 €"})
    assert status == 200
    assert "1 sale." in text and "12.50 EUR" in text
    assert "No title holds" in bench.client.get("/books/sales?title=zzz").text
    (key,) = bench.studio.bench().sales
    post(bench, "/books/sales/aside", {"id": key})
    assert not bench.studio.bench().sales


def test_a_refused_sale_keeps_what_was_typed(bench: Bench) -> None:
    status, text = post(
        bench, "/books/sales/keep", {"title": "Annual", "price": "9", "grade": "11"}
    )
    assert status == 422
    assert "up to 10, got 11" in text and 'value="Annual"' in text and 'value="11"' in text
    assert not bench.studio.bench().sales


def test_a_table_is_shown_first_and_kept_only_when_confirmed(bench: Bench) -> None:
    status, text = post(bench, "/books/sales/look", {}, file=csv_file(TABLE))
    assert status == 200
    assert "Nothing is saved yet" in text and "2 new sales, 1 set aside" in text
    assert "got 11" in text and "by its name 'Hammer'" in text
    assert not bench.studio.bench().sales
    form = {"table": TABLE, "came": "sales.csv", "step": "keep"}
    status, text = post(bench, "/books/sales/look", form)
    assert "2 sales." in text
    assert "&lt;b&gt;Almanac" in bench.client.get("/books/sales").text
    _, text = post(bench, "/books/sales/look", form)
    assert "No new sales, 2 here already, 1 set aside" in text
    assert len(bench.studio.bench().sales) == 2
    post(bench, "/books/sales/table-aside", {"came": "sales.csv"})
    assert not bench.studio.bench().sales


def test_columns_are_set_right_on_the_page(bench: Bench) -> None:
    rows = "what,one,two\nAnnual,5,7\n"
    status, text = post(bench, "/books/sales/look", {"table": rows})
    assert status == 422 and "Say which column is the price" in text
    told = {"table": rows, "col.0": "item", "col.1": "", "col.2": "price"}
    _, text = post(bench, "/books/sales/look", told)
    assert "1 new sale." in text
    post(bench, "/books/sales/look", told | {"step": "keep"})
    assert [one.price for one in bench.studio.bench().sales.values()] == [7]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04 sheet", "save it as CSV"),
        (b"", "Choose a CSV file"),
        (b"a\0b", "no text"),
        ("title,price\n" + "A,1\n" * 2001, "at most 2000 are taken"),
        ('title,price\n"A,1\n', "quote"),
        ("title,price\n" + "A" * 210_000 + ",1\n", "at most 200000 characters"),
    ],
)
def test_hostile_tables_are_refused_in_words(bench: Bench, data: bytes | str, words: str) -> None:
    for kind in ("sales", "collection"):
        status, text = post(bench, f"/books/{kind}/look", {}, file=csv_file(data))
        assert status == 422
        assert words in text
    assert not bench.studio.bench().sales


def test_fifty_megabytes_are_not_taken_in(bench: Bench) -> None:
    answer = bench.client.post("/books/sales/look", files={"file": csv_file(b"a" * (50 << 20))})
    assert answer.status_code == 413
    assert "larger than" in answer.text


def test_a_collection_is_opened_once(bench: Bench) -> None:
    rows = "Title,Year,Paid,Box\nLarkmoor Almanac,1921,4.50 €,shelf 2\n,1922,3,\n"
    _, text = post(bench, "/books/collection/look", {"table": rows})
    assert "1 new item, 1 set aside" in text
    assert len(bench.studio.items()) == 1
    _, text = post(bench, "/books/collection/look", {"table": rows, "step": "keep"})
    assert "1 item." in text
    state = bench.studio.state("larkmoor-almanac")
    assert [str(one.amount) for one in state.costs.values()] == ["4.50"]
    assert "shelf 2" in bench.client.get("/item/larkmoor-almanac/money").text
    _, text = post(bench, "/books/collection/look", {"table": rows, "step": "keep"})
    assert "No new items, 1 here already" in text
    assert len(bench.studio.items()) == 2


def test_rates_hold_and_go_into_the_account(bench: Bench) -> None:
    form = {"currency": "EUR", "hour": "20", "overhead_pct": "10", "sale_fee_pct": "12"}
    post(bench, "/books/rates", form)
    post(bench, bench.url("/money/cost"), {"kind": "bought", "amount": "30"})
    _, text = post(bench, bench.url("/money/time"), {"doing": "mending", "minutes": "1 h 30"})
    assert "It cost 63.00 EUR so far; sold for less than 71.59 EUR it would lose money." in text
    _, text = post(bench, bench.url("/money/sold"), {"price": "100", "fees": "12 %"})
    assert "At what it sold for it leaves 25.00 EUR." in text
    _, text = post(bench, bench.url("/money/into-books"), {"sure": ""})
    (sale,) = bench.studio.bench().sales.values()
    assert (sale.price, sale.fees, sale.item) == (100, 12, bench.state.id)
    status, text = post(bench, bench.url("/money/into-books"), {"sure": ""})
    assert status == 422 and "already" in text


def test_a_timer_runs_on_over_a_reload(bench: Bench) -> None:
    post(bench, bench.url("/money/start"), {"doing": "mending"})
    assert "The timer runs: mending" in bench.client.get(bench.url("/money")).text
    _, text = post(bench, bench.url("/money/stop"), {"wraps": "2"})
    assert "Start the timer" in text
    (time,) = bench.state.times.values()
    assert time.ended_at and time.wraps == 2


@pytest.mark.parametrize(
    ("path", "form", "words"),
    [
        ("cost", {"kind": "bought", "amount": "abc"}, "no amount of money"),
        ("time", {"minutes": "soon"}, "no time"),
        ("sold", {"price": ""}, "say what it sold for"),
        ("hold", {"asked": "5 £ 6"}, "no amount"),
        ("mishap", {"what": ""}, "what went wrong"),
    ],
)
def test_refusals_stand_beside_their_box(
    bench: Bench, path: str, form: dict[str, str], words: str
) -> None:
    status, text = post(bench, bench.url(f"/money/{path}"), form)
    assert status == 422
    assert words in text.lower()
    assert text.count('class="wrong"') == 1


def test_what_it_would_bring_begins_with_the_books(bench: Bench) -> None:
    _, text = post(bench, bench.url("/money/price"), {"grade": "4"})
    assert "low, likely and high" in text
    for day, grade, price in (("2024-01-05", "3", "60"), ("2024-06-05", "4", "75"),
                              ("2025-01-05", "5", "95"), ("2025-06-05", "6", "130"),
                              ("2025-09-05", "4.5", "88")):  # fmt: skip
        sale = {"title": "copperbeck garden annual", "price": price, "currency": "EUR"}
        post(bench, "/books/sales/keep", sale | {"on": day, "grade": grade})
    text = bench.client.get(bench.url("/money")).text
    assert "5 sales of this title with a grade are laid in" in text
    table = re.search(r'name="sales"[^>]*>(.*?)</textarea>', text, re.DOTALL)
    assert table is not None
    asked = {"grade": "4", "sales": html.unescape(table[1]), "today": "2026-01-01"}
    _, text = post(bench, bench.url("/money/price"), asked)
    assert "What it would bring on average" in text
    run = bench.state.newest_run("worth.estimate", "item")
    assert run is not None
    assert next(one.value for one in run.findings if one.quantity == "worth.used") == 5
    assert "At the mean of what it would bring it leaves" in text


def test_a_price_typed_by_hand_is_enough(bench: Bench) -> None:
    form = {"grade": "4", "low": "40", "likely": "60", "high": "100", "currency": "EUR"}
    status, text = post(bench, bench.url("/money/price"), form)
    assert status == 200 and "typed by hand" in text
    status, text = post(bench, bench.url("/money/price"), {**form, "grade": "11"})
    assert status == 422 and "a grade lies above 0 and up to 10" in text
    assert "--" not in re.sub(r"<!--.*?-->", "", text).split("Not saved")[1].split("</div>")[0]


def test_a_better_copy_of_a_want_is_said(bench: Bench) -> None:
    title = "Copperbeck Garden Annual"
    post(bench, "/books/wants/note", {"title": title, "grade_from": "4"})
    (want,) = bench.studio.bench().wants
    post(bench, "/books/wants/stand-in", {"id": want, "item": bench.state.id})
    assert "stands in for a wanted copy" in bench.client.get(bench.url("/money")).text
    rows = f"Title,Year,Condition\n{title},1936,6.0\n"
    _, text = post(bench, "/books/collection/look", {"table": rows, "step": "keep"})
    assert "second copies" in text
    post(bench, "/books/collection/look", {"table": rows, "step": "keep", "again": "yes"})
    text = html.unescape(bench.client.get("/books/wants").text)
    assert "Another copy is here at 6.0" in text
    _, text = post(bench, "/books/wants/met", {"id": want})
    assert "Looked for again" in text


def test_old_stock_is_said_on_its_page_and_in_front(bench: Bench) -> None:
    day = (date.today() - timedelta(days=2)).isoformat()
    post(bench, "/books/stock/keep", {"material": "paste", "keeps_until": day, "amount": "5 g"})
    for path in ("/books", "/books/stock", bench.url("/treat")):
        assert "paste is past its day" in bench.client.get(path).text
    (key,) = bench.studio.bench().stock
    assert 'value="5 g"' in bench.client.get(f"/books/stock?edit={key}").text
    post(bench, "/books/stock/mark", {"id": key, "what": "opened"})
    assert bench.studio.bench().stock[key].opened_on == date.today().isoformat()
    post(bench, "/books/stock/mark", {"id": key, "what": "gone"})
    assert "past its day" not in bench.client.get("/books").text


def test_memory_fills_from_the_timer(bench: Bench) -> None:
    post(bench, bench.url("/money/time"), {"doing": "mending", "minutes": "60"})
    text = bench.client.get("/books/memory").text
    assert "not enough yet: 1 of the 5 items it needs" in text
