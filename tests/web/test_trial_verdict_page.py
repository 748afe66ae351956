"""The verdict of a trial through the page: what was read, the picture, the words, out of date."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from quirewell.record.benchwork import Pilot
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from trial_story import COLD, ITEM, WARM, played
from web.conftest import BASE, Bench
from web_client import TestClient

URL = f"/item/{ITEM}/trial"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench"):
        pass
    with (
        TestClient(create_app(folder, workers=1), base_url=BASE) as client,
        Studio.open(folder) as studio,
    ):
        yield Bench(client, studio)


def test_a_verdict_is_worked_out_shown_with_its_picture_and_told_on_prove(bench: Bench) -> None:
    trial = played(bench.studio, {COLD: 3, WARM: 3})
    page = bench.client.get(URL).text
    assert "Work out the verdict" in page and "9.0, then 6.0" in page
    done = bench.client.post(f"{URL}/verdict", data={"id": trial.id})
    assert done.status_code == 200
    assert "Alike within 1 step" in done.text and "<svg" in done.text
    assert "Work the verdict out again" in done.text and "out of date" not in done.text
    proved = bench.client.get(f"/item/{ITEM}/prove").text
    assert "Alike within 1 step" in proved and f'href="{URL}#{trial.id}-verdict"' in proved


def test_a_pilot_named_later_makes_it_out_of_date_and_leaves_its_pair_out(bench: Bench) -> None:
    trial = played(bench.studio, {COLD: 3, WARM: 3})
    bench.client.post(f"{URL}/verdict", data={"id": trial.id})
    first = trial.pairs[0].split()[0]
    bench.studio.append(ITEM, None, (Draft(ITEM, "pilot.kept", to_body(Pilot("pilot-1", first))),))
    assert "has changed since; work it out again" in bench.client.get(URL).text
    again = bench.client.post(f"{URL}/verdict", data={"id": trial.id}).text
    assert "was the pilot" in again and "over 5 pairs" in again
    assert "With the pairs in that were left out" in again and "over 6 pairs" in again


def test_an_unlocked_trial_gets_its_interval_and_no_verdict(bench: Bench) -> None:
    trial = played(bench.studio, {COLD: 3, WARM: 5}, lock=False)
    page = bench.client.post(f"{URL}/verdict", data={"id": trial.id}).text
    assert "No verdict, only the difference" in page and "2 steps (the same in every pair)" in page
    assert "Alike within" not in page


def test_nothing_measured_and_no_such_trial_are_refused_in_a_sentence(bench: Bench) -> None:
    played(bench.studio, {COLD: 3, WARM: 3})
    refused = bench.client.post(f"{URL}/verdict", data={"id": "<b>none</b>"})
    assert refused.status_code == 422 and "<b>none" not in refused.text
