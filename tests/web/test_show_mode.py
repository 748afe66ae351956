"""Show mode: every page of a studio full of private things, and none of them in any answer."""

from __future__ import annotations

import html
import io
import json
import re
import urllib.parse
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from PIL import Image

from quirewell.record.nouns import Item
from quirewell.stages.taking_in import Source, take_in
from quirewell.web.app import create_app
from quirewell.web.show_hide import MARK, hidden_of, hide_data, hide_page
from quirewell.web.show_mode import COOKIE, LINE
from report_case import add
from share_case import AMOUNTS, NAMES, UNIT, planted, private_words
from web_client import TestClient

BASE = "http://127.0.0.1:8765"
SKIPPED = re.compile(r"/(static|picture|tiles)/|\.(png|jpg)$")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("show") / "s"
    with planted(folder, pairs=2) as studio:
        add(studio, "plain", ("item.opened", Item("Thrushfield Show Book", owner=NAMES["client"])))
        out = io.BytesIO()
        Image.new("RGB", (60, 80), (200, 190, 150)).save(out, "PNG")
        take_in(studio, "annual", [Source("x.png", io.BytesIO(out.getvalue()))])
    return folder


@pytest.fixture(scope="module")
def client(folder: Path) -> Iterator[TestClient]:
    with TestClient(create_app(folder, workers=1), base_url=BASE) as client:
        yield client


@pytest.fixture
def shown(client: TestClient) -> Iterator[TestClient]:
    client.cookies.set(COOKIE, "yes")
    yield client
    client.cookies.clear()


def found(text: str) -> list[str]:
    """Private words in an answer: as it came, resolved, without its tags, and in its addresses."""
    plain = html.unescape(text)
    bare = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", text)))
    every = " ".join((text, plain, bare, urllib.parse.unquote_plus(plain)))
    names = [one for one in private_words() if one in every]
    money = re.findall(rf"\d[\d.,\s]*{UNIT}|{UNIT}\s*\d", bare)
    return names + money


def walk(client: TestClient, most: int = 400) -> dict[str, str]:
    """Every page that leads from the first one."""
    seen: dict[str, str] = {}
    waiting = ["/", "/item/annual/send/share", "/books", "/parcels", "/clients", "/buying"]
    while waiting and len(seen) < most:
        path = waiting.pop()
        if path in seen or SKIPPED.search(path):
            continue
        answer = client.get(path)
        kind = answer.headers.get("content-type", "")
        looked = kind.startswith(("text/html", "application/json", "image/svg"))
        seen[path] = answer.text if looked else ""
        waiting += [
            html.unescape(one) for one in re.findall(r'(?:href|src)="(/[^"#]*)"', seen[path])
        ]
    return seen


def test_pages_hold_private_things_when_show_mode_is_off(client: TestClient) -> None:
    """Else the walk below would prove nothing."""
    pages = walk(client)
    holding = [path for path, text in pages.items() if found(text)]
    everything = "".join(map(html.unescape, pages.values()))
    assert len(pages) > 40 and len(holding) > 10
    missing = [name for name, text in NAMES.items() if text not in everything]
    assert not missing


def test_no_page_holds_anything_private_in_show_mode(shown: TestClient) -> None:
    pages = walk(shown)
    assert len(pages) > 40
    leaks = {path: what for path, text in pages.items() if (what := found(text))}
    assert not leaks


def test_every_page_says_so_on_top_and_leads_out(shown: TestClient) -> None:
    for path in ("/", "/item/annual", "/item/annual/send", "/books", "/clients", "/nowhere"):
        page = shown.get(path).text
        assert page.count(LINE) == 1, path
        assert page.index(LINE) < page.index("<main")
        assert "Leave show mode" in page and "Show mode: hide" not in page


@pytest.mark.parametrize("path", [
    "/books", "/books/sales", "/books/stock", "/parcels", "/clients", "/buying", "/decisions",
    "/item/annual/money", "/item/annual/owner",
])  # fmt: skip
def test_pages_of_money_and_people_are_replaced_by_a_sentence(shown: TestClient, path: str) -> None:
    answer = shown.get(path)
    assert answer.status_code == 403 and "about money or people" in answer.text
    assert "<h1>Hidden in show mode</h1>" in answer.text


@pytest.mark.parametrize("path", [
    "/item/annual/owner/quote.pdf", "/item/annual/condition/sheet.csv", "/strip.pdf",
    "/wrong/card.pdf",
])  # fmt: skip
def test_files_are_refused_with_a_sentence(shown: TestClient, path: str) -> None:
    answer = shown.get(path)
    assert answer.status_code in (403, 404) and "text/html" in answer.headers["content-type"]
    assert not answer.content.startswith(b"%PDF")


def test_a_file_that_is_given_out_otherwise_is_not_in_show_mode(client: TestClient) -> None:
    page = client.get("/bench").text
    path = re.search(r'href="(/[^"]*\.pdf)"', page)
    assert path
    assert client.get(path[1]).content.startswith(b"%PDF")
    client.cookies.set(COOKIE, "yes")
    answer = client.get(path[1])
    client.cookies.clear()
    assert answer.status_code == 403 and "none is given out in show mode" in answer.text
    assert "attachment" not in answer.headers.get("content-disposition", "")


