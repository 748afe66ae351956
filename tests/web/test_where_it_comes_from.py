"""Pages that compute lead on as the report does: from a number to what stands behind it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from lxml import html

import quirewell.web
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Reading
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from trial_story import COLD, ITEM, WARM, played
from web.conftest import BASE, Bench
from web_client import TestClient

TEMPLATES = Path(quirewell.web.__file__).parent / "templates"
STRIP = "strip on the paper"
# Numbers that no item's record holds, and why.
OF_NO_RECORD = {
    "books_memory.html": "of all items together",
    "money.html": "the account is added up as the page opens; its lines lead to their records",
}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """An item with a trial and its verdict, a check afterwards, money, and computations."""
    folder = tmp_path_factory.mktemp("comes-from") / "studio"
    with Studio.create(folder, "Larkmoor paper bench"):
        pass
    with (
        TestClient(create_app(folder, workers=1), base_url=BASE) as client,
        Studio.open(folder) as studio,
    ):
        trial = played(studio, {COLD: 3, WARM: 3})
        end = Reading("end", "w05", "pH", Decimal("8.5"), "pH", STRIP, resolution=Decimal("0.5"),
                      moment="after")  # fmt: skip
        studio.append(ITEM, None, (Draft(ITEM, "reading.taken", to_body(end)),))
        for path, form in (
            ("trial/verdict", {"id": trial.id}),
            ("treat/paste", {"kind": "methyl cellulose", "by": "w/w", "mends": "12"}),
            ("send/after/check", {"value": "pH 7.5", "place": "w05", "method": STRIP}),
            ("money/cost", {"kind": "bought", "amount": "12.50 EUR"}),
            ("money/cost", {"kind": "material", "amount": "3.20 EUR"}),
            ("decide/weigh", {"low": "60", "likely": "100", "high": "200"}),
        ):  # fmt: skip
            sent = client.post(f"/item/{ITEM}/{path}", data=form)
            assert sent.status_code == 200, (path, sent.text[:300])
        yield Bench(client, studio)


def links(bench: Bench, page: str) -> list[str]:
    got = bench.client.get(f"/item/{ITEM}/{page}")
    assert got.status_code == 200
    return list(dict.fromkeys(html.fromstring(got.text).xpath(
        f'//a[starts-with(@href, "/item/{ITEM}/source")]/@href')))  # fmt: skip


@pytest.mark.parametrize(
    ("page", "least"), [("treat", 4), ("decide", 3), ("trial", 20), ("money", 3), ("send/after", 3)]
)
def test_every_page_leads_to_sources_that_are_there(bench: Bench, page: str, least: int) -> None:
    found = links(bench, page)
    assert len(found) >= least, found
    for href in found:
        assert bench.client.get(href).status_code == 200, href


def test_a_side_of_a_pair_leads_to_what_was_read_on_it(bench: Bench) -> None:
    (trial,) = bench.studio.state(ITEM).trials.values()
    first = trial.pairs[0].split()[0]
    read = {one.id for one in bench.studio.state(ITEM).readings.values()
            if one.quantity == "tone_step" and one.place.startswith(first)}  # fmt: skip
    named = [set(re.findall(r"(?:ref=|source/)([\w.-]+)", href)) for href in links(bench, "trial")]
    assert read in named


def test_a_check_leads_to_both_readings_and_the_change(bench: Bench) -> None:
    state = bench.studio.state(ITEM)
    (later,) = state.laters
    run = next(one for one in state.runs.values() if one.method == "later.compare")
    change = next(one.id for one in run.findings if one.quantity == "later.change")
    named = {href.rpartition("/")[2] for href in links(bench, "send/after")}
    assert {later, "end", change} <= named


def test_the_account_leads_to_everything_it_is_added_up_from(bench: Bench) -> None:
    costs = set(bench.studio.state(ITEM).costs)
    (whole,) = (href for href in links(bench, "money") if "?" in href)
    assert set(re.findall(r"ref=([\w.-]+)", whole)) == costs
    answer = bench.client.get(whole).text
    assert all(f"/source/{one}" in answer for one in costs)


def test_findings_on_an_items_page_are_given_their_item() -> None:
    bare = [
        (page.name, call)
        for page in sorted(TEMPLATES.glob("*.html"))
        for call in re.findall(r"{{ findings(?:_of)?\(((?:[^()]|\([^()]*\))*)\)", page.read_text())
        if page.name not in OF_NO_RECORD and ", " not in call
    ]
    assert not bare, "give findings() the item, so that each leads to its source"
    assert all((TEMPLATES / name).exists() for name in OF_NO_RECORD)
