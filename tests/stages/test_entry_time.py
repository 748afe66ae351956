"""The instant of an entry that comes late, from a device whose clock is off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from quirewell.stages.entry_time import When, instant, when_typed
from quirewell.stages.refusal import Refusal

NOW = datetime(2026, 11, 28, 20, 0, tzinfo=UTC)
OPENED = "2026-11-28T18:00:00.000Z"


def device(typed_min_ago: float, clock_off_s: float, **more: str) -> When:
    """An entry typed some minutes ago on a device whose clock is behind by ``clock_off_s``."""
    clock = NOW - timedelta(seconds=clock_off_s)
    form = {
        "typed_at": (clock - timedelta(minutes=typed_min_ago)).isoformat(),
        "sent_at": clock.isoformat(),
        **more,
    }
    return when_typed(form, NOW, OPENED)


@pytest.mark.parametrize("off_s", [0, 2, -2, 190, -190, 86_400, -86_400])
def test_whatever_the_clock_says_the_instant_is_the_true_one(off_s: float) -> None:
    told = device(25, off_s)
    true = NOW - timedelta(minutes=25)
    assert abs((datetime.fromisoformat(told.at.replace("Z", "+00:00")) - true).total_seconds()) <= 2
    assert bool(told.says) == (abs(off_s) > 2)
    if off_s == 190:
        assert told.says.startswith("This device's clock is 3 min 10 s behind")
    if off_s == -86_400:
        assert "1 d ahead" in told.says


def test_a_clock_set_between_typing_and_saving_counts_as_it_was_when_typed() -> None:
    typed = NOW - timedelta(minutes=40)
    form = {
        "typed_at": (typed - timedelta(hours=1)).isoformat(),  # the clock was an hour behind
        "sent_at": NOW.isoformat(),  # and was set right since
        "off_s": "3600.4",
    }
    told = when_typed(form, NOW, OPENED)
    assert told.at == instant(typed) and "was set between" in told.says
    back = {"typed_at": NOW.isoformat(), "sent_at": NOW.isoformat(), "off_s": "-7200"}
    with pytest.raises(Refusal, match="before the item was opened"):
        when_typed(back, NOW, OPENED.replace("18:00", "18:30"))


def test_nothing_said_is_now_and_so_is_what_the_person_asks_for() -> None:
    assert when_typed({}, NOW, OPENED) == When("2026-11-28T20:00:00Z")
    asked = {"typed_at": "2031-01-01T00:00:00Z", "take": "now"}
    assert when_typed(asked, NOW, OPENED).at == "2026-11-28T20:00:00Z"


def test_what_cannot_be_is_refused_with_what_to_do() -> None:
    with pytest.raises(Refusal, match="in the future"):
        when_typed({"typed_at": "2026-11-28T20:09:00Z"}, NOW, OPENED)
    with pytest.raises(Refusal, match="before the item was opened"):
        when_typed({"typed_at": "2026-11-28T17:00:00Z"}, NOW, OPENED)
    for bad in ("yesterday", "19:42", "2026-11-28T19:42:00", "9" * 400):
        with pytest.raises(Refusal, match="no instant"):
            when_typed({"typed_at": bad}, NOW, OPENED)
    assert when_typed({"typed_at": "2026-11-28T20:01:00Z"}, NOW, OPENED).at == instant(NOW)
    odd = {"typed_at": "2026-11-28T19:50:00Z", "sent_at": instant(NOW), "off_s": "nan"}
    assert when_typed(odd, NOW, OPENED).at == "2026-11-28T19:50:00Z"
