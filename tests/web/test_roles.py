"""Bench, guest, owner: one table of who may see which address, against every route there is."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import unquote_plus

import pytest
from httpx import Response
from starlette.routing import Route

from lan_studio import WORDS
from quirewell.web.app import build
from quirewell.web.gate import NOT_SAVED
from quirewell.web.lan_door import LINK_COOKIE
from quirewell.web.roles import (
    BENCH_READS,
    OPEN,
    OPEN_WRITES,
    OWNER,
    READS_OF,
    RECORD,
    REPORT,
    Addresses,
    may,
)
from quirewell.web.sessions import BENCH, GUEST
from share_case import UNIT, private_words
from visitors import GUEST_WORDS, ITEM, OTHER, PAGE, Visited, planted_studio, visited
from web_client import TestClient

ROWS = {"open": OPEN, "report": REPORT, "record": RECORD, "bench": BENCH_READS}
FILLS = {
    "item": ITEM, "sheet": "w01", "place": "w01.outer.left", "which": "before", "capture": "none",
    "ref": "run:none", "sha256": "0" * 64, "size": "card", "run": "none", "key": "wash",
    "rest": "full/max/0/default.jpg", "side": "outer", "half": "left", "moment": "before",
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("roles") / "studio"
    planted_studio(folder)
    return folder


@pytest.fixture(scope="module")
def house(folder: Path) -> Iterator[Visited]:
    made = visited(folder)
    with made.machine:
        yield made


@pytest.fixture(scope="module")
def guest(house: Visited) -> TestClient:
    return house.guest()


@pytest.fixture(scope="module")
def owner(house: Visited) -> TestClient:
    return house.owner()


def templates(folder: Path) -> dict[str, set[str]]:
    """Every address of the application with its methods."""
    found: dict[str, set[str]] = {}
    for route in build(folder).routes:
        path = str(getattr(route, "path", ""))
        methods = set(route.methods or ()) if isinstance(route, Route) else {"GET", "HEAD"}
        found.setdefault(path, set()).update(methods)
    return found


def filled(template: str) -> str:
    return re.sub(r"{(\w+)(?::\w+)?}", lambda part: FILLS.get(part[1], "x"), template)


def test_every_address_stands_in_one_row_of_the_table_and_no_row_is_of_old(folder: Path) -> None:
    """A new route is nobody's but the bench's until somebody says in the table whose it is."""
    readable = {path for path, methods in templates(folder).items() if methods & {"GET"}}
    held = [path for row in ROWS.values() for path in row]
    assert sorted(held) == sorted(set(held)), "an address stands in two rows"
    assert readable - set(held) == set(), "say in web/roles.py who may see these"
    assert set(held) - readable == set(), "these are in web/roles.py and nowhere else"


def test_what_stands_in_no_row_is_refused_to_all_but_the_bench() -> None:
    for role in (GUEST, OWNER, None, "other"):
        assert not may(role, "GET", "/new-page-of-tomorrow")
        assert not may(role, "GET", "")
    assert OPEN < READS_OF[OWNER] < READS_OF[GUEST] < READS_OF[BENCH]


def test_only_the_bench_writes_whatever_the_method_is_called(folder: Path) -> None:
    for path in templates(folder):
        for method in ("POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "post", "PROPFIND"):
            for role in (GUEST, OWNER, None):
                fine = method == "POST" and path in OPEN_WRITES
                assert may(role, method, path) is fine, (role, method, path)


def test_the_table_sees_a_path_as_the_router_does(folder: Path) -> None:
    addresses = Addresses(build(folder).routes)
    for path, template in (
        ("/item/a/prove/pictures", "/item/{item}/prove/pictures"),
        ("/item/a/prove/w01.outer.left", "/item/{item}/prove/{place}"),
        ("/item/a/look/c/correct", "/item/{item}/look/{capture}/correct"),
        ("/item/a/undo", "/item/{item}/undo"), ("/static/house.css", "/static"),
        ("/item/a/b/c/d/e", ""), ("/items", ""), ("//", ""),
    ):  # fmt: skip
        assert addresses.matched(path).template == template, path
        assert addresses.matched(path).template == template, path


def said(answer: Response) -> list[str]:
    """Private words in an answer: as it came, resolved, without its tags, and in its addresses."""
    plain = html.unescape(answer.text)
    bare = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", answer.text)))
    every = " ".join((answer.text, plain, bare, unquote_plus(plain)))
    names = [one for one in private_words() if one in every]
    return names + re.findall(rf"\d[\d.,\s]*{UNIT}|{UNIT}\s*\d", bare)


def walked(client: TestClient, start: str) -> dict[str, Response]:
    """Every page that leads from one, as far as it is no picture and no file."""
    seen: dict[str, Response] = {}
    waiting = [start]
    while waiting and len(seen) < 300:
        path = waiting.pop()
        if path in seen or re.search(r"^/(static|picture|tiles)/|\.(png|jpg|pdf)$", path):
            continue
        seen[path] = answer = client.get(path, headers=PAGE)
        if answer.status_code == 303:
            waiting.append(answer.headers["location"].split("#")[0])
        if answer.headers.get("content-type", "").startswith("text/html"):
            links = re.findall(r'(?:href|src)="(/[^"#]*)"', answer.text)
            waiting += [html.unescape(one) for one in links]
    return seen


def test_a_guest_walks_the_record_and_meets_no_refusal_no_form_and_nothing_private(
    guest: TestClient,
) -> None:
    pages = walked(guest, "/")
    assert len(pages) > 25
    for path, answer in pages.items():
        assert answer.status_code in (200, 303), path
        assert said(answer) == [], path
        forms = re.findall(r'<form\b[^>]*method="post"[^>]*action="([^"]*)"', answer.text)
        assert set(forms) <= {"/out"}, path
        assert "formaction" not in answer.text and not re.search(r' form="', answer.text), path
    page = pages[f"/item/{ITEM}/treat"].text
    assert page.count("You are here as a guest") == 1 and "a guest, until" in page


def test_an_owner_walks_one_report_and_nothing_else(owner: TestClient) -> None:
    pages = walked(owner, f"/item/{ITEM}/report/read")
    assert len(pages) > 3
    for path, answer in pages.items():
        assert answer.status_code == 200, path
        assert path.startswith((f"/item/{ITEM}/", "/trust")), path
        assert said(answer) == [], path
        assert 'method="post"' not in answer.text, path
    page = pages[f"/item/{ITEM}/report/read"].text
    assert page.count("shown by its bench until 16 March 2031") == 1
    assert "not signed in" not in page and 'aria-label="Studio"' not in page


@pytest.mark.parametrize("who", ["guest", "owner"])
def test_every_address_answers_each_as_the_table_says(
    folder: Path, house: Visited, who: str, request: pytest.FixtureRequest
) -> None:
    client: TestClient = request.getfixturevalue(who)
    role, refused = (GUEST, 403) if who == "guest" else (OWNER, 404)
    addresses = Addresses(build(folder).routes)
    head = house.app.state.house.studio.head()
    for template, methods in templates(folder).items():
        path = filled(template)
        if template in OPEN:
            continue
        if addresses.matched(path).template not in READS_OF[role]:
            for method in ("GET", "HEAD"):
                answer = client.request(method, path, headers=PAGE)
                assert answer.status_code == refused, (method, path)
                assert said(answer) == [], path
        for method in sorted((methods | {"POST", "PUT", "DELETE", "OPTIONS"}) - {"GET", "HEAD"}):
            answer = client.request(method, path, data={"title": "x"}, headers=PAGE)
            assert answer.status_code == refused, (method, path)
            if role == GUEST:
                assert html.escape(NOT_SAVED, quote=False)[:30] in html.unescape(answer.text)
    assert house.app.state.house.studio.head() == head


def test_an_owner_sees_nothing_of_another_item(house: Visited, owner: TestClient) -> None:
    studio = house.app.state.house.studio
    theirs = next(iter(studio.state(ITEM).captures.values())).sha256
    others = next(iter(studio.state(OTHER).captures.values())).sha256
    assert owner.get(f"/picture/{theirs}/card.jpg").status_code == 200
    for path in (
        f"/picture/{others}/card.jpg", f"/tiles/{others}/info.json", f"/item/{OTHER}/report/read",
        f"/item/{OTHER}/prove/pictures", f"/item/{OTHER}", f"/item/{ITEM}", f"/item/{ITEM}/source",
        f"/item/{ITEM}/source/capture:x", "/", "/item/nothing/report/read",
        f"/item/{ITEM}/../{OTHER}/report/read", f"/item/{ITEM.upper()}/report/read",
    ):  # fmt: skip
        said = owner.get(path, headers=PAGE)
        assert said.status_code == 404, path
        assert f'<a class="button" href="/item/{ITEM}/report/read">To the report</a>' in said.text
    assert house.machine.get(f"/picture/{others}/card.jpg").status_code == 200


def test_two_links_in_one_browser_open_two_items(house: Visited) -> None:
    browser = house.owner()
    token, _ = house.lan.links.make(OTHER, "3")
    browser.get(f"/seen/{token}")
    for item in (ITEM, OTHER):
        assert browser.get(f"/item/{item}/report/read", headers=PAGE).status_code == 200
    assert browser.get("/", headers=PAGE).status_code == 404


def test_a_link_is_a_token_once_then_a_cookie_and_no_page_tells_it(house: Visited) -> None:
    token, made = house.lan.links.make(ITEM, "14", "for the owner")
    client = house.stranger()
    answer = client.get(f"/seen/{token}", headers=PAGE)
    assert answer.headers["location"] == f"/item/{ITEM}/report/read"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["cache-control"] == "no-store"
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{LINK_COOKIE}{made.id}={token};") and LINK_COOKIE.startswith(
        "__Host-"
    )
    parts = {part.strip().lower().split("=")[0] for part in cookie.split(";")[1:]}
    assert {"secure", "httponly", "path", "expires"} <= parts and "domain" not in parts
    assert "samesite=lax" in cookie.lower()
    page = client.get(answer.headers["location"], headers=PAGE)
    assert token not in page.text and page.headers["cache-control"] == "no-store"
    assert token not in (house.lan.studio / "keys" / "links.json").read_text()
    assert "for the owner" not in page.text


def test_a_link_ends_and_is_taken_back_at_once(house: Visited) -> None:
    client = house.owner(days="2")
    path = f"/item/{ITEM}/report/read"
    house.clock.move(days=1, hours=23)
    assert client.get(path, headers=PAGE).status_code == 200
    house.clock.move(hours=1)
    answer = client.get(path, headers=PAGE)
    assert answer.status_code == 404 and "has ended or was taken back" in answer.text
    token, made = house.lan.links.make(ITEM, "14")
    client = house.stranger()
    assert client.get(f"/seen/{token}").status_code == 303
    listed = house.machine.get(f"/item/{ITEM}/send/link").text
    assert made.id in listed and "ended" in listed
    answer = house.machine.post(f"/item/{ITEM}/send/link/back", data={"id": made.id})
    assert answer.status_code == 200 and made.id not in answer.text
    assert client.get(path, headers=PAGE).status_code == 404
    assert house.stranger().get(f"/seen/{token}").status_code == 404


@pytest.mark.parametrize("token", ["x", "0" * 43, "a" * 4000, "%00", "é", "..", "%2e%2e"])
def test_no_other_token_opens_anything(house: Visited, token: str) -> None:
    answer = house.stranger().get(f"/seen/{token}", headers=PAGE)
    assert answer.status_code in (303, 400, 401, 404) and "set-cookie" not in answer.headers
    assert not answer.headers.get("location", "/in").startswith("/item")


def test_links_are_made_on_the_machine_itself_only(house: Visited) -> None:
    page = house.machine.post(f"/item/{ITEM}/send/link", data={"days": "14", "name": "<b>x"})
    url = re.search(r"https://[^<\"]+/seen/([\w-]{43})", page.text)
    assert page.status_code == 200 and url is not None and "&lt;b&gt;x" in page.text
    assert url[1] not in house.machine.get(f"/item/{ITEM}/send/link").text
    assert "&lt;b&gt;x" in house.machine.get("/bench/tablets").text
    for client in (house.signed_in(WORDS), house.guest(), house.owner()):
        before = len(house.lan.links.all())
        assert client.get(f"/item/{ITEM}/send/link", headers=PAGE).status_code in (403, 404)
        answer = client.post(f"/item/{ITEM}/send/link", data={"days": "14"}, headers=PAGE)
        assert answer.status_code in (403, 404) and len(house.lan.links.all()) == before
    for days in ("", "0", "91", "-1", "1.5", "x" * 3000, "٣", "99999999999"):
        answer = house.machine.post(f"/item/{ITEM}/send/link", data={"days": days})
        assert answer.status_code == 422 and "number of days from 1 to 90" in answer.text


def test_nobody_raises_themselves_from_the_network(house: Visited) -> None:
    guest = house.guest()
    tries = [
        guest.get("/", headers={**PAGE, "X-Role": "bench"}),
        guest.post("/bench/tablets/out", data={"id": "x", "role": "bench"}, headers=PAGE),
        guest.post("/in", data={"passphrase": GUEST_WORDS, "role": "bench"}, headers=PAGE),
    ]
    assert [one.status_code for one in tries] == [200, 403, 303]
    assert guest.post("/new", data={"title": "x"}, headers=PAGE).status_code == 403
    forged = house.stranger()
    held = guest.cookies["__Host-quirewell"]
    forged.cookies.set("__Host-quirewell-link-x", held)
    assert forged.get(f"/item/{ITEM}/report/read", headers=PAGE).status_code == 404
    token, _ = house.lan.links.make(ITEM, "1")
    other = house.stranger()
    other.cookies.set("__Host-quirewell", token)
    assert other.get("/", headers=PAGE).status_code == 303
    assert [one.role for one in house.lan.sessions.all() if one.role not in (BENCH, GUEST)] == []


def test_a_guest_cannot_try_for_the_benchs_passphrase_without_an_end(house: Visited) -> None:
    """Signing in rightly as a guest between the tries gives back that one try, and no other."""
    client = house.stranger("192.168.1.201")
    answers = []
    for n in range(12):
        words = GUEST_WORDS if n % 2 else f"not the passphrase {n}"
        answers.append(client.post("/in", data={"passphrase": words}).status_code)
    assert answers.count(401) == 5 and 429 in answers
    house.clock.move(hours=2)


def test_what_a_search_finds_tells_a_guest_nothing(house: Visited, guest: TestClient) -> None:
    plain = guest.get("/", headers=PAGE).text
    for word in (*private_words()[:3], "zzzz"):
        for name in ("q", "search", "find", "owner", "client"):
            assert guest.get("/", params={name: word}, headers=PAGE).text == plain


def test_taking_the_guests_passphrase_away_ends_them_and_nobody_else(tmp_path: Path) -> None:
    from quirewell.web.passphrase import BadPassphrase, no_guests, set_passphrase

    planted_studio(tmp_path / "studio")
    house = visited(tmp_path / "studio")
    with house.machine:
        guest, bench = house.guest(), house.signed_in(WORDS)
        assert "guest, reads only" in house.machine.get("/bench/tablets").text
        assert no_guests(tmp_path / "studio") and not no_guests(tmp_path / "studio")
        assert guest.get("/", headers=PAGE).status_code == 303
        assert bench.get("/", headers=PAGE).status_code == 200
        assert house.stranger().post("/in", data={"passphrase": GUEST_WORDS}).status_code == 401
        with pytest.raises(BadPassphrase, match="passphrase of the bench already"):
            set_passphrase(tmp_path / "studio", WORDS, n=1024, guest=True)
        set_passphrase(tmp_path / "studio", GUEST_WORDS, n=1024, guest=True)
        with pytest.raises(BadPassphrase, match="the guests' passphrase already"):
            set_passphrase(tmp_path / "studio", GUEST_WORDS, n=1024)


def test_a_guest_gets_no_file_and_keeps_no_picture(house: Visited, guest: TestClient) -> None:
    for path in ("/wrong.pdf", "/bench/strip.pdf", f"/item/{ITEM}/condition.pdf", "/sw.js"):
        assert guest.get(path, headers=PAGE).status_code == 403, path
    picture = next(iter(house.app.state.house.studio.state(ITEM).captures.values())).sha256
    answer = guest.get(f"/picture/{picture}/card.jpg")
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
