"""The forms of a report, asked for on the page."""

from __future__ import annotations

import time

import pytest

from web.conftest import Bench


def written(bench: Bench, many: int) -> None:
    """Wait until so many reports are issued."""
    for _ in range(300):
        if len(bench.state.reports) >= many:
            return
        time.sleep(0.1)
    raise AssertionError("no report was written in 30 s")


@pytest.mark.parametrize(
    ("form", "units", "named"),
    [
        ("short", "inches", "two pages for the owner"),
        ("buyer", "metric", "disclosure for a buyer"),
        ("service", "", "disclosure for a grading service"),
    ],
)
def test_a_form_is_written_listed_and_fetched(
    bench: Bench, form: str, units: str, named: str
) -> None:
    page = bench.client.get(bench.url("/prove")).text
    assert "Two pages for the owner" in page and "inches and °F" in page
    bench.client.post(bench.url("/prove/report"), data={"form": form, "units": units})
    written(bench, 1)
    (report,) = bench.state.reports.values()
    assert report.title == f"Copperbeck Garden Annual: {named}"
    for _ in range(100):
        got = bench.client.get(bench.url(f"/report/{report.id}.pdf"))
        if got.status_code == 200:
            break
        time.sleep(0.1)
    assert got.content.startswith(b"%PDF")
    assert named in bench.client.get(bench.url("/prove")).text


def test_a_form_or_a_unit_that_there_is_not_is_refused(bench: Bench) -> None:
    for form in ({"form": "../x"}, {"form": "short", "units": "ells"}):
        refused = bench.client.post(bench.url("/prove/report"), data=form)
        assert refused.status_code == 400 and "from the list" in refused.text
    assert not bench.state.reports
