"""The evidence that works itself out when measuring ends: only where nothing is left to choose."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from job_tasks import wider
from picture_files import picture_bytes
from quirewell.jobs.runner import Runner
from quirewell.record.event import Draft
from quirewell.stages import evidence, margins, survey
from quirewell.stages.evidence_ready import once_measured, ready
from quirewell.stages.measuring_item import measure_item
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import Studio
from studio_help import ITEM, studio_with_item

BEFORE, AFTER = (
    [f"w0{wrap}-outer-left-{moment}.png" for wrap in (1, 2)] for moment in ("before", "after")
)
WIDTH = {"quantity": "size.width_mm", "value": "0.5", "unit": "mm"}


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Studio]:
    monkeypatch.setattr(survey, "TASK", "job_tasks.wider")
    with studio_with_item(tmp_path / "studio") as made:
        yield made


def take(studio: Studio, names: list[str]) -> None:
    pictures = [Source(name, io.BytesIO(picture_bytes(sum(name.encode())))) for name in names]
    assert not take_in(studio, ITEM, pictures).refused


def lock(studio: Studio) -> None:
    studio.append(ITEM, None, margins.lock(studio.state(ITEM), WIDTH))


def measured_here(studio: Studio) -> None:
    """All that is to be measured and compared, in this process and with no end of a batch."""
    state, places = studio.state(ITEM), studio.blobs.path
    for call in (*survey.to_measure(state, places), *survey.to_compare(state, places)):
        body = wider(*call.arguments)
        studio.append(ITEM, None, survey.recorded(studio.state(ITEM), body))


def verdicts(studio: Studio) -> list[str]:
    runs = studio.state(ITEM).runs.values()
    return [run.subject for run in runs if run.method.startswith("evidence.")]


def test_the_end_of_measuring_works_the_evidence_out_once(studio: Studio) -> None:
    take(studio, BEFORE)
    lock(studio)
    take(studio, AFTER)
    with Runner(1) as runner:
        assert measure_item(studio, ITEM, runner).errors == ()
        assert verdicts(studio) == ["size.width_mm"]
        assert evidence.newest(studio.state(ITEM), evidence.EVIDENCE["size.width_mm"]) is not None
        assert measure_item(studio, ITEM, runner).total == 0
    assert verdicts(studio) == ["size.width_mm"]
    assert evidence.out_of_date(studio.state(ITEM)) == ()


def test_without_a_margin_in_time_it_waits_for_a_person(studio: Studio) -> None:
    take(studio, [*BEFORE, *AFTER])
    measured_here(studio)
    assert not ready(studio.state(ITEM)) and once_measured(studio.state(ITEM)) == ()
    late = {"quantity": "change.width_pct", "value": "0.5", "unit": "%"}
    studio.append(ITEM, None, [Draft(ITEM, "margin.locked", late)])
    assert not ready(studio.state(ITEM)), "a margin that came too late counts for nothing"
    assert len(evidence.asks(studio.state(ITEM))) == 1, "a person can still have it worked out"


def test_a_page_without_its_scan_after_is_waited_for(studio: Studio) -> None:
    take(studio, BEFORE)
    lock(studio)
    take(studio, AFTER[:1])
    measured_here(studio)
    assert not ready(studio.state(ITEM))
    take(studio, AFTER[1:])
    assert not ready(studio.state(ITEM)), "taken in is not measured"
    measured_here(studio)
    assert ready(studio.state(ITEM))
