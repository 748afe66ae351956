"""Working hours as people write them, and the clock on the wall against minutes that pass."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quirewell.stages.plan_hours import read_hours
from quirewell.stages.plan_time import frame_of, moment_of, zone_of

LISBON = ZoneInfo("Europe/Lisbon")


def frame(day: str, zone: str = "Europe/Lisbon"):
    where = ZoneInfo(zone)
    return frame_of(datetime.fromisoformat(f"{day}T12:00").replace(tzinfo=where), where)


@pytest.mark.parametrize(
    ("rule", "monday", "saturday"),
    [
        ("Mo-Fr 18:00-22:00", ((1080, 1320),), ()),
        ("monday to friday 18-22", ((1080, 1320),), ()),
        ("Fr-Mo 9:30-12", ((570, 720),), ((570, 720),)),
        ("weekdays 18.00-20.00; Sa 09:00-12:30, 13:15-17:30", ((1080, 1200),),
         ((540, 750), (795, 1050))),
        ("08:00-24:00", ((480, 1440),), ((480, 1440),)),
        ("Mo 9-11, 10-12", ((540, 720),), ()),
    ],
)  # fmt: skip
def test_a_rule_as_people_write_it(rule, monday, saturday):
    hours = read_hours([rule])
    assert hours.of(date(2026, 11, 30)) == monday
    assert hours.of(date(2026, 12, 5)) == saturday


def test_a_day_off_takes_the_rule_away_and_an_extra_day_stays():
    hours = read_hours(["Mo-Fr 18-22"], ["2026-12-24 to 2026-12-27", date(2026, 12, 31)],
                       ["2026-12-26 10:00-16:00"])  # fmt: skip
    assert hours.of(date(2026, 12, 24)) == () and hours.of(date(2026, 12, 31)) == ()
    assert hours.of(date(2026, 12, 26)) == ((600, 960),)
    assert hours.of(date(2026, 12, 28)) == ((1080, 1320),)


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ("Mo-Fr", "written as Mo-Fr 18:00-22:00"),
        ("Xx 18-22", "no day of the week"),
        ("T 18-22", "no day of the week"),
        ("Mo 22:00-01:00", "two spans"),
        ("Mo 18:00-25:00", "no time of day"),
        ("Mo 18:75-19:00", "no time of day"),
        ("Mo evening", "written as"),
        ("Mo 18:00-22:00 and later", "no span of time"),
    ],
)
def test_what_cannot_be_read_is_a_sentence(rule, says):
    with pytest.raises(ValueError, match=says):
        read_hours([rule])


def test_no_hours_at_all_too_many_and_days_that_are_none_are_sentences():
    with pytest.raises(ValueError, match="no working hours"):
        read_hours([])
    with pytest.raises(ValueError, match="at most"):
        read_hours(["Mo 9-10"] * 100)
    with pytest.raises(ValueError, match="too long"):
        read_hours(["Mo 9-10," * 2000])
    with pytest.raises(ValueError, match="is no day"):
        read_hours(["Mo 9-10"], ["2026-02-30"])
    with pytest.raises(ValueError, match="days off are"):
        read_hours(["Mo 9-10"], ["2026-01-01 to 2090-01-01"])


def test_the_day_the_clocks_go_back_has_25_hours_and_an_evening_stays_four():
    """Last Sunday of October 2026, from 02:00 to 01:00 in Lisbon (EU Directive 2000/84/EC)."""
    plan = frame("2026-10-25")
    assert plan.wall(date(2026, 10, 25), 0) == 0
    assert plan.wall(date(2026, 10, 26), 0) == 25 * 60
    hours = read_hours(["18:00-22:00"]).minutes(plan, 2)
    assert hours == ((19 * 60, 23 * 60), (43 * 60, 47 * 60))
    assert plan.iso(19 * 60) == "2026-10-25T18:00+00:00"
    assert plan.iso(0) == "2026-10-25T00:00+01:00"


def test_the_day_the_clocks_go_forward_has_23_hours():
    plan = frame("2026-03-29")
    assert plan.wall(date(2026, 3, 30), 0) == 23 * 60


def test_an_hour_the_clocks_skip_or_repeat_is_never_stretched():
    spring, autumn = frame("2026-03-29"), frame("2026-10-25")
    # 01:00 to 02:00 does not exist in spring and comes twice in autumn.
    assert read_hours(["Su 01:15-01:45"]).minutes(spring, 1) == ()
    for plan, rule in ((spring, "Su 00:00-01:30"), (spring, "Su 01:30-04:00"),
                       (autumn, "Su 00:00-01:30"), (autumn, "Su 01:30-04:00")):  # fmt: skip
        ((begin, end),) = read_hours([rule]).minutes(plan, 1)
        first, last = (timedelta(hours=int(t[:2]), minutes=int(t[3:])) for t in rule[3:].split("-"))
        for minute in range(begin, end):
            wall = plan.at(minute)
            at = timedelta(hours=wall.hour, minutes=wall.minute)
            assert first <= at < last, f"{wall} is outside {rule}"


@given(
    st.sampled_from(["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu"]),
    st.datetimes(datetime(1995, 1, 1), datetime(2050, 1, 1)),
)
def test_minutes_and_moments_are_each_others_inverse(zone, moment):
    at = moment.replace(second=0, microsecond=0, tzinfo=UTC)
    plan = frame_of(at, ZoneInfo(zone))
    assert plan.at(plan.minute(at)) == at
    assert 0 <= plan.minute(at) < 25 * 60
    assert plan.up(at, 5) % 5 == 0 and 0 <= plan.up(at, 5) - plan.minute(at) < 5


def test_faults_of_moments_and_zones_are_sentences():
    with pytest.raises(ValueError, match="no time zone"):
        zone_of("Larkmoor/Bench")
    with pytest.raises(ValueError, match="no time zone"):
        zone_of("../../etc/passwd")
    with pytest.raises(ValueError, match="a day and a time"):
        moment_of("tomorrow", LISBON, "start")
    with pytest.raises(ValueError, match="between 1990"):
        moment_of("1936-05-01T10:00", LISBON, "start")
    assert moment_of("2026-07-01T10:00", LISBON, "start").hour == 9
    assert moment_of("2026-07-01T10:00+02:00", LISBON, "start").hour == 8
