"""From any sentence of the report to the picture, reading or record behind it, in two touches."""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from lxml import html

from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from report_case import report_studio
from web_client import TestClient

BASE = "http://127.0.0.1:8765"
ITEM = "/item/annual"


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = tmp_path_factory.mktemp("ask") / "studio"
    report_studio(folder, title="Annual <b>&", pairs=3).close()
    with TestClient(create_app(folder, workers=1), base_url=BASE) as client:
        yield client


def tree(client: TestClient, path: str) -> html.HtmlElement:
    answer = client.get(path)
    assert answer.status_code == 200, path
    return html.fromstring(answer.text)


def ends_at(page: html.HtmlElement) -> str:
    """What a source page shows that a second touch opens, or that needs no further touch."""
    if page.xpath('//a[contains(@href, "/look/")]//img'):
        return "picture"
    title = page.xpath("//h1")[0].text_content()
    if title == "A reading taken by hand" and page.xpath('//*[@id="journal"]'):
        return "reading"
    if page.xpath('//h2[@id="journal"]/..//tbody//code'):
        return "record"
    if page.xpath("//h1")[0].text_content() == "Where it comes from":
        return "list"
    return ""


def test_every_sentence_is_two_touches_from_what_is_behind_it(client: TestClient) -> None:
    page = tree(client, f"{ITEM}/report/read")
    (read,) = page.xpath('//div[@class="read"]')
    sentences = [
        one for one in read.xpath(".//li | .//td | .//p | .//th[@scope='row']")
        if one.text_content().strip() and "general" not in (one.get("class") or "")
    ]  # fmt: skip
    assert len(sentences) > 200
    bare = [one.text_content() for one in sentences if not one.xpath(".//a[@href]")]
    assert not bare
    links = Counter(link.get("href") for one in sentences for link in one.xpath(".//a[@href]"))
    found = Counter[str]()
    for href in links:
        if "/look/" in href or "/prove/" in href:
            assert client.get(href).status_code == 200
            found["picture"] += 1
            continue
        source = tree(client, href)
        kind = ends_at(source)
        if kind == "list":  # Records without a picture: the second touch shows each of them.
            ends = {
                ends_at(tree(client, one)) for one in source.xpath('//ul[@class="rests"]//@href')
            }
            kind = "record" if ends and ends <= {"picture", "reading", "record"} else ""
        if not kind and "source:" in href:
            kind = "citation" if source.xpath('//*[@id="cited"]') else ""
        assert kind, f"{href} shows neither a picture, nor a reading, nor a record with its entry"
        found[kind] += 1
    assert found["picture"] > 20
    assert found["reading"] >= 2
    assert found["record"] > 10


def test_a_picture_behind_a_number_opens_whole_in_one_touch(client: TestClient) -> None:
    source = tree(client, f"{ITEM}/source/rc-c.outer.left.0")
    first, second = source.xpath('//ul[@class="seen"]//a')
    assert first.xpath('.//svg[@class="over"]//*[contains(@class, "layer-outline")]')
    for link in (first, second):
        assert tree(client, link.get("href")).xpath("//qw-viewer")


def test_a_caution_says_on_whose_word_or_that_it_is_general(client: TestClient) -> None:
    page = tree(client, f"{ITEM}/report/read")
    (chapter,) = page.xpath('//*[@id="chapter-cautions"]')
    for one in chapter.xpath(".//li"):
        assert one.xpath('.//a[contains(@href, "source:")]') or "general advice" in (
            one.text_content()
        )


def test_many_sources_stand_in_a_list_with_their_pictures(client: TestClient) -> None:
    path = f"{ITEM}/source?ref=rc-c.outer.left.0&ref=rc-c.outer.right.0&ref=d2"
    page = tree(client, path)
    assert len(page.xpath('//ul[@class="rests"]/li')) == 3
    assert len(page.xpath('//ul[@class="seen"]/li')) == 4
    one = client.get(f"{ITEM}/source?ref=d2", follow_redirects=False)
    assert one.headers["location"].endswith(f"{ITEM}/source/d2")


def test_a_sign_that_no_address_holds_is_refused_at_the_door(client: TestClient) -> None:
    for path in (f"{ITEM}/source/%00", f"{ITEM}/source?ref=%00"):
        assert client.get(path).status_code in (400, 404)


@pytest.mark.parametrize(
    "ref",
    ["nothing", "%2e%2e%2f%2e%2e%2fetc%2fpasswd", "<script>alert(1)</script>", "a/b/c", "x" * 6000,
     "run:", "source:%22", "rc-c.outer.left.99", "%F0%9F%8C%BB"],
)  # fmt: skip
def test_an_unknown_source_is_refused_with_a_sentence(client: TestClient, ref: str) -> None:
    for path in (f"{ITEM}/source/{ref}", f"{ITEM}/source?ref={ref}"):
        answer = client.get(path)
        assert answer.status_code == 404
        assert "Nothing of this item has that name." in answer.text
        assert "<script>alert" not in answer.text
    assert client.post(f"{ITEM}/source/{ref}").status_code == 404


def test_a_sentence_of_an_older_report_is_told_to_have_moved(client: TestClient) -> None:
    answer = client.get(f"{ITEM}/source?said=0123456789abcdef")
    assert answer.status_code == 404
    assert "Open the report as a page" in answer.text
    assert client.get(f"{ITEM}/source").status_code == 404


def test_titles_and_words_are_escaped(client: TestClient) -> None:
    for path in (f"{ITEM}/report/read", f"{ITEM}/source/item"):
        text = client.get(path).text
        assert "Annual &lt;b&gt;&amp;" in text
        assert "<b>&" not in text


def again(client: TestClient, ref: str) -> str:
    answer = client.post(f"{ITEM}/source/{ref}", follow_redirects=False)
    assert answer.status_code == 303
    for _ in range(300):
        text: str = client.get(f"{ITEM}/source/{ref}").text
        if "Computed again" in text:
            return text
        time.sleep(0.1)
    raise AssertionError("it was not computed again within 30 s")


def test_a_number_is_computed_again_and_agrees_or_differs(client: TestClient) -> None:
    page = tree(client, f"{ITEM}/source/bath-1")
    run = page.xpath('//dd/a[contains(@href, "/source/run:")]')[0].get("href").split("/source/")[1]
    assert re.search(r"all \d+ findings agree", again(client, run))
    # The case's own comparison was made up, so that computing it must not agree.
    assert "it differs" in again(client, "rc-c.outer.left.0")


def test_prove_leads_to_the_report_as_a_page(client: TestClient) -> None:
    page = tree(client, f"{ITEM}/prove")
    assert page.xpath(f'//a[@href="{ITEM}/report/read"]')


def test_an_item_with_nothing_can_be_asked(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        from quirewell.stages.overview import open_item

        studio.append("annual", 0, open_item("annual", {"title": "Copperbeck Garden Annual"}))
    with TestClient(create_app(folder, workers=1), base_url=BASE) as client:
        page = tree(client, f"{ITEM}/report/read")
        for link in page.xpath('//div[@class="read"]//a[@href]'):
            assert client.get(link.get("href")).status_code == 200
        assert client.get(f"{ITEM}/source/gathering").status_code == 404
        assert client.get("/item/nobody/report/read").status_code == 404
        assert client.get("/item/nobody/source/item").status_code == 404
