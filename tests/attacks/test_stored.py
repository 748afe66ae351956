"""What somebody typed stays words: in every page, drawing, shared page, listing, calendar, PDF.

Scripts, markup, templates, addresses that run, signs that turn letters round, line ends for heads.
"""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from PIL import Image

from attack_tally import Tally
from quirewell.exchange.share_plan import Wanted, make_plan
from quirewell.record import books, dealing, nouns
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.signs import visible
from quirewell.stages.overview import open_item
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import STUDIO, Studio
from quirewell.web.app import create_app
from report_case import add, report_studio
from web_client import TestClient
from web_walk import inline

BASE = "http://127.0.0.1:8765"
TURN = "\u202egnp.exe\u202c\u200b\u2066x\u2069\ufeff"
NASTY = (
    f"<script>alert(7)</script>\"><img src=x onerror=alert(7)>' onmouseover='x {{{{7*7}}}} "
    f"${{7*7}} <svg/onload=alert(7)> javascript:alert(7) </textarea></title> {TURN}"
)
LINK = "javascript:alert(7)"
HEAD = 'x"\r\nSet-Cookie: planted=1\r\n\r\n<script>alert(7)</script>'
CUT = "<script>alert(7)"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stored") / "studio"
    with report_studio(folder, pairs=1) as studio:
        add(
            studio, "annual",
            ("item.described", nouns.Item(NASTY, "1936", "a<b>", NASTY, NASTY)),
            ("defect.noted", nouns.Defect("defect-90", "w01", NASTY, extent=NASTY, note=NASTY)),
            ("remaining.noted", nouns.Remaining("remaining-90", "w01", NASTY)),
            ("spot_test.made", nouns.SpotTest("test-90", "w01", NASTY, NASTY, "bleeds",
                                              note=NASTY)),
            ("override.made", nouns.Override("override-90", "bath.first", NASTY)),
            ("step.done", nouns.Step("step-90", "surface-clean", ("w01",), "done", who=NASTY,
                                     note=NASTY, done_at="2026-03-14T10:00:00.000Z")),
            ("cost.noted", dealing.Cost("cost-90", "post", Decimal(3), "x<b>", note=NASTY)),
            ("holding.set", dealing.Holding("sell", Decimal(4), currency="x<b>", place=NASTY)),
            ("item.sold", dealing.Sold(Decimal(9), "x<b>", "2026-05-01", to=NASTY)),
        )  # fmt: skip
        second = studio.new_id(f"second {HEAD}")
        studio.append(second, 0, open_item(second, {"title": f"second {LINK} {NASTY}"}))
        out = io.BytesIO()
        Image.new("RGB", (60, 80), (200, 190, 150)).save(out, "PNG")
        for item in ("annual", second):
            out.seek(0)
            take_in(studio, item, [Source(f"{CUT}{TURN}.png", io.BytesIO(out.getvalue()))])
        rows = (
            ("client.kept", books.Client("client-9", NASTY, NASTY)),
            ("offer.looked_at", books.Offer("offer-9", NASTY, NASTY, Decimal(5), currency="x<b>")),
            ("parcel.kept", books.Parcel("parcel-9", NASTY, (books.Sent("annual", NASTY,
                                         Decimal(3)),), NASTY, tracking=NASTY)),
        )  # fmt: skip
        studio.append(STUDIO, None, [Draft(STUDIO, kind, to_body(noun)) for kind, noun in rows])
    return folder


@pytest.fixture(scope="module")
def client(folder: Path) -> Iterator[TestClient]:
    with TestClient(
        create_app(folder, workers=1), base_url=BASE, raise_server_exceptions=False
    ) as client:
        yield client