def test_forms_with_private_boxes_are_closed_and_empty(shown: TestClient) -> None:
    page = shown.get("/item/annual/send").text
    form = re.search(r'<form[^>]*action="[^"]*/sold".*?</form>', page, re.DOTALL)
    assert form
    controls = re.findall(r"<(?:input|select|textarea|button)\b[^>]*>", form[0])
    assert controls and all(" disabled" in one for one in controls)
    assert not [one for one in re.findall(r'value="([^"]*)"', form[0]) if one]


def test_other_forms_work_in_show_mode(shown: TestClient) -> None:
    answer = shown.post("/item/annual/examine/note", data={}, follow_redirects=False)
    assert answer.status_code in (303, 404, 405, 422)
    assert LINE in answer.text or answer.status_code == 303


def test_the_switch_is_the_browsers_own_and_stands_in_no_record(client: TestClient) -> None:
    studio = client.app.app.state.house.studio  # type: ignore[attr-defined]
    head = studio.head()
    answer = client.post("/show-mode", data={"on": "yes", "back": "/item/annual"},
                         follow_redirects=False)  # fmt: skip
    cookie = answer.headers["set-cookie"].lower()
    assert answer.status_code == 303 and answer.headers["location"] == "/item/annual"
    assert "httponly" in cookie and "samesite=strict" in cookie and "max-age" not in cookie
    assert LINE in client.get("/").text
    client.post("/show-mode", data={"on": "no", "back": "//elsewhere"}, follow_redirects=False)
    assert LINE not in client.get("/").text and studio.head() == head
    client.cookies.clear()


def test_a_name_kept_a_moment_ago_is_hidden_too(folder: Path, client: TestClient) -> None:
    client.cookies.set(COOKIE, "yes")
    client.get("/")
    studio = client.app.app.state.house.studio  # type: ignore[attr-defined]
    state = studio.state("plain")
    add(studio, "plain", ("item.described", replace(state.item, owner="Zephyrine Blunk")))
    page = client.get("/item/plain").text
    client.cookies.clear()
    assert "Zephyrine" not in page and "Blunk" not in page


def test_an_amount_is_found_across_tags_with_its_range_and_band() -> None:
    hidden = hidden_of((), replace_rates())
    for text in (
        "<p>Gain <b>34.50</b> <small>florens</small></p>",
        "<p>34 to 57 florens</p>",
        "<p>\u221212.75\u00a0florens (90 %: \u221220 to 48)</p>",
        "<p>florens&nbsp;9</p>",
        "<td>£20</td>",
        '<img alt="worth 1,234 florens">',
    ):
        left = re.sub(r"90 %", "", hide_page(text, hidden))
        assert not re.search(r"\d", left), left
        assert MARK in left


def test_measurements_stay(client: TestClient) -> None:
    text = '<p class="n1">168.02 ± 0.05 mm, 20 °C, 5 of 9; 300 dpi</p><path d="M1 2.50L300 4"/>'
    assert hide_page(text, hidden_of((), replace_rates())) == text


def test_scripts_data_and_drawings_are_looked_through_too() -> None:
    hidden = hidden_of((), replace_rates(NAMES["client"]))
    page = (
        '<script type="application/json">{"a": "by Quillan Ostrevar", "b": [3, "</b>"]}</script>'
        "<svg><title>Quillan Ostrevar</title></svg><!-- Quillan Ostrevar -->"
        '<a href="/x?q=Quillan+Ostrevar">x</a>'
    )
    made = hide_page(page.replace("</b>", "<\\/b>"), hidden)
    assert "Ostrevar" not in made and "Quillan" not in made and 'href="#"' in made
    data = json.loads(re.search(r"json\">(.*?)</script>", made)[1])
    assert data == {"a": f"by {MARK}", "b": [3, "</b>"]}
    assert hide_data({"says": ["Quillan Ostrevar"]}, hidden) == {"says": [MARK]}


def test_signs_survive_the_filter() -> None:
    text = '<p title="a &quot;b&quot; &lt;c">&lt;script&gt; &amp; £5 &lt;b&gt;</p>'
    made = hide_page(text, hidden_of((), replace_rates()))
    assert made == f'<p title="a &quot;b&quot; &lt;c">&lt;script&gt; &amp; {MARK} &lt;b&gt;</p>'


def replace_rates(client: str = ""):  # type: ignore[no-untyped-def]
    from quirewell.record.bench import BenchState
    from quirewell.record.books import Client, Rates

    clients = {"c": Client("c", client)} if client else {}
    return replace(BenchState(), rates={"r": Rates("r", UNIT, Decimal(18))}, clients=clients)


def test_amounts_of_the_records_are_found_without_their_currency() -> None:
    from quirewell.record.books import Rates

    bench = replace(replace_rates(), rates={"r": Rates("r", UNIT, AMOUNTS[0])})
    hidden = hidden_of((), bench)
    assert hidden.text("4 321.98, 4,321.98 and 4321.98") == f"{MARK}, {MARK} and {MARK}"
    assert hidden.text("20, 4321.98, 7 4321.98") == f"20, {MARK}, 7 {MARK}"
    assert hidden.text("14321.98 and 4321.981") == "14321.98 and 4321.981"
