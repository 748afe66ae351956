"""The past made whole: what must be over, what goes on by itself, what is too late."""

from __future__ import annotations

from quirewell.science.planning.bench_shop import Fixed, Wait, Work
from quirewell.stages.plan_past import made_whole

# fill (hands) - wash (bath) - lift (hands, within 10 min) - dry (by itself at once) - mend (hands)
WORKS = (
    Work("a/w01/fill", "a", "w01", "fill", 5, hands=True),
    Work("a/w01/wash", "a", "w01", "wash", 30),
    Work("a/w01/lift", "a", "w01", "lift", 5, hands=True),
    Work("a/w01/dry", "a", "w01", "dry", 600),
    Work("a/w01/mend", "a", "w01", "mend", 20, hands=True),
)
FILL, WASH, LIFT, DRY, MEND = (work.id for work in WORKS)
WAITS = (
    Wait(FILL, WASH, 0, 0), Wait(WASH, LIFT, 0, 10, wet=True), Wait(LIFT, DRY, 0, 0),
    Wait(DRY, MEND),
)  # fmt: skip
EVENING = ((1080, 1320), (2520, 2760))


def past(now: int, *fixed: Fixed):
    return made_whole(WORKS, WAITS, fixed, now, EVENING)


def times(found):
    return {one.work: (one.start, one.end) for one in found.fixed}


def test_nothing_noted_is_nothing_taken():
    assert past(1080).fixed == () and past(1080).waits == WAITS


def test_what_has_begun_shows_that_what_goes_before_is_over():
    found = past(1150, Fixed(LIFT, 1140))
    assert times(found)[WASH] == (1110, 1140) and times(found)[FILL] == (1105, 1110)
    assert set(found.over) == {WASH, FILL}


def test_a_sheet_laid_on_the_rack_dries_without_anybody_noting_it():
    found = past(1200, Fixed(FILL, 1080, 1085), Fixed(WASH, 1085, 1115), Fixed(LIFT, 1116, 1121))
    assert times(found)[DRY] == (1121, None) and found.begun == (DRY,) and not found.late


def test_drying_whose_time_is_over_ended_as_planned():
    found = past(2520, Fixed(LIFT, 1116, 1121))
    assert times(found)[DRY] == (1121, 1721) and found.soaking == ()


def test_a_sheet_found_dry_early_ends_there():
    found = past(1500, Fixed(LIFT, 1116, 1121), Fixed(DRY, 1121, 1400))
    assert times(found)[DRY] == (1121, 1400)


def test_a_bath_nobody_ended_goes_on_until_now_and_the_lift_can_still_be_in_time():
    found = past(1150, Fixed(WASH, 1085))
    assert times(found)[WASH] == (1085, 1150) and found.soaking == (WASH,) and found.late == ()


def test_a_bath_on_time_is_under_way():
    found = past(1100, Fixed(WASH, 1085))
    assert times(found)[WASH] == (1085, None) and found.waits == WAITS


def test_a_lift_that_is_too_late_is_said_and_its_limit_let_go():
    found = past(1150, Fixed(WASH, 1085, 1115))
    assert found.late == (LIFT,)
    assert next(w for w in found.waits if w.after == LIFT).most is None
    night = past(1400, Fixed(WASH, 1385))
    assert night.late == () and times(night)[WASH] == (1385, None)
    over = past(1420, Fixed(WASH, 1385))
    assert over.late == (LIFT,), "nobody is there until the next evening"