def test_no_page_runs_or_hides_what_was_typed(client: TestClient, tally: Tally) -> None:
    seen: dict[str, str] = {}
    waiting = ["/", "/clients", "/buying", "/parcels", "/books/stock", "/decisions", "/today",
               "/plan", "/recipes", "/item/annual/send/share", "/item/annual/source"]  # fmt: skip
    holding = 0
    while waiting and len(seen) < 160:
        path = waiting.pop(0)
        if path in seen or re.search(r"^/(static|picture|tiles)/|\.(png|jpg|pdf|zip)$", path):
            continue
        answer = client.get(path)
        seen[path] = text = answer.text
        kind = answer.headers.get("content-type", "")
        assert answer.status_code < 500, path
        assert "set-cookie" not in answer.headers, path
        if not kind.startswith(("text/", "image/svg", "application/json")):
            continue
        if kind.startswith("text/html"):
            found = inline(text)
            tally.count("stored", not found, (path, found))
            for plain in (html.unescape(one) for one in re.findall(r'href="(/[^"#]*)"', text)):
                waiting.append(plain)
        unseen = [f"U+{ord(sign):04X}" for sign in text if visible(sign) != sign]
        tally.count("unseen signs", not unseen, (path, unseen[:3]))
        assert CUT not in text or kind.startswith(("application/json", "text/csv")), path
        assert "49" not in re.findall(r"\{\{7\*7\}\}|49(?= \$)", text), path
        holding += "[U+202E]" in text
    assert len(seen) > 50 and holding > 15


def test_what_is_typed_into_a_form_comes_back_as_words(client: TestClient, tally: Tally) -> None:
    for path, fields in (
        ("/new", ("title", "year", "wraps")), ("/clients/keep", ("name", "reach")),
        ("/buying", ("title", "seller", "price")), ("/item/annual/examine/defect", ("place",
         "term", "note")), ("/item/annual/treat/reading", ("value", "place", "quantity")),
        ("/books/rates", ("hour", "currency")), ("/recipes", ("text",)), ("/rules", ("rules",)),
    ):  # fmt: skip
        answer = client.post(path, data=dict.fromkeys(fields, NASTY), follow_redirects=True)
        found = inline(answer.text)
        tally.count("stored", answer.status_code < 500 and not found, (path, found))
        assert CUT not in answer.text, path


def test_no_head_of_an_answer_is_split_by_a_title(client: TestClient, tally: Tally) -> None:
    for path in ("/item/annual/condition.pdf", "/item/annual/cards.pdf", "/plan/calendar.ics",
                 "/item/annual/examine/condition/damage.csv", "/wrong.pdf",
                 "/item/annual/examine/condition/damage.svg", "/parcels/kept/parcel-9/packing.csv",
                 "/parcels/kept/parcel-9/packing.pdf"):  # fmt: skip
        answer = client.get(path)
        named = answer.headers.get("content-disposition", "")
        fine = re.fullmatch(r'attachment; filename="[\w.-]+"', named) or answer.status_code != 200
        tally.count("head", bool(fine) and "planted" not in str(answer.headers), (path, named))
        assert "planted" not in answer.cookies


def test_a_drawing_escapes_its_words(client: TestClient, tally: Tally) -> None:
    answer = client.get("/item/annual/examine/condition/damage.svg")
    found = inline(answer.text)
    tally.count("stored", not found and CUT not in answer.text and "<img" not in answer.text, found)


def test_a_drawing_from_outside_is_no_picture(folder: Path, tally: Tally) -> None:
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(7)</script></svg>'
    page = b"<html><script>alert(7)</script></html>"
    with Studio.open(folder) as studio:
        for name, data in (("w01-outer-left-after.svg", svg), ("x.png", svg), ("x.jpg", page),
                           ("x.svgz", b"\x1f\x8b" + svg), ("x.html", page)):  # fmt: skip
            report = take_in(studio, "annual", [Source(name, io.BytesIO(data))])
            tally.count("upload", len(report.refused) == 1, name)


def test_the_shared_page_and_listing_hold_words_only(folder: Path, tally: Tally) -> None:
    from quirewell.exchange.share_page import _render

    with Studio.open(folder) as studio:
        state = studio.state("annual")
        plan = make_plan(state, studio.bench(), Wanted(title=NASTY, title_seen=True))
    tally.count("unseen signs", "\u202e" not in plan.listing, "listing")
    page = _render(plan, [], None, "1 kB", "'self'")
    assert CUT not in page and "\u202e" not in page and "[U+202E]" in page
    assert "<img" not in page and "<svg/onload" not in page
    assert [one for one in inline(page) if not one.startswith(("<style", "<meta"))] == []
