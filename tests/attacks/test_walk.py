"""Every route there is, by every method, from every wrong place, by everybody who may come.

A real server on this machine's network address. What is asked of each answer: the status it must
have, the policy and the other headers, and that nothing of the inside stands in it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import httpx
import pytest
from starlette.routing import Route

from attack_tally import Tally
from lan_process import Served
from quirewell.studio.studio import Studio
from quirewell.web.app import build
from quirewell.web.roles import OPEN, READS_OF
from quirewell.web.security import HEADERS, POLICY
from quirewell.web.sessions import BENCH, GUEST
from visitors import ITEM
from web_walk import inline

pytestmark = pytest.mark.slow
NAVIGATES = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "same-origin"}
# Addresses that leave or change the session the walk itself stands on.
SPARED = frozenset({"/out", "/in"})


# Pages that tell the bench, on purpose, where its folders lie and what its tables are kept in.
TELL_WHERE = ("/bench/health", "/backups")
UNREAD = ("image/", "application/pdf", "font/", "text/javascript")
FILES = (
    "application/pdf", "text/csv", "application/zip", "text/calendar", "application/toml",
    "application/octet-stream",
)  # fmt: skip
INSIDE = re.compile(
    rb"Traceback|File \"|\.py\b|/home/|/var/site-packages|sqlite|sqlalchemy|Exception|"
    rb"starlette|uvicorn|attacked\d",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def routes(served: Served, tally: Tally) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for route in build(served.folder).routes:
        path = str(getattr(route, "path", ""))
        methods = set(route.methods or ()) if isinstance(route, Route) else {"GET", "HEAD"}
        found.setdefault(path, set()).update(methods)
    tally.routes = sum(len(methods - {"HEAD"}) for methods in found.values())
    return found


@pytest.fixture(scope="module")
def fills(served: Served) -> dict[str, str]:
    with Studio.open(served.folder) as studio:
        state = studio.state(ITEM)
        capture = next(iter(state.captures.values()))
        run = next(iter(state.runs), "none")
    return {"item": ITEM, "sheet": "w01", "place": "w01.outer.left", "which": "before",
            "capture": capture.id, "ref": f"run:{run}", "sha256": capture.sha256, "size": "card",
            "run": run, "key": "wash", "rest": "full/max/0/default.jpg", "side": "outer",
            "half": "left", "moment": "before", "kind": "quote", "name": "rules",
            "day": "2031-03-02", "static": "house.css"}  # fmt: skip


@pytest.fixture(scope="module")
def browser(served: Served) -> Iterator[httpx.Client]:
    # Given up before the server does, which waits five seconds for a further request.
    limits = httpx.Limits(keepalive_expiry=2.0)
    with httpx.Client(
        verify=False, base_url=f"https://{served.host}", timeout=60, trust_env=False, limits=limits
    ) as client:
        yield client


def filled(template: str, fills: dict[str, str]) -> str:
    if template == "/static":
        return "/static/house.css"
    return re.sub(r"{(\w+)(?::\w+)?}", lambda part: fills.get(part[1], "x"), template)


def guarded(answer: httpx.Response) -> str:
    """What of the headers and the text is not as it must be; "" when all is well."""
    for name, value in HEADERS.items():
        fine = (value, "no-referrer") if name == "Referrer-Policy" else (value,)
        if answer.headers.get(name) not in fine:
            return f"{name}: {answer.headers.get(name)}"
    if "server" in answer.headers or "x-powered-by" in answer.headers:
        return "says what it runs on"
    if "strict-transport-security" in answer.headers:
        return "holds the name to TLS at every port"
    kind = answer.headers.get("content-type", "")
    if answer.content and not kind:
        return "no content type"
    if kind.startswith("text/html"):
        if found := inline(answer.text):
            return str(found[:2])
        if answer.headers["cache-control"] != "no-store":
            return "a page may be kept"
    if kind.startswith("image/svg") and re.search(r"<script|\son\w+=|javascript:", answer.text):
        return "a drawing with a script"
    told = not answer.url.path.startswith(("/static/", *TELL_WHERE)) and not kind.startswith(UNREAD)
    if told and (inside := INSIDE.search(answer.content)):
        return f"tells of the inside: {inside}"
    file = answer.headers.get("content-disposition", "").startswith("attachment")
    return "a file that a browser would open" if kind.startswith(FILES) and not file else ""


def test_the_policy_has_no_exception() -> None:
    assert "unsafe" not in POLICY and "'none'" in POLICY and "frame-ancestors 'none'" in POLICY


@pytest.mark.parametrize("who", ["bench", "guest", "owner", "stranger"])
def test_every_address_read_is_guarded_and_answers_as_the_table_says(
    served: Served, routes: dict[str, set[str]], fills: dict[str, str], browser: httpx.Client,
    tally: Tally, who: str, request: pytest.FixtureRequest,
) -> None:  # fmt: skip
    line = "" if who == "stranger" else request.getfixturevalue(f"{who}_cookie")
    cookie = {"Cookie": line.removeprefix("Cookie: ")} if line else {}
    for template in routes:
        path = filled(template, fills)
        for method in ("GET",) if who == "bench" else ("GET", "HEAD"):
            answer = browser.request(method, path, headers={**NAVIGATES, **cookie})
            wrong = guarded(answer)
            tally.count("read", wrong == "", (who, method, path, answer.status_code, wrong))
            assert answer.status_code not in (500, 502), (who, path)
            if template in OPEN or who == "bench":
                continue
            if who == "stranger":
                assert answer.status_code == 303 and "/in?" in answer.headers["location"], path
            elif template not in READS_OF[who] and "GET" in routes[template]:
                assert answer.status_code == (403 if who == GUEST else 404), (who, path)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example", "Sec-Fetch-Site": "cross-site"},
        {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"},
        {"Origin": "https://evil.example", "Sec-Fetch-Site": "same-origin"},
    ],
)  # fmt: skip
def test_no_write_of_another_site_is_taken_at_any_address(
    served: Served, routes: dict[str, set[str]], fills: dict[str, str], browser: httpx.Client,
    bench_cookie: str, tally: Tally, headers: dict[str, str],
) -> None:  # fmt: skip
    cookie = {"Cookie": bench_cookie.removeprefix("Cookie: ")}
    with Studio.open(served.folder) as studio:
        head = studio.head()
    for template, methods in routes.items():
        path = filled(template, fills)
        for method in sorted(methods - {"GET", "HEAD"} | {"PUT"}):
            answer = browser.request(method, path, data={"title": "x", "back": "//evil.example"},
                                     headers={**cookie, **headers})  # fmt: skip
            kept = answer.status_code == 403 and guarded(answer) == ""
            tally.count("cross-site write", kept, (method, path, answer.status_code))
    with Studio.open(served.folder) as studio:
        assert studio.head() == head


@pytest.mark.parametrize("who", ["guest", "owner", "stranger"])
def test_nobody_but_the_bench_writes_at_any_address(
    served: Served, routes: dict[str, set[str]], fills: dict[str, str], browser: httpx.Client,
    tally: Tally, who: str, request: pytest.FixtureRequest,
) -> None:  # fmt: skip
    line = "" if who == "stranger" else request.getfixturevalue(f"{who}_cookie")
    cookie = {"Cookie": line.removeprefix("Cookie: ")} if line else {}
    must = {"guest": 403, "owner": 404, "stranger": 401}[who]
    with Studio.open(served.folder) as studio:
        head = studio.head()
    for template, methods in routes.items():
        path = filled(template, fills)
        if path in SPARED:
            continue
        for method in sorted(methods - {"GET", "HEAD"} | {"DELETE"}):
            answer = browser.request(method, path, data={"title": "x", "id": "x"},
                                     headers={**NAVIGATES, **cookie})  # fmt: skip
            fine = must if not (who == "stranger" and template in OPEN) else 404
            kept = answer.status_code in (must, fine) and guarded(answer) == ""
            tally.count(f"{who} writes", kept, (method, path, answer.status_code))
    with Studio.open(served.folder) as studio:
        assert studio.head() == head


def test_a_write_that_makes_no_sense_is_a_sentence_at_every_address(
    served: Served, routes: dict[str, set[str]], fills: dict[str, str], browser: httpx.Client,
    bench_cookie: str, tally: Tally,
) -> None:  # fmt: skip
    """Bodies that are no form, and forms of nonsense: never a fault of the program."""
    cookie = {"Cookie": bench_cookie.removeprefix("Cookie: ")}
    bodies = [
        ({"Content-Type": "application/json"}, b'{"a": ' + b"[" * 3000),
        ({"Content-Type": "text/xml"}, b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'),
        ({"Content-Type": "multipart/form-data"}, b"no boundary"),
        ({"Content-Type": "multipart/form-data; boundary=x"}, b"--x\r\nContent-Disposition: x\r\n"),
        ({"Content-Type": "application/x-www-form-urlencoded"}, b"%ff=%fe&%00=%00&=&&&a[]=1"),
        ({}, b"x"),
    ]
    for template, methods in routes.items():
        path = filled(template, fills)
        if "POST" not in methods or path in SPARED:
            continue
        for kind, body in bodies[len(path) % 2 :: 2]:
            answer = browser.post(path, content=body, headers={**NAVIGATES, **cookie, **kind})
            wrong = guarded(answer)
            kept = answer.status_code < 500 and wrong == ""
            tally.count("nonsense", kept, (path, kind, body[:20], answer.status_code, wrong))


FAR = [
    "../../../../etc/passwd", "..%2f..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e/%2e%2e/etc/passwd",
    "..%252f..%252fetc%252fpasswd", "%2e%2e%5c%2e%2e%5cstudio.db", "..%c0%af..%c0%afetc",
    "%EF%BC%8E%EF%BC%8E%EF%BC%8F%EF%BC%8E%EF%BC%8E", "studio.db", "..%00.jpg", "/etc/passwd",
    "%2fetc%2fpasswd", "keys%2fpassphrase.json", "..%2fkeys%2fpassphrase.json", "....//....//keys",
    "C:%5cWindows%5cwin.ini", "~root", "%7e", "file:%2f%2f%2fetc%2fpasswd", ".", "..", "%20", "-",
    "x" * 400, "%F0%9F%A6%84", "CON", "nul.jpg", "a%0ab", "'%20OR%201=1--", "%25s%25n", "{{7*7}}",
]  # fmt: skip


def test_no_path_leads_out_of_what_an_address_is_for(
    served: Served, routes: dict[str, set[str]], fills: dict[str, str], bench_cookie: str,
    browser: httpx.Client, tally: Tally,
) -> None:  # fmt: skip
    """Every parameter of every readable address, and the static files, by the bytes themselves."""
    cookie = {"Cookie": bench_cookie.removeprefix("Cookie: ")}
    targets = [f"/static/{far}" for far in FAR]
    for template, methods in routes.items():
        names = re.findall(r"{(\w+)", template)
        if "GET" not in methods or template == "/seen/{token}":
            continue
        # Each parameter by each trick in turn over all addresses, and by the plainest at every one.
        for n, name in enumerate(names, len(targets)):
            tried = {FAR[0], FAR[1], *(FAR[(n + k) % len(FAR)] for k in range(6))}
            targets += [filled(template, {**fills, name: far}) for far in sorted(tried)]
    for target in targets:
        answer = browser.get(httpx.URL(f"https://{served.host}").copy_with(
            raw_path=target.encode("ascii")), headers={**NAVIGATES, **cookie})  # fmt: skip
        leaks = any(sign in answer.content for sign in (b"root:x:", b"SQLite format", b'"salt"',
                                                        b"scrypt"))  # fmt: skip
        kept = answer.status_code < 500 and not leaks and guarded(answer) == ""
        tally.count("path", kept, (target, answer.status_code, guarded(answer)))


def test_nobody_is_led_to_another_site(
    served: Served, routes: dict[str, set[str]], fills: dict[str, str], bench_cookie: str,
    browser: httpx.Client, tally: Tally,
) -> None:  # fmt: skip
    cookie = {"Cookie": bench_cookie.removeprefix("Cookie: ")}
    backs = ("//evil.example", "https://evil.example", "/\\evil.example", "/\t/evil.example",
             "javascript:alert(1)", "\\\\evil.example", "/%0d%0aLocation:%20x", "/\r\nX: y",
             "//evil.example/%2f..", "/.//evil.example", "https:evil.example")  # fmt: skip
    asked = [path for path in routes if "POST" in routes[path] and path not in SPARED]
    for template in asked:
        for back in backs[:: 1 if template in ("/show-mode", "/item/{item}/undo") else 4]:
            data = {"back": back, "next": back, "url": back, "id": "none", "seq": "999999"}
            path = filled(template, fills)
            answer = browser.post(path, headers={**NAVIGATES, **cookie}, data=data)
            led = answer.headers.get("location", "/")
            kept = bool(re.match(r"/(?![/\\])[^\s\\]*$", led)) and "x" not in answer.headers
            tally.count("led away", kept, (template, back, led))
    with Studio.open(served.folder) as studio:
        assert studio.state(ITEM).item.title


def test_the_cookies_can_be_planted_by_nobody_and_stolen_by_no_script(
    served: Served, browser: httpx.Client, link_token: dict[str, str], tally: Tally
) -> None:
    answer = served.get(f"/seen/{link_token['token']}", "Cookie: __Host-quirewell=planted")
    for cookie in answer.cookies:
        parts = {part.strip().lower() for part in cookie.split(";")[1:]}
        fine = {"secure", "httponly", "path=/", "samesite=lax"} <= parts
        tally.count("cookie", fine and cookie.startswith("__Host-quirewell-link-"), cookie)
    assert BENCH in READS_OF
    logs = [one for one in (served.folder / "log").glob("*") if one.is_file()]
    written = "".join(one.read_text("utf-8") for one in logs) + "\n".join(served.said)
    tally.count("log", link_token["token"] not in written)
