"""The page of what was found, the list in pages, and what others may not find."""

from __future__ import annotations

import re
from dataclasses import replace
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quirewell.record.books import Client
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Defect, Item
from quirewell.studio.studio import STUDIO
from quirewell.web.routes.items import CARDS
from quirewell.web.show_mode import COOKIE
from web.conftest import ITEM, Bench


def plant(bench: Bench) -> None:
    noun = Defect("d1", "w01.outer.left", "tideline", "a quillwort stain")
    bench.studio.append(ITEM, None, [Draft(ITEM, "defect.noted", to_body(noun))])
    client = Client("client-1", "Ottilie Marsh")
    bench.studio.append(STUDIO, None, [Draft(STUDIO, "client.kept", to_body(client))])


def open_items(bench: Bench, count: int) -> None:
    for number in range(count):
        stream = f"reader-{number:03d}"
        noun = Item(f"Thistle Reader {number:03d}", "1931")
        bench.studio.append(stream, 0, [Draft(stream, "item.opened", to_body(noun))])


def test_a_planted_word_leads_to_its_page(bench: Bench) -> None:
    plant(bench)
    page = bench.client.get("/search?words=QUILLWORT").text
    assert "<mark>quillwort</mark>" in page
    link = re.search(r'<li><a href="([^"]+)">Defect, wrap 1', page)
    assert link is not None
    assert link[1] == f"/item/{ITEM}/examine/w01"
    assert "quillwort" in bench.client.get(link[1]).text
    assert "Nothing was found" in bench.client.get("/search?words=zebra").text


def test_every_kind_of_hit_leads_to_a_page_that_is_there(bench: Bench) -> None:
    plant(bench)
    for words in ("quillwort", "garden", "png", "ottilie", "1936"):
        page = bench.client.get(f"/search?words={words}").text
        found = re.findall(r'<(?:li|h2[^>]*)><a href="([^"]+)"', page)
        assert found, words
        for href in found:
            assert bench.client.get(href).status_code == 200, href


@pytest.mark.parametrize("query", [
    "", "words=", "words=%22", "words=*", "words=a+NEAR+b", "words=%F0%9F%98%80", "words=a%00b",
    "words=%ff%fe", f"words={'x' * 10_000}", "words=a&page=0", "words=garden&page=99",
    "words=garden&page=x", "words=garden&page=-1", "words=garden&page=99999999999999999999",
    f"words=garden&item={ITEM}", "words=garden&item=nothing",
    "words=%3Cscript%3Ealert(1)%3C/script%3E",
])  # fmt: skip
def test_whatever_is_typed_a_page_answers(bench: Bench, query: str) -> None:
    answer = bench.client.get(f"/search?{query}")
    assert answer.status_code == 200
    assert "<script>alert" not in answer.text


def test_any_text_gives_a_page(bench: Bench) -> None:
    plant(bench)

    @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(words=st.text(max_size=40), page=st.text(max_size=6))
    def holds(words: str, page: str) -> None:
        asked = f"/search?words={quote(words)}&page={quote(page)}"
        assert bench.client.get(asked).status_code == 200

    holds()


def test_show_mode_finds_no_names(bench: Bench) -> None:
    plant(bench)
    assert "Ottilie" in bench.client.get("/search?words=ottilie").text
    bench.client.cookies.set(COOKIE, "yes")
    page = bench.client.get("/search?words=ottilie").text
    assert "Ottilie Marsh" not in page
    assert 'href="/clients"' not in page.split("<main")[1]
    assert "<mark>quillwort</mark>" in bench.client.get("/search?words=quillwort").text


def test_the_list_is_cut_into_pages_that_keep_what_was_asked(bench: Bench) -> None:
    open_items(bench, 2 * CARDS + 3)
    seen: list[str] = []
    path = "/?title=thistle&sort=title"
    for _ in range(3):
        page = bench.client.get(path).text
        seen += re.findall(r"<h2>(Thistle Reader \d+)</h2>", page)
        following = re.search(r'<a href="([^"]+)" rel="next">', page)
        path = following[1].replace("&amp;", "&") if following else ""
    assert path == ""
    assert seen == [f"Thistle Reader {number:03d}" for number in range(2 * CARDS + 3)]
    assert f"{2 * CARDS + 3} of {2 * CARDS + 4} items" in page


@pytest.mark.parametrize(("page", "shown"), [
    ("0", 1), ("-3", 1), ("x", 1), ("", 1), ("2", 2), ("99", 2), ("9" * 40, 1), ("1.5", 1),
])  # fmt: skip
def test_a_page_that_is_none_is_the_nearest(bench: Bench, page: str, shown: int) -> None:
    open_items(bench, CARDS + 3)
    answer = bench.client.get("/", params={"page": page})
    assert answer.status_code == 200
    assert f"Page {shown} of 2" in answer.text


def test_a_list_that_holds_nothing_says_so_and_unknown_wishes_are_left_out(bench: Bench) -> None:
    open_items(bench, CARDS)
    assert "No item is like that" in bench.client.get("/?title=zebra").text
    assert "Page 1 of 2" in bench.client.get("/?show=nonsense&sort=%27;--").text


def test_a_small_studio_shows_no_more_than_the_box(bench: Bench) -> None:
    page = bench.client.get("/").text
    assert 'role="search"' in page
    assert "Sort" not in page
    assert 'class="pages"' not in page


def test_decisions_are_cut_into_pages(bench: Bench) -> None:
    open_items(bench, 130)
    first = bench.client.get("/decisions?by=title").text
    assert "Page 1 of 2" in first
    assert 'href="/decisions?by=title&amp;page=2"' in first
    assert bench.client.get("/decisions?page=77").status_code == 200


def test_a_plan_offers_some_items_and_any_other_by_name(bench: Bench) -> None:
    open_items(bench, 60)
    noun = replace(bench.state.gathering, wraps=2)  # type: ignore[type-var]
    old = Draft("reader-000", "gathering.described", to_body(noun))
    bench.studio.append("reader-000", None, [old])
    open_items_later = [f"other-{number}" for number in range(50)]
    for stream in open_items_later:
        noun = Item(f"Other {stream}")  # type: ignore[assignment]
        bench.studio.append(stream, 0, [Draft(stream, "item.opened", to_body(noun))])
    assert 'value="reader-000"' not in bench.client.get("/plan").text
    assert 'value="reader-000" checked' in bench.client.get("/plan?item=Thistle+Reader+000").text
    assert "There is no item" in bench.client.get("/plan?item=nowhere").text
