"""What a course means for a plan: counts, order, held places and the pilot first, from the text."""

from __future__ import annotations

from collections import defaultdict

import pytest

from quirewell.science.planning.bench_shop import Hold
from quirewell.stages.course import PILOT_LOOK, Course
from quirewell.stages.recipe_keep import shipped
from quirewell.stages.recipe_works import Works, works_of

SHEETS = ("c", "w01", "w02", "w03")


def course(key: str) -> Course:
    return shipped()[f"{key}@1"]


def earliest(made: Works) -> dict[str, int]:
    """The earliest start of each work with endless places and people: the longest way to it."""
    length = {work.id: work.minutes for work in made.works}
    before: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for wait in made.waits:
        before[wait.after].append((wait.before, wait.least))
    start: dict[str, int] = {}

    def find(id: str, seen: tuple[str, ...] = ()) -> int:
        assert id not in seen, f"{id} waits for itself"
        if id not in start:
            ways = [find(one, (*seen, id)) + length[one] + least for one, least in before[id]]
            start[id] = max(ways, default=0)
        return start[id]

    for id in length:
        find(id)
    return start


@pytest.mark.parametrize("id", sorted(shipped()))
@pytest.mark.parametrize("pilot", ["", "w02", "scrap"])
def test_every_wait_and_hold_is_between_works_and_nothing_waits_for_itself(
    id: str, pilot: str
) -> None:
    chosen = shipped()[id]
    wetted = any(step.wet for step in chosen.of("w02"))
    made = works_of(chosen, "annual", SHEETS, pilot=pilot if wetted or pilot == "scrap" else "")
    ids = [work.id for work in made.works]
    assert len(ids) == len(set(ids))
    assert {id for wait in made.waits for id in (wait.before, wait.after)} <= set(ids)
    assert {id for hold in made.holds for id in (hold.first, hold.last)} <= set(ids)
    assert all(set(tray.steps) <= {work.step for work in made.works} for tray in made.trays)
    assert set(earliest(made)) == set(ids)
    counted = sum(len(chosen.of(sheet)) for sheet in ("", *SHEETS))
    extra = [work for work in made.works if work.sheet == "scrap" or work.step == PILOT_LOOK]
    assert len(ids) - len(extra) == counted


def test_the_slow_way_takes_one_tray_a_wrap_and_leaves_the_cover_dry() -> None:
    made = works_of(course("slow-way"), "annual", SHEETS)
    assert len(made.works) == 3 * 10 and not made.trays
    assert Hold("tray", "annual/w01/fill", "annual/w01/lift") in made.holds
    assert Hold("rack", "annual/w01/dry", "annual/w01/take-down") in made.holds
    assert len(made.holds) == 6
    assert not [work for work in made.works if work.uses]


def test_the_fast_way_shares_a_tray_by_two_and_never_with_the_pilot() -> None:
    made = works_of(course("fast-way"), "annual", SHEETS, pilot="w03", mix_items=True)
    (tray,) = made.trays
    assert (tray.most, tray.alone, tray.equipment, tray.mix_items) == (2, ("w03",), "tray", True)
    assert (tray.steps[0], tray.steps[-1]) == ("fill", "lift")
    assert all(hold.equipment == "rack" for hold in made.holds)


@pytest.mark.parametrize("pilot", ["w02", "scrap"])
@pytest.mark.parametrize("key", ["slow-way", "fast-way", "tear-sealing"])
def test_no_other_sheet_is_wetted_before_the_pilot_has_lain_a_day_and_was_looked_at(
    key: str, pilot: str
) -> None:
    chosen = course(key)
    made = works_of(chosen, "annual", SHEETS, pilot=pilot)
    start = earliest(made)
    works = {work.id: work for work in made.works}
    look = works[f"annual/{pilot}/{PILOT_LOOK}"]
    assert look.hands
    drying = next(step.key for step in chosen.steps if step.kind == "dry")
    dried = works[f"annual/{pilot}/{drying}"]
    assert start[look.id] >= start[dried.id] + dried.minutes + 1440
    wet = {step.key for step in chosen.steps if step.wet}
    others = [work for work in made.works if work.step in wet and work.sheet not in (pilot, "")]
    assert others
    assert all(start[one.id] >= start[look.id] + look.minutes for one in others)
    dry_first = [work for work in made.works if work.step == "clean" and work.sheet != pilot]
    assert dry_first and all(start[one.id] == 0 for one in dry_first)


def test_the_pilot_gives_its_rack_place_back_before_it_is_looked_at() -> None:
    made = works_of(course("slow-way"), "annual", SHEETS, pilot="w02")
    pairs = {(wait.before, wait.after) for wait in made.waits}
    assert ("annual/w02/take-down", "annual/w02/pilot-look") in pairs
    assert ("annual/w02/pilot-look", "annual/w02/seal") in pairs


def test_a_step_on_the_whole_waits_for_every_sheet_and_other_times_hold() -> None:
    made = works_of(course("dry-and-press"), "annual", SHEETS, minutes={"dry": 90, "press": 60})
    before = {wait.before for wait in made.waits if wait.after == "annual/-/stack"}
    assert before == {f"annual/{sheet}/dry" for sheet in SHEETS}
    lengths = {work.step: (work.minutes, work.likely_minutes) for work in made.works}
    assert lengths["dry"] == (90, 90) and lengths["press"] == (60, None)


def test_wet_waits_are_limited_and_marked() -> None:
    for chosen in shipped().values():
        made = works_of(chosen, "annual", SHEETS)
        wet = {step.key for step in chosen.steps if step.wet}
        for wait in made.waits:
            if wait.before.rsplit("/", 1)[1] in wet:
                assert wait.wet and wait.most is not None


@pytest.mark.parametrize(
    ("sheets", "more", "says"),
    [
        (("w01", "w01"), {}, "twice"),
        ((), {}, "name the sheets"),
        (("w01",), {"pilot": "w09"}, "none of"),
        (("c", "w01"), {"pilot": "c"}, "does not wet"),
        (("w01",), {"minutes": {"boil": 5}}, "has no step"),
        (("w01",), {"minutes": {"wash": 0}}, "from 1"),
        (("c",), {}, "does nothing to"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    sheets: tuple[str, ...], more: dict[str, object], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        works_of(course("slow-way"), "annual", sheets, **more)  # type: ignore[arg-type]
