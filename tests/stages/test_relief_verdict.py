"""Creases and cockle before and after: changed, unchanged as far as seen, or not to be told."""

from __future__ import annotations

import pytest

from quirewell.stages.relief_view import ReliefView
from quirewell.stages.results import NOTHING, Shown


def told(before: tuple[float, float | None], after: tuple[float, float | None] | None) -> str:
    rows = [
        Shown("x", ("f",), "relief.cockle_rms_um", *one, "um") if one else NOTHING
        for one in (before, after)
    ]
    view = ReliefView((), None, (), (("Cockle", rows[0], rows[1]),))
    return view.told[0][3]


@pytest.mark.parametrize(
    ("before", "after", "starts"),
    [
        ((180.0, 10.0), (60.0, 8.0), "changed: \u2212120 ± 26 µm"),
        ((60.0, 8.0), (180.0, 10.0), "changed: +120 ± 26 µm"),
        ((180.0, 10.0), (170.0, 10.0), "unchanged within 51 µm: \u221210 ± 28 µm"),
        ((20.0, 10.0), (15.0, 10.0), "cannot tell: \u22125 ± 28 µm, and less than 51 µm"),
        ((180.0, None), (60.0, None), "cannot tell: no uncertainty is known"),
        ((180.0, 10.0), None, ""),
    ],
)
def test_the_verdict_names_the_change_and_what_would_have_been_seen(
    before: tuple[float, float | None], after: tuple[float, float | None] | None, starts: str
) -> None:
    assert told(before, after).startswith(starts) and bool(told(before, after)) is bool(starts)


def test_a_change_just_under_twice_u_is_not_called() -> None:
    assert told((100.0, 10.0), (127.0, 10.0)).startswith("unchanged within")
    assert told((100.0, 10.0), (128.0, 10.0)).startswith("changed: +28")
