"""The tablets' door: hosts, origins, the passphrase, cookies, ends, and what somebody is told who
is not let in. (WHATWG Fetch for origins; RFC 6265bis for the cookie; RFC 9110 for 401 and 429.)"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import pytest
from httpx import Response
from starlette.applications import Starlette

from lan_studio import ADDRESS, BASE, CHEAP, NAME, PORT, WORDS, HandClock, lan_studio
from quirewell.web.app import build, local_door, tablets_door
from quirewell.web.lan import Lan
from quirewell.web.lan_door import COOKIE, LanDoor
from quirewell.web.passphrase import set_passphrase
from quirewell.web.routes.door import back_to
from web_client import TestClient

PAGE = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "none"}
SCRIPT = {"Accept": "application/json", "Sec-Fetch-Mode": "cors", "Sec-Fetch-Site": "same-origin"}


@dataclass
class Bench:
    """Both doors of one studio; ``tablet`` never follows where it is led."""

    lan: Lan
    clock: HandClock
    app: Starlette
    machine: TestClient
    tablet: TestClient

    def another(self, client: str = "192.168.1.77") -> TestClient:
        """A second tablet, with no cookie."""
        door = tablets_door(self.app, self.lan)
        return TestClient(door, base_url=BASE, client=(client, 40000), follow_redirects=False)

    def sign_in(self, words: str = WORDS, **more: str) -> Response:
        return self.tablet.post("/in", data={"passphrase": words, **more})


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    clock = HandClock()
    lan = lan_studio(tmp_path / "studio", clock)
    app = build(tmp_path / "studio", workers=1, lan=lan)
    machine = TestClient(local_door(app), base_url=f"http://127.0.0.1:{PORT}")
    made = Bench(lan, clock, app, machine, machine)
    made.tablet = made.another("192.168.1.31")
    with machine:
        yield made


def test_without_a_cookie_a_page_leads_to_the_passphrase_and_back(bench: Bench) -> None:
    answer = bench.tablet.get("/today?item=a&at=p%3Ax", headers=PAGE)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/in?" + urlencode({"back": "/today?item=a&at=p%3Ax"})
    page = bench.tablet.get(answer.headers["location"], headers=PAGE)
    assert page.status_code == 200 and "Larkmoor" not in page.text
    assert 'value="/today?item=a&amp;at=p%3Ax"' in page.text
    signed = bench.sign_in(back="/today?item=a&at=p%3Ax")
    assert (signed.status_code, signed.headers["location"]) == (303, "/today?item=a&at=p%3Ax")
    assert bench.tablet.get("/", headers=PAGE).status_code == 200


@pytest.mark.parametrize("path", ["/today/send", "/today/state.json", "/", "/item/a/note", "/new"])
def test_a_script_is_told_by_401_and_loses_nothing(bench: Bench, path: str) -> None:
    for method in ("GET", "POST"):
        answer = bench.tablet.request(method, path, headers=SCRIPT)
        assert answer.status_code == 401
        assert answer.headers["content-type"] == "application/json"
        assert answer.headers["www-authenticate"].startswith("Passphrase")
        said = answer.json()
        assert said["saved"] is False and "Sign in again" in said["says"]


def test_a_form_sent_in_vain_says_how_to_send_it_again(bench: Bench) -> None:
    answer = bench.tablet.post("/new", data={"title": "x"}, headers=PAGE)
    assert answer.status_code == 401 and "load this page anew" in answer.text
    assert "location" not in answer.headers


def test_a_large_photograph_is_taken_to_its_end_before_it_is_refused(bench: Bench) -> None:
    read = []

    def body() -> Iterator[bytes]:
        for _ in range(40):
            read.append(1)
            yield b"x" * 100_000

    answer = bench.tablet.post("/today/send", content=body(), headers=SCRIPT)
    assert answer.status_code == 401 and len(read) == 40


@pytest.mark.parametrize(
    "path",
    ["/", "/today", "/sw.js", "/bench/tablets", "/bench/tablets/code-home.svg", "/trust/", "/in/",
     "/in/x", "/trustworthy", "//in", "/IN", "/trust/certificate.crt/x", "/item/a/report.pdf",
     "/static", "/nowhere"],
)  # fmt: skip
def test_everything_else_is_behind_the_door(bench: Bench, path: str) -> None:
    answer = bench.tablet.get(path, headers={"Accept": "*/*"})
    assert answer.status_code == 401, path
    assert "Larkmoor" not in answer.text


@pytest.mark.parametrize(
    "path", ["/static/../today", "/static/%2e%2e/today", "/static/..%2f..%2fapp.py"]
)
def test_no_way_round_through_the_open_files(bench: Bench, path: str) -> None:
    answer = bench.tablet.get(path, headers={"Accept": "*/*"})
    assert answer.status_code in (401, 404) and "Larkmoor" not in answer.text


@pytest.mark.parametrize("path", ["/in", "/trust", "/trust/certificate.crt", "/static/house.css"])
def test_what_is_needed_before_is_open(bench: Bench, path: str) -> None:
    assert bench.tablet.get(path).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", f"evil.example:{PORT}", ADDRESS, NAME, f"{ADDRESS}:443", f"127.0.0.1:{PORT}",
     f"localhost:{PORT}", f"{NAME}.evil.example:{PORT}", f"{NAME}.:{PORT}", f"x@{NAME}:{PORT}",
     f"192.168.1.21:{PORT}", f"{ADDRESS}:{PORT}, evil.example", f" {ADDRESS}:{PORT}0", ""],
)  # fmt: skip
def test_refuses_every_other_host_signed_in_or_not(bench: Bench, host: str) -> None:
    cookie = {"Cookie": f"{COOKIE}={bench.lan.sessions.begin('', '')[0]}"}
    for headers in ({"Host": host}, {"Host": host, **cookie}):
        for path in ("/", "/in", "/trust"):
            assert bench.tablet.get(path, headers=headers).status_code == 400
            assert bench.tablet.post(path, headers=headers).status_code == 400


def test_answers_to_its_name_in_any_case(bench: Bench) -> None:
    for host in (f"{NAME}:{PORT}", f"BENCH.local:{PORT}", f"{ADDRESS}:{PORT}"):
        assert bench.tablet.get("/in", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "https://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"},
     {"Sec-Fetch-Site": "same-site"}, {"Origin": f"http://{ADDRESS}:{PORT}"},
     {"Origin": f"https://{NAME}:{PORT}"}, {"Origin": f"https://{ADDRESS}"},
     {"Origin": f"http://127.0.0.1:{PORT}"}],
)  # fmt: skip
def test_nobody_is_signed_in_or_out_by_another_site(bench: Bench, headers: dict[str, str]) -> None:
    answer = bench.tablet.post("/in", data={"passphrase": WORDS}, headers=headers)
    assert answer.status_code == 403 and "set-cookie" not in answer.headers
    bench.sign_in()
    for path in ("/out", "/new"):
        assert bench.tablet.post(path, headers=headers).status_code == 403
    assert bench.tablet.get("/", headers=PAGE).status_code == 200


def test_the_cookie_is_for_this_host_over_tls_and_no_script(bench: Bench) -> None:
    cookie = bench.sign_in().headers["set-cookie"]
    assert cookie.startswith("__Host-quirewell=")
    parts = {part.strip().lower() for part in cookie.split(";")[1:]}
    assert {"secure", "httponly", "samesite=strict", "path=/"} <= parts
    assert not any(part.startswith("domain") for part in parts)


def test_the_tablets_door_is_never_open_without_tls(bench: Bench) -> None:
    door = tablets_door(bench.app, bench.lan)
    plain = TestClient(door, base_url=f"http://{ADDRESS}:{PORT}")
    assert plain.get("/in").status_code == 400
    assert plain.get("/in", headers={"X-Forwarded-Proto": "https"}).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [{"X-Forwarded-For": "127.0.0.1"}, {"Forwarded": "for=127.0.0.1;host=127.0.0.1:8765"},
     {"X-Real-IP": "127.0.0.1"}, {"X-Forwarded-Host": f"127.0.0.1:{PORT}"},
     {"X-Original-URL": "/in"}, {"X-Rewrite-URL": "/in"}, {"X-HTTP-Method-Override": "GET"},
     {"Authorization": "Basic eDp5"}, {"Upgrade": "websocket", "Connection": "Upgrade"}],
)  # fmt: skip
def test_no_header_lets_anybody_in(bench: Bench, headers: dict[str, str]) -> None:
    assert bench.tablet.get("/today", headers={**SCRIPT, **headers}).status_code == 401


@pytest.mark.parametrize("cookie", ["", "x", "0" * 43, '"', "a" * 5000, "a; __Host-quirewell=b"])
def test_a_made_up_cookie_is_none(bench: Bench, cookie: str) -> None:
    bench.sign_in()
    stranger = bench.another()
    headers = {**SCRIPT, "Cookie": f"{COOKIE}={cookie}"}
    assert stranger.get("/", headers=headers).status_code == 401
    held = bench.tablet.cookies[COOKIE]
    for name in ("quirewell", "__host-quirewell", "__Secure-quirewell"):
        assert stranger.get("/", headers={**SCRIPT, "Cookie": f"{name}={held}"}).status_code == 401


def test_a_cookie_stolen_before_signing_out_is_worth_nothing_after(bench: Bench) -> None:
    bench.sign_in()
    stolen = {**SCRIPT, "Cookie": f"{COOKIE}={bench.tablet.cookies[COOKIE]}"}
    assert bench.another().get("/", headers=stolen).status_code == 200
    answer = bench.tablet.post("/out")
    assert answer.status_code == 303 and "Max-Age=0" in answer.headers["set-cookie"]
    assert bench.another().get("/", headers=stolen).status_code == 401


def test_no_session_can_be_laid_ready_for_a_tablet(bench: Bench) -> None:
    """Fixation: a cookie somebody else chose, or holds, is not the one after signing in."""
    laid, _ = bench.lan.sessions.begin("theirs", "")
    for planted in ("chosen", laid):
        tablet = bench.another()
        headers = {"Cookie": f"{COOKIE}={planted}"}
        answer = tablet.post("/in", data={"passphrase": WORDS}, headers=headers)
        token = answer.headers["set-cookie"].split("=", 1)[1].split(";")[0]
        assert token != planted and bench.lan.sessions.find(planted) is None


def test_the_ends_of_a_session_hold_at_the_door(bench: Bench) -> None:
    bench.sign_in()
    bench.clock.move(days=13)
    assert bench.tablet.get("/", headers=SCRIPT).status_code == 200
    bench.clock.move(days=15)
    assert bench.tablet.get("/", headers=SCRIPT).status_code == 401


def test_a_server_that_starts_again_knows_its_tablets(bench: Bench) -> None:
    bench.sign_in(name="Wet bench")
    held = {**SCRIPT, "Cookie": f"{COOKIE}={bench.tablet.cookies[COOKIE]}"}
    again = LanDoor(bench.app, lan_studio(bench.lan.studio, bench.clock))
    client = TestClient(again, base_url=BASE)
    assert client.get("/", headers=held).status_code == 200


def test_a_new_passphrase_puts_every_tablet_out_while_it_runs(bench: Bench) -> None:
    bench.sign_in()
    set_passphrase(bench.lan.studio, "five other plain words", n=CHEAP)
    assert bench.tablet.get("/", headers=SCRIPT).status_code == 401
    assert bench.sign_in().status_code == 401
    assert bench.sign_in("five other plain words").status_code == 303


@pytest.mark.parametrize(
    "words",
    ["", "wren copper", WORDS.upper(), WORDS + "x", "x" * 257, "a\tb", "wrencopperladlefrost"],
)
def test_every_wrong_passphrase_is_told_the_same(bench: Bench, words: str) -> None:
    answer = bench.sign_in(words, back="/today")
    assert answer.status_code == 401 and "set-cookie" not in answer.headers
    assert "That is not the studio" in answer.text and 'value="/today"' in answer.text
    assert not words or words not in answer.text


def test_a_huge_passphrase_is_not_even_read(bench: Bench) -> None:
    assert bench.sign_in("x" * 20_000).status_code == 413


@pytest.mark.parametrize("typed", [f"  {WORDS} ", WORDS.replace(" ", "\u00a0")])
def test_spaces_of_another_keyboard_do_not_matter(bench: Bench, typed: str) -> None:
    assert bench.sign_in(typed).status_code == 303


def test_too_many_tries_wait_in_words_and_harm_nobody_else(bench: Bench) -> None:
    bench.sign_in()
    guesser = bench.another("192.168.1.66")
    for _ in range(5):
        assert guesser.post("/in", data={"passphrase": "wrong"}).status_code == 401
    answer = guesser.post("/in", data={"passphrase": WORDS, "back": "/today"})
    assert answer.status_code == 429 and answer.headers["retry-after"] == "31"
    assert "Wait 30 seconds" in answer.text and "set-cookie" not in answer.headers
    forwarded = {"X-Forwarded-For": "192.168.1.5"}
    tried = guesser.post("/in", data={"passphrase": WORDS}, headers=forwarded)
    assert tried.status_code == 429
    assert bench.tablet.get("/", headers=PAGE).status_code == 200
    assert bench.machine.get("/").status_code == 200
    bench.clock.move(seconds=31)
    assert guesser.post("/in", data={"passphrase": WORDS}).status_code == 303


@pytest.mark.parametrize(
    "back",
    ["//evil.example", "///evil.example", "https://evil.example", "https:evil.example", "/\\evil",
     "\\\\evil.example", "/\t/evil.example", "/\n/evil", "javascript:alert(1)", "evil", "",
     " //evil", "/in", "/out", "/in?back=/in", "//evil.example/?x", "http:/evil", "/today\r\nX: y"],
)  # fmt: skip
def test_nobody_is_led_elsewhere_after_signing_in(bench: Bench, back: str) -> None:
    answer = bench.sign_in(back=back)
    assert (answer.status_code, answer.headers["location"]) == (303, "/"), back
    shown = bench.tablet.get("/in", params={"back": back})
    assert shown.headers["location"] == "/"


@pytest.mark.parametrize("back", ["/today", "/item/a/treat?done=4", "/wrong?item=a", "/%2F%2Fevil"])
def test_back_to_a_page_of_ours(back: str) -> None:
    assert back_to(back) == back


def test_the_machine_itself_needs_no_passphrase_and_gets_no_cookie(bench: Bench) -> None:
    assert bench.machine.get("/").status_code == 200
    answer = bench.machine.post("/in", data={"passphrase": WORDS}, follow_redirects=False)
    assert answer.status_code == 303 and "set-cookie" not in answer.headers
    assert bench.machine.get("/in", follow_redirects=False).headers["location"] == "/"
    assert bench.lan.sessions.all() == ()
    for host in (f"{ADDRESS}:{PORT}", f"{NAME}:{PORT}"):
        assert bench.machine.get("/", headers={"Host": host}).status_code == 400


def test_tablets_are_put_out_on_the_machine_only(bench: Bench) -> None:
    bench.sign_in(name="Wet bench <b>")
    page = bench.machine.get("/bench/tablets").text
    assert "Wet bench &lt;b&gt;" in page and "192.168.1.31" in page and BASE in page
    assert bench.lan.trust.fingerprint[0] in page
    (one,) = bench.lan.sessions.all()
    assert bench.tablet.get("/bench/tablets", headers=PAGE).status_code == 403
    assert bench.tablet.post("/bench/tablets/out", data={"id": one.id}).status_code == 403
    assert bench.tablet.get("/", headers=PAGE).status_code == 200
    assert bench.machine.post("/bench/tablets/out", data={"id": one.id}).status_code == 200
    assert bench.tablet.get("/", headers=SCRIPT).status_code == 401


def test_the_foot_of_each_page_says_who_is_served(bench: Bench) -> None:
    assert "to it and to" in bench.machine.get("/").text
    assert "not signed in" in bench.tablet.get("/in").text
    bench.sign_in(name="Wet bench")
    for path in ("/", "/nowhere"):
        foot = bench.tablet.get(path, headers=PAGE).text.partition('<footer class="foot">')[2]
        assert "signed in as “Wet bench”, until 31 May 2031" in foot and "/out" in foot


def test_the_certificate_comes_as_a_tablet_takes_it(bench: Bench) -> None:
    answer = bench.tablet.get("/trust/certificate.crt")
    assert answer.headers["content-type"] == "application/x-x509-ca-cert"
    assert 'filename="quirewell-studio.crt"' in answer.headers["content-disposition"]
    assert answer.content == bench.lan.trust.der
    page = bench.tablet.get("/trust").text
    assert all(row in page for row in bench.lan.trust.fingerprint)


def test_the_codes_are_pictures_of_the_machine_only(bench: Bench) -> None:
    for which in ("home", "trust"):
        answer = bench.machine.get(f"/bench/tablets/code-{which}.svg")
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert answer.text.lstrip().startswith("<?xml") and "<script" not in answer.text


def test_no_page_of_the_door_holds_a_script_or_style_of_its_own(bench: Bench) -> None:
    bench.sign_in()
    for path in ("/trust", "/out"):
        text = bench.tablet.get(path).text
        assert "<style" not in text and " style=" not in text and "onclick" not in text
