"""Every page answers without JavaScript, with a title, one heading and its landmarks."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from web.conftest import Bench

PAGES = ["", "/intake", "/examine", "/examine/c", "/examine/w01", "/treat", "/prove"]


class Outline(HTMLParser):
    """What a reader or a machine finds on a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: dict[str, str] = {"title": "", "h1": ""}
        self._within = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag in self.words:
            self._within = tag

    def handle_endtag(self, tag: str) -> None:
        self._within = ""

    def handle_data(self, data: str) -> None:
        if self._within:
            self.words[self._within] += data


def assert_whole(text: str) -> Outline:
    page = Outline(text)
    assert page.tags.count("h1") == 1
    assert page.words["title"].strip() and page.words["h1"].strip()
    assert ("html", "lang", "en-GB") in page.attributes
    for landmark in ("header", "nav", "main", "footer"):
        assert landmark in page.tags
    assert ("a", "href", "#main") in page.attributes
    ids = [value for _, name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    return page


def assert_no_inline(page: Outline) -> None:
    assert "style" not in page.tags
    assert not [one for one in page.attributes if one[1] == "style" or one[1].startswith("on")]
    scripts = [one for one in page.attributes if one[0] == "script"]
    assert all(value.startswith("/static/") for _, name, value in scripts if name == "src")
    assert page.tags.count("script") == sum(name == "src" for _, name, _ in scripts)


@pytest.mark.parametrize("path", ["/", "/new"])
def test_the_studio_pages_are_whole(bench: Bench, path: str) -> None:
    answer = bench.client.get(path)
    assert answer.status_code == 200
    assert_no_inline(assert_whole(answer.text))


@pytest.mark.parametrize("path", PAGES)
def test_an_items_pages_are_whole(bench: Bench, path: str) -> None:
    answer = bench.client.get(bench.url(path))
    assert answer.status_code == 200
    assert_no_inline(assert_whole(answer.text))


def test_a_close_up_is_a_plain_picture_without_javascript(bench: Bench) -> None:
    capture = next(iter(bench.state.captures.values()))
    answer = bench.client.get(bench.url(f"/look/{capture.id}"))
    assert_no_inline(assert_whole(answer.text))
    picture = bench.client.get(f"/picture/{capture.sha256}/page.jpg")
    assert picture.headers["content-type"] == "image/jpeg"
    assert picture.content[:3] == b"\xff\xd8\xff"


@pytest.mark.parametrize("path", ["/", "/new", *(f"/item/{{}}{path}" for path in PAGES)])
def test_head_answers_as_get_without_a_body(bench: Bench, path: str) -> None:
    where = path.format("copperbeck-garden-annual")
    answer = bench.client.head(where)
    assert answer.status_code == 200
    assert answer.content == b""


def test_the_drawing_leads_to_every_sheet_and_says_its_colours_as_a_table(bench: Bench) -> None:
    answer = bench.client.get(bench.url("?show=tone-before"))
    for sheet in ("c", "w01", "w02"):
        assert f'href="{bench.url(f"/examine/{sheet}")}"' in answer.text
    assert "No scan before treatment is measured yet." in answer.text
    assert "The same as a table" in bench.client.get(bench.url("?show=progress")).text


def test_an_unknown_shade_falls_back_to_the_progress(bench: Bench) -> None:
    answer = bench.client.get(bench.url("?show=<script>"))
    assert answer.status_code == 200
    assert "<script>" not in answer.text.replace('<script type="module"', "")


@pytest.mark.parametrize(
    "path",
    ["/nowhere", "/item/none", "/item/none/treat", "/item/copperbeck-garden-annual/examine/w77",
     "/item/copperbeck-garden-annual/look/p0",
     "/item/copperbeck-garden-annual/prove/w01.outer.left",
     "/item/copperbeck-garden-annual/report/r1.pdf"],
)  # fmt: skip
def test_an_unknown_page_says_so_kindly_and_leads_on(bench: Bench, path: str) -> None:
    answer = bench.client.get(path)
    assert answer.status_code == 404
    assert_whole(answer.text)
    assert "Traceback" not in answer.text
    assert 'class="button"' in answer.text


def test_a_form_address_opened_as_a_page_says_what_it_is(bench: Bench) -> None:
    answer = bench.client.get(bench.url("/treat/plan"))
    assert answer.status_code == 405
    assert "takes a form" in answer.text


def test_the_condition_page_prints_from_one_photograph(bench: Bench) -> None:
    answer = bench.client.get(bench.url("/condition.pdf"))
    assert answer.content[:5] == b"%PDF-"
    assert answer.headers["content-disposition"].startswith("attachment")


def test_the_tiles_are_described_under_their_own_address(bench: Bench) -> None:
    capture = next(iter(bench.state.captures.values()))
    info = bench.client.get(f"/tiles/{capture.sha256}/info.json").json()
    assert info["id"] == f"http://127.0.0.1:8765/tiles/{capture.sha256}"
    assert (info["width"], info["height"]) == (90, 120)
    tile = bench.client.get(f"/tiles/{capture.sha256}/full/max/0/default.jpg")
    assert tile.headers["content-type"] == "image/jpeg"


@pytest.mark.parametrize(
    "rest", ["../../studio.db", "..%2f..%2fstudio.db", "info.json.part", "%2e%2e/x", "full/max/0/x"]
)
def test_no_path_leads_out_of_the_tiles(bench: Bench, rest: str) -> None:
    capture = next(iter(bench.state.captures.values()))
    bench.client.get(f"/tiles/{capture.sha256}/info.json")
    assert bench.client.get(f"/tiles/{capture.sha256}/{rest}").status_code == 404


@pytest.mark.parametrize("name", ["..", "%2e%2e%2fstudio.db", "a" * 64, "A" * 64, "../studio.db"])
def test_a_picture_is_named_by_its_hash_or_not_at_all(bench: Bench, name: str) -> None:
    assert bench.client.get(f"/picture/{name}/page.jpg").status_code == 404


def test_an_original_is_never_served_as_it_came(bench: Bench) -> None:
    capture = next(iter(bench.state.captures.values()))
    original = bench.studio.blobs.path(capture.sha256).read_bytes()
    for path in (f"/picture/{capture.sha256}/page.jpg", f"/picture/{capture.sha256}/card.jpg"):
        assert bench.client.get(path).content != original
    assert bench.client.get(f"/picture/{capture.sha256}/original.jpg").status_code == 404
