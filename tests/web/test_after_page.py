"""The page of what came after: checks, the day of the next, claims, and where it is said."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Reading, Step
from web.conftest import ITEM, Bench

STRIP = "strip on the paper"
ENDED = (datetime.now(UTC) - timedelta(days=400)).date().isoformat()


def treated(bench: Bench) -> None:
    step = Step("step-a", "wash", ("w01",), "done", done_at=f"{ENDED}T18:00:00Z")
    reading = Reading("read-a", "w01", "pH", Decimal("8.0"), "pH", STRIP, moment="after",
                      resolution=Decimal("0.5"))  # fmt: skip
    bench.studio.append(
        ITEM, None,
        (Draft(ITEM, "step.done", to_body(step)), Draft(ITEM, "reading.taken", to_body(reading))),
    )  # fmt: skip


def test_an_overdue_check_is_said_in_three_places_and_gone_once_it_was_made(bench: Bench) -> None:
    treated(bench)
    assert "Check overdue since" in bench.client.get("/").text
    assert "A check is overdue" in bench.client.get(bench.url("/send")).text
    page = bench.client.get(bench.url("/send/after")).text
    assert "Overdue since" in page and "pH, wrap 1" in page
    form = {"value": "pH 7.5 at 20C", "place": "w01", "method": STRIP, "words": "no mould"}
    done = bench.client.post(bench.url("/send/after/check"), data=form)
    assert done.status_code == 200 and "no change seen; 2.1 pH or more" in done.text
    assert "Overdue" not in done.text and "no mould" in done.text
    assert "Check overdue" not in bench.client.get("/").text
    (later,) = bench.state.laters.values()
    gone = bench.client.post(bench.url("/send/after/aside"), data={"id": later.id})
    assert gone.status_code == 200 and not bench.state.laters


def test_another_day_is_asked_for_and_taken_back(bench: Bench) -> None:
    treated(bench)
    form = {"on": "2999-01-01", "note": "a damp summer"}
    done = bench.client.post(bench.url("/send/after/next"), data=form)
    assert "Due on 2999-01-01" in done.text and "a damp summer" in done.text
    back = bench.client.post(bench.url("/send/after/aside"), data={"id": "next_check"})
    assert "Overdue since" in back.text


def test_a_wrong_check_shows_what_was_typed_and_what_was_wrong(bench: Bench) -> None:
    form = {"value": "<b>grey</b>", "place": "w01", "on": "soon"}
    refused = bench.client.post(bench.url("/send/after/check"), data=form)
    assert refused.status_code == 422 and "A day is written as 2027-03-31" in refused.text
    assert "&lt;b&gt;grey&lt;/b&gt;" in refused.text and "<b>grey" not in refused.text


def test_a_claim_is_kept_ended_and_refused_in_place(bench: Bench) -> None:
    form = {"against": "carrier", "what": "a corner crushed", "amount": "50", "currency": "crowns",
            "on": "2026-01-02"}  # fmt: skip
    kept = bench.client.post(bench.url("/send/after/claim"), data=form)
    assert "Against the carrier, 2026-01-02: a corner crushed, 50.00 crowns claimed; open" in (
        kept.text)  # fmt: skip
    (claim,) = bench.state.claims.values()
    ended = {**form, "id": claim.id, "state": "paid", "paid": "70"}
    refused = bench.client.post(bench.url("/send/after/claim"), data=ended)
    assert refused.status_code == 422 and "More was paid (70) than was claimed (50)" in refused.text
    done = bench.client.post(bench.url("/send/after/claim"), data={**ended, "paid": "50"})
    assert "paid, 50.00 crowns paid" in done.text
    assert [one.state for one in bench.state.claims.values()] == ["paid"]


def test_a_claim_edited_in_two_windows_shows_both_versions(bench: Bench) -> None:
    form = {"against": "carrier", "what": "a corner crushed", "on": "2026-01-02"}
    bench.client.post(bench.url("/send/after/claim"), data=form)
    (claim,) = bench.state.claims.values()
    stale = {**form, "id": claim.id, "record": claim.id, "touched": "1", "what": "two corners"}
    seen = bench.client.post(bench.url("/send/after/claim"), data=stale)
    assert seen.status_code == 409 and "two corners" in seen.text
