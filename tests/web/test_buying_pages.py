"""The pages for buying: an offer from its title to the item it becomes, and hostile uploads."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest

from quirewell.record.books import Offer
from quirewell.studio.check import recorded_originals
from web.conftest import Bench, picture_bytes


def begin(bench: Bench, **form: str) -> str:
    done = bench.client.post(
        "/buying", data={"title": "Second Annual", **form}, follow_redirects=False
    )
    assert done.status_code == 303
    return str(done.headers["location"])


def send(bench: Bench, at: str, *files: tuple[str, bytes]) -> Any:
    return bench.client.post(
        f"{at}/pictures",
        files=[("files", (name, io.BytesIO(data), "image/png")) for name, data in files],
    )


def offer_of(bench: Bench, at: str) -> Offer:
    held: Offer = bench.studio.bench().offers[at.rsplit("/", 1)[1]]
    return held


def test_from_a_title_to_a_bid_and_a_letter(bench: Bench) -> None:
    assert "Nothing was looked at yet" in bench.client.get("/buying").text
    at = begin(bench, asking="30", post="4")
    page = bench.client.get(at).text
    assert "type what it would bring" in page and "Page numbers that do not run on" in page
    saved = bench.client.post(
        at,
        data={"title": "Second Annual", "asking": "30", "post": "4", "likely": "70",
              "hours": "1", "hourly": "12", "fee_pct": "10", "currency": "crowns",
              "answer.edges_fresh": "fine", "answer.page_count": "asked"},
    )  # fmt: skip
    assert saved.status_code == 200
    assert "Bid up to about" in saved.text and "a loss has the chance 1 in 5" in saved.text
    assert "How many pages" in saved.text and "Could you lay a steel rule" not in saved.text
    assert re.search(r'name="answer.page_count" value="asked" checked', saved.text)
    assert "highest bid" in bench.client.get("/buying").text
    assert offer_of(bench, at).run is not None


def test_what_was_typed_stays_beside_what_was_wrong(bench: Bench) -> None:
    at = begin(bench)
    page = bench.client.post(
        at, data={"title": "Second Annual", "likely": "lots", "hours": "3", "note": "from afar"}
    )
    assert page.status_code == 422
    assert 'value="lots"' in page.text and "from afar" in page.text
    assert 'id="wrong-likely"' in page.text
    assert bench.client.post("/buying", data={"title": ""}).status_code == 422


def test_photographs_are_checked_before_they_are_kept(bench: Bench) -> None:
    at = begin(bench)
    done = send(bench, at, ("front.png", picture_bytes(5)), ("inside.png", picture_bytes(6)))
    assert done.status_code == 200
    held = offer_of(bench, at).pictures
    assert len(held) == 2
    assert bench.client.get(f"/picture/{held[0]}/card.jpg").status_code == 200
    bad = send(bench, at, ("../../x.png", b"no picture at all"), ("third.png", picture_bytes(7)))
    assert bad.status_code == 422
    assert "x.png was not taken in" in bad.text and "../" not in bad.text.split("<main")[1]
    assert len(offer_of(bench, at).pictures) == 3, "the good one beside a bad one is kept"
    torn = send(bench, at, ("torn.png", picture_bytes(8)[:400]))
    assert torn.status_code == 422
    events = list(bench.studio.events())
    assert set(held) <= set(recorded_originals(events))


def test_at_most_twelve_photographs(bench: Bench) -> None:
    at = begin(bench)
    for first in (0, 6):
        send(bench, at, *((f"{k}.png", picture_bytes(20 + k)) for k in range(first, first + 6)))
    assert len(offer_of(bench, at).pictures) == 12
    more = send(bench, at, ("more.png", picture_bytes(50)))
    assert more.status_code == 422 and "At most 12" in more.text
    assert send(bench, at).status_code in (400, 422)
    other = begin(bench)
    many = send(bench, other, *((f"{k}.png", picture_bytes(60 + k)) for k in range(14)))
    assert many.status_code == 422 and "At most 12" in many.text
    assert len(offer_of(bench, other).pictures) == 12


def test_bought_becomes_an_item_with_cost_pictures_and_remarks(bench: Bench) -> None:
    at = begin(bench, asking="30", post="4")
    send(bench, at, ("front.png", picture_bytes(5)), ("inside.png", picture_bytes(6)))
    bench.client.post(
        at, data={"title": "Second Annual", "asking": "30", "post": "4", "currency": "crowns",
                  "note": "one wrap browner", "answer.wrap_tone": "seen"}
    )  # fmt: skip
    done = bench.client.post(
        f"{at}/bought", data={"paid": "27.50", "paid_post": "4", "paid_day": "2026-03-02"},
        follow_redirects=False,
    )  # fmt: skip
    assert done.status_code == 303
    state = bench.studio.state(done.headers["location"].rsplit("/", 1)[1])
    assert [(one.kind, f"{one.amount}") for one in state.costs.values()] == [
        ("bought", "27.50"), ("post", "4"),
    ]  # fmt: skip
    assert {one.sha256 for one in state.captures.values()} == set(offer_of(bench, at).pictures)
    assert "one wrap browner" in state.item.notes
    assert "A wrap of another tone: seen" in state.item.notes
    again = bench.client.post(f"{at}/bought", data={"paid": "1"})
    assert again.status_code == 422 and "already" in again.text
    assert bench.client.get(done.headers["location"]).status_code == 200
    assert f'href="{done.headers["location"]}"' in bench.client.get(at).text


def test_let_go_and_set_aside(bench: Bench) -> None:
    at = begin(bench)
    bench.client.post(f"{at}/state", data={"state": "let go"})
    assert "1 bought or let go" in bench.client.get("/buying").text
    bench.client.post("/buying/aside", data={"id": at.rsplit("/", 1)[1]})
    assert bench.client.get(at).status_code == 404
    assert bench.client.post("/buying/aside", data={"id": "gone"}).status_code == 422
    assert bench.client.get("/buying/nothing").status_code == 404
    assert bench.client.post("/buying/nothing", data={"title": "x"}).status_code == 404


@pytest.mark.parametrize("title", ["<script>alert(1)</script>", "a" * 5000, "\u202e\x00wrong"])
def test_ugly_titles_are_only_words(bench: Bench, title: str) -> None:
    done = bench.client.post("/buying", data={"title": title})
    assert done.status_code == 200
    assert "<script>alert" not in done.text
