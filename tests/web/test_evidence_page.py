"""The evidence page: it works with nothing, with a steel rule alone, and refuses in place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from web.conftest import BASE, Bench, make_studio
from web_client import TestClient

RULE = (("w01.outer.right", "184.5", "184.5"), ("w01.outer.left", "184.0", "184.0"),
        ("w02.outer.right", "183.5", "184.0"), ("w02.outer.left", "184.5", "184.0"))  # fmt: skip


@pytest.fixture
def empty_bench(tmp_path: Path) -> Iterator[Bench]:
    """Two wraps without a picture."""
    make_studio(tmp_path / "studio", pictures=False)
    with (
        TestClient(create_app(tmp_path / "studio", workers=1), base_url=BASE) as client,
        Studio.open(tmp_path / "studio") as studio,
    ):
        yield Bench(client, studio)


def read(bench: Bench, moment: str, quantity: str = "width", at: int = 0) -> None:
    for place, *values in RULE:
        form = {"place": place, "quantity": quantity, "value": f"{values[at]} mm",
                "moment": moment, "resolution": "0.5", "instrument": "steel rule"}  # fmt: skip
        answer = bench.client.post(bench.url("/treat/reading"), data=form)
        assert answer.status_code == 200, answer.text


def work(bench: Bench) -> Any:
    return bench.client.post(bench.url("/prove/evidence/work"), data={"go": "1"})


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def test_with_nothing_recorded_it_says_what_to_do(empty_bench: Bench) -> None:
    page = empty_bench.client.get(empty_bench.url("/prove/evidence"))
    assert page.status_code == 200
    assert "Nothing was measured before and after treatment yet" in page.text
    assert "Lock these margins" in page.text
    refused = work(empty_bench)
    assert refused.status_code == 422 and "steel rule" in refused.text


def test_one_touch_locks_the_presets_before_and_none_after(empty_bench: Bench) -> None:
    done = empty_bench.client.post(empty_bench.url("/prove/margins"), data={"go": "1"})
    assert done.status_code == 200
    assert set(empty_bench.state.margins) == {
        "margin.size.width_mm", "margin.size.height_mm", "margin.tone.step",
    }  # fmt: skip
    assert all(one.at for one in empty_bench.state.margins.values())
    assert "0.5 mm, locked" in text_of(done)
    empty_bench.client.post(empty_bench.url("/prove/margins"), data={"go": "1"})
    assert empty_bench.state.margins["margin.size.width_mm"].reason.startswith("the step an eye")


def test_a_rule_alone_gives_a_verdict_with_margin_picture_and_budget(empty_bench: Bench) -> None:
    empty_bench.client.post(empty_bench.url("/prove/margins"), data={"go": "1"})
    read(empty_bench, "before", at=0)
    before = text_of(empty_bench.client.get(empty_bench.url("/prove/evidence")))
    assert "Width of the leaves. With 2 wraps" in before and "of 100 cases" in before
    read(empty_bench, "after", at=1)
    waiting = text_of(empty_bench.client.get(empty_bench.url("/prove/evidence")))
    assert "Enough is recorded to work out the evidence" in waiting
    assert "Width of the leaves. With" not in waiting and "Height of the leaves. With" in waiting
    done = work(empty_bench)
    assert done.status_code == 200
    said = text_of(done)
    assert "Width of the leaves" in said and "margin" in said
    assert "humidity not recorded" in said and "resolution" in said
    assert done.text.count('<circle class="r') == 4
    assert 'class="margin"' in done.text
    assert "Evidence" in text_of(empty_bench.client.get(empty_bench.url("/prove")))
    runs = len(empty_bench.state.runs)
    assert work(empty_bench).status_code == 200
    assert len(empty_bench.state.runs) == runs  # nothing new: nothing done


def test_a_further_reading_makes_it_out_of_date_and_one_touch_brings_it_up(
    empty_bench: Bench,
) -> None:
    read(empty_bench, "before", at=0)
    read(empty_bench, "after", at=1)
    work(empty_bench)
    form = {"place": "w01.outer.right", "quantity": "width", "value": "185.0 mm",
            "moment": "after", "resolution": "0.5", "instrument": "steel rule"}  # fmt: skip
    empty_bench.client.post(empty_bench.url("/treat/reading"), data=form)
    page = text_of(empty_bench.client.get(empty_bench.url("/prove/evidence")))
    assert "Something was measured or read since" in page
    after = text_of(work(empty_bench))
    assert "Something was measured" not in after
    # Two readings of one leaf at one moment are a duplicate now: the rule's own scatter.
    assert "1 duplicate so far" in after and "One more evening" in after


def test_ugly_margins_are_refused_in_place(empty_bench: Bench) -> None:
    for value in ("", "0", "-1", "NaN", "1e999", "<b>1</b>"):
        answer = empty_bench.client.post(
            empty_bench.url("/prove/margin"), data={"quantity": "size.width_mm", "value": value}
        )
        assert answer.status_code == 422, value
        assert "<b>1</b>" not in answer.text
    nobody = empty_bench.client.post(
        empty_bench.url("/prove/margin"), data={"quantity": "size.depth", "value": "1"}
    )
    assert nobody.status_code == 422 and "There is no margin of" in nobody.text
    assert not empty_bench.state.margins
