"""The four answers above the plan, each case worked out by hand from the plan written by hand."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest

from plan_by_hand import at, gone, told
from quirewell.stages.evening import Evening, evening, stops, stretches, until_of


def _at(day: int, clock: str, **more: Any) -> Evening:
    """The evening as planned until a moment, and all of it noted."""
    moment = at(day, clock)
    return evening(gone(told(), moment, **more), moment)


def _row(plan: dict[str, Any], id: str) -> dict[str, Any]:
    return next(one for one in plan["steps"] if one["id"].endswith(id))


def test_a_stretch_goes_from_the_bath_to_the_rack_and_is_safe_when_the_drying_begins() -> None:
    rows = told()["steps"]
    mine = stretches(rows)[_row(told(), "w01+w02/lay-in")["id"]]
    assert [one["step"] for one in mine] == ["lay-in", "wash", "change", "rinse", "lift", "dry"]
    assert stops(mine) == at(1, "19:05")


def test_a_dry_step_is_a_stretch_by_itself() -> None:
    rows = told()["steps"]
    mine = stretches(rows)[_row(told(), "w03/clean")["id"]]
    assert [one["step"] for one in mine] == ["clean"]
    assert stops(mine) == at(0, "19:25")


def test_at_the_start_of_a_wet_evening_it_says_yes_and_until_when() -> None:
    plan = gone(told(), at(0, "22:00"))
    seen = evening(plan, at(1, "18:00"))
    assert seen.yes
    assert seen.start_now.says == (
        "Yes: Lay in the bath, wraps 1-2. Hands are needed again at 18:35 (change the bath); it "
        "reaches a safe stop at 19:05, before the end at 22:00."
    )
    assert seen.safe_stop.at == at(1, "18:00")  # nothing is wet yet


def test_in_the_middle_of_a_bath() -> None:
    seen = _at(1, "18:20")
    assert not seen.yes
    assert seen.start_now.says == "Not yet: at 19:10, Lay in the bath, wraps 3-4."
    assert seen.next_touch.at == at(1, "18:35")
    assert "Change the bath, wraps 1-2" in seen.next_touch.says
    assert seen.hands_free_until.says == "18:35: free for 15 min."
    assert seen.safe_stop.at == at(1, "19:05")
    assert "wraps 1-2 may lie" in seen.safe_stop.says


def test_a_bath_begun_late_moves_all_that_must_follow_it() -> None:
    plan = gone(told(), at(1, "18:00"), under_way=False)
    for step, clock in (("lay-in", "18:20"), ("wash", "18:25")):
        row = _row(plan, f"w01+w02/{step}")
        row |= {"state": "done" if step == "lay-in" else "started",
                "begun_at": at(1, clock).isoformat(),
                "done_at": at(1, "18:25").isoformat() if step == "lay-in" else ""}  # fmt: skip
    seen = evening(plan, at(1, "18:40"))
    assert seen.next_touch.at == at(1, "18:55")  # 20 minutes after the plan's 18:35
    assert seen.safe_stop.at == at(1, "19:25")
    # the next tray, planned for 19:10, is still to come as planned
    assert seen.start_now.says.startswith("Not yet: at 19:10")


def test_a_bath_whose_time_is_over_is_due_and_comes_before_anything_new() -> None:
    plan = gone(told(), at(1, "18:20"))
    seen = evening(plan, at(1, "18:47"))
    assert not seen.yes
    assert "comes first" in seen.start_now.says
    assert seen.next_touch.at == at(1, "18:47")
    assert "due 12 min ago. It can wait: ten minutes, in the bath." in seen.next_touch.says
    assert seen.hands_free_until.says.startswith("Not now")
    assert seen.safe_stop.at == at(1, "19:17")  # change 5, second bath 20, lift 5 from now


def test_with_hands_at_work_nothing_new_is_begun() -> None:
    seen = _at(3, "18:10")
    assert not seen.yes
    assert seen.start_now.says == "No: hands are at Mend, cover."
    assert seen.hands_free_until.says == "Not now: Mend, cover needs hands until 18:20."


def test_in_the_night_hands_are_free_until_the_evening() -> None:
    seen = _at(2, "02:30")
    assert not seen.yes
    assert seen.start_now.says == "No: this is outside the working hours; they begin at 18:00."
    assert seen.next_touch.at == at(2, "18:00")
    assert seen.hands_free_until.says == "18:00: free for 15 h 30 min."
    assert seen.safe_stop.says == "Now: no sheet is on its way; all may lie as they are."


def test_a_tray_that_is_late_is_refused_where_the_evening_is_too_short_for_it() -> None:
    plan = gone(told(), at(1, "20:15"))
    seen = evening(plan, at(1, "21:10"))  # the third tray, planned for 20:20, needs 65 minutes
    assert not seen.yes
    assert seen.start_now.says == (
        "No: Lay in the bath, wraps 5-6 would be safe only at 22:15, 15 min after the end at "
        "22:00; nothing is begun that cannot reach a safe stop. It can wait: weeks, "
        "dry in its folder."
    )
    assert [one.fits for one in seen.tonight] == [False]


def test_the_last_moment_at_which_it_still_fits_is_a_yes() -> None:
    plan = gone(told(), at(1, "20:15"))
    assert evening(plan, at(1, "20:55")).yes
    assert not evening(plan, at(1, "20:56")).yes


def test_with_less_time_than_the_plan_has_it_says_what_can_still_be_done_safely() -> None:
    plan = gone(told(), at(0, "22:00"))
    seen = evening(plan, at(1, "18:00"), until_of("20:30", at(1, "18:00"), told()["zone"]))
    assert [(one.row["sheets"], one.fits) for one in seen.tonight] == [
        (["w01", "w02"], True), (["w03", "w04"], True), (["w05", "w06"], False),
    ]  # fmt: skip
    assert seen.tonight[2].says == "would be safe only at 21:25, 55 min after the end at 20:30"
    assert seen.until == at(1, "20:30")


def test_outside_the_hours_a_given_end_makes_an_evening() -> None:
    plan = gone(told(), at(1, "20:15"))
    late = at(1, "22:05")
    assert not evening(plan, late).yes
    assert evening(plan, late, until_of("23:30", late, plan["zone"])).yes


def test_two_trays_that_are_late_are_begun_one_after_the_other() -> None:
    plan = gone(told(), at(0, "22:00"))
    seen = evening(plan, at(1, "19:30"))
    first, second, third = seen.tonight
    assert first.begins == at(1, "19:30") and first.fits
    # hands of the first: 19:30-19:35, 20:05-20:10, 20:30-20:35; the second, begun between them,
    # needs its own at +0, +35 and +60 minutes
    assert second.begins == at(1, "19:35") and second.fits
    assert third.begins == at(1, "20:20")  # as planned; its hands: 20:20, 20:55, 21:20
    spans = []
    for one in seen.tonight:
        spans += [(one.begins + timedelta(minutes=m), one.begins + timedelta(minutes=m + 5))
                  for m in (0, 35, 60)]  # fmt: skip
    spans.sort()
    assert all(a[1] <= b[0] for a, b in pairwise(spans))


def test_what_waits_for_something_left_undone_is_left_too() -> None:
    plan = gone(told(), at(2, "22:00"))
    held = _row(plan, "c/mend")
    plan["steps"].append(held | {"id": "x/c/again", "start": at(3, "21:20").isoformat(),
                                 "end": at(3, "21:22").isoformat(), "start_min": 4520,
                                 "end_min": 4522, "minutes": 2, "name": "Look again"})  # fmt: skip
    held |= {"start": at(3, "18:00").isoformat(), "end": at(3, "21:15").isoformat(),
             "minutes": 195}  # fmt: skip
    seen = evening(plan, at(3, "18:00"), at(3, "21:00"))
    by = {one.row["id"]: one for one in seen.tonight}
    assert not by[held["id"]].fits
    assert by["x/c/again"].says == "what goes before it is not done tonight"


def test_nothing_left() -> None:
    seen = evening(gone(told(), at(9, "12:00")), at(9, "12:00"))
    assert not seen.yes
    assert seen.start_now.says == "Nothing is left: every step is done."
    assert seen.next_touch.at is None and seen.safe_stop.at is None


def test_no_plan_is_no_yes() -> None:
    seen = evening(told(status="impossible", steps=[], hours=[]), at(0, "18:00"))
    assert not seen.yes
    assert seen.start_now.says == "There is no plan to work by."


def test_only_the_press_is_left_and_no_hands_are_needed() -> None:
    seen = _at(4, "21:30")
    assert seen.next_touch.at is None
    assert seen.next_touch.says == "No hands are needed any more; what is left goes on by itself."
    assert seen.hands_free_until.says == "From now on."


def test_after_the_last_hours_of_the_plan_it_asks_for_a_new_one() -> None:
    plan = gone(told(), at(3, "18:30"), under_way=False)
    seen = evening(plan, at(6, "12:00"))
    assert "the plan has none any more" in seen.start_now.says
    assert "work it out anew" in seen.next_touch.says


def test_a_bath_stays_as_long_as_it_is_when_the_clocks_go_back() -> None:
    """In Lisbon the clocks went back on 25 October 2026 at 02:00 summer time (IANA tz database)."""
    plan = told()
    row = _row(plan, "w01+w02/wash")
    later = _row(plan, "w01+w02/change")
    row |= {"state": "started", "start": "2026-10-25T01:50+01:00", "end": "2026-10-25T01:20+00:00",
            "begun_at": "2026-10-25T00:55+00:00", "start_min": 0, "end_min": 30}  # fmt: skip
    later |= {"start": "2026-10-25T01:20+00:00", "end": "2026-10-25T01:25+00:00", "start_min": 30,
              "end_min": 35}  # fmt: skip
    plan["steps"] = [row, later]
    seen = evening(plan, datetime.fromisoformat("2026-10-25T01:00+00:00"))
    assert seen.next_touch.at == datetime.fromisoformat("2026-10-25T01:25+00:00")


def test_the_end_of_tonight_as_a_person_writes_it() -> None:
    now = at(0, "18:00")
    assert until_of("21:30", now, told()["zone"]) == at(0, "21:30")
    assert until_of(" 21.30", now, told()["zone"]) == at(0, "21:30")
    assert until_of("21", now, told()["zone"]) == at(0, "21:00")
    assert until_of("2026-12-01T21:30", now, told()["zone"]) == at(1, "21:30")


@pytest.mark.parametrize(
    "text", ["", "late", "25:00", "21:75", "-3", "17:00", "2026-11-01T10:00", "²"]
)
def test_an_end_that_cannot_be_read_or_has_passed_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"Write (the|a) time"):
        until_of(text, at(0, "18:00"), told()["zone"])


def test_what_can_be_done_is_said_without_a_word_twice() -> None:
    seen = evening(gone(told(), at(0, "22:00")), at(2, "18:00"))
    assert seen.tonight[0].says == "safe at 19:05"
    assert seen.next_touch.says.endswith("planned for Tue 1 Dec at 18:00.")
