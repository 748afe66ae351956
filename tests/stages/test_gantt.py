"""The plan's pictures: well-formed, to scale, the same for the same plan, nothing by colour alone.

Read back by a parser of XML; positions are worked out by hand from the clock.
"""

from __future__ import annotations

import copy
import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

import quirewell.web
from plan_by_hand import at, gone, row, told
from quirewell.stages import gantt

SVG = "{http://www.w3.org/2000/svg}"


def _read(svg: str) -> ET.Element:
    return ET.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def _bars(svg: str, id: str) -> list[ET.Element]:
    """The bars of a step: one in the row of each of its sheets."""
    return [one for one in _read(svg).iter(f"{SVG}a") if one.get("href") == f"#{gantt.anchor(id)}"]


def _box(link: ET.Element) -> tuple[float, float, float]:
    rect = link.find(f"{SVG}rect")
    assert rect is not None
    return float(rect.attrib["x"]), float(rect.attrib["y"]), float(rect.attrib["width"])


def _days(now: datetime | None = None) -> tuple[gantt.Day, ...]:
    return gantt.days(told(), now or at(0, "12:00"))


def _id(end: str) -> str:
    return next(str(one["id"]) for one in told()["steps"] if one["id"].endswith(end))


def test_a_picture_for_each_day_on_which_anything_begins_or_ends() -> None:
    assert [one.title for one in _days()] == [
        "Monday 30 November", "Tuesday 1 December", "Wednesday 2 December", "Thursday 3 December",
        "Friday 4 December", "Saturday 5 December",
    ]  # fmt: skip
    assert sum(len(one.rows) for one in _days()) == len(told()["steps"])


def test_every_step_is_drawn_in_the_row_of_each_of_its_sheets() -> None:
    text = "".join(one.svg for one in _days())
    for one in told()["steps"]:
        days = 2 if one["step"] in ("dry", "press") else 1
        assert text.count(f'href="#{gantt.anchor(one["id"])}"') == days * max(1, len(one["sheets"]))


def test_rows_are_in_the_gatherings_own_order() -> None:
    names = [one.text for one in _read(_days()[0].svg).iter(f"{SVG}text")
             if one.get("class") == "name"]  # fmt: skip
    assert names == ["The whole", "Cover", *[f"Wrap {n}" for n in range(1, 10)]]


def test_the_evening_is_to_scale() -> None:
    svg = _days()[1].svg
    wash = _box(_bars(svg, _id("w01+w02/wash"))[0])
    rinse = _box(_bars(svg, _id("w01+w02/rinse"))[0])
    assert (wash[2] + 1) / (rinse[2] + 1) == pytest.approx(30 / 20, rel=0.01)
    first = _box(_bars(svg, _id("w01+w02/lay-in"))[0])[0]
    second = _box(_bars(svg, _id("w03+w04/lay-in"))[0])[0]
    third = _box(_bars(svg, _id("w05+w06/lay-in"))[0])[0]
    assert second - first == pytest.approx(third - second, abs=0.2)  # 70 minutes each


def test_nights_are_shortened_and_marked() -> None:
    day = _days()[1]
    assert day.shortened
    assert day.svg.count('class="break"') == 2
    x, _, wide = _box(_bars(day.svg, _id("w05+w06/dry"))[0])
    assert x + wide == pytest.approx(gantt.WIDTH - gantt.RIGHT, abs=1.5)  # goes on past the night
    next_day = _box(_bars(_days()[2].svg, _id("w05+w06/dry"))[0])
    assert next_day[2] < gantt.BREAK


def test_works_of_hands_are_full_others_hatched_and_wet_ones_waved() -> None:
    svg = _days()[1].svg

    def over(end: str) -> list[str]:
        link = _bars(svg, _id(end))[0]
        return [one.attrib["fill"].split("-2026")[0] for one in link if one.get("class") == "over"]

    assert over("w01+w02/lay-in") == ["url(#wave-full"]
    assert over("w01+w02/wash") == ["url(#hatch", "url(#wave"]
    assert [one.get("class") for one in _bars(_days()[0].svg, _id("w01/clean"))[0].iter()
            if one.get("class") == "over"] == []  # fmt: skip


def test_a_tray_that_two_sheets_share_is_joined_once_a_step_begins_there() -> None:
    assert _days()[1].svg.count('class="joined"') == 3
    assert _days()[2].svg.count('class="joined"') == 1  # wraps 7 and 8; 9 and the cover alone
    assert _days()[0].svg.count('class="joined"') == 0


def test_the_state_is_told_by_a_sign_and_a_word() -> None:
    now = at(1, "18:50")
    plan = gone(told(), at(1, "18:35"))
    svg = gantt.days(plan, now)[1].svg
    done = _bars(svg, _id("w01+w02/wash"))[0]
    assert any((one.text or "").startswith("✓") for one in done.iter(f"{SVG}text"))
    assert "done" in done.attrib["aria-label"]
    late = _bars(svg, _id("w01+w02/change"))[0]
    assert "; late" in late.attrib["aria-label"]
    planned = _bars(svg, _id("w03+w04/lay-in"))[0]
    assert "; late" not in planned.attrib["aria-label"]


def test_the_line_of_now_stands_in_its_own_day_at_its_own_minute() -> None:
    days = _days(at(1, "19:10"))
    assert [one.svg.count('class="now"') for one in days] == [0, 2, 0, 0, 0, 0]
    found = re.search(r'<path class="now" d="M([\d.]+) ', days[1].svg)
    assert found
    bar = _box(_bars(days[1].svg, _id("w03+w04/lay-in"))[0])[0]
    assert float(found[1]) == pytest.approx(bar, abs=0.1)


def test_slack_is_a_tail_as_long_as_it_is() -> None:
    svg = _days()[0].svg
    link = _bars(svg, _id("w01/clean"))[0]
    found = next(one for one in link if one.get("class") == "slack")
    a, b = map(float, re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", found.attrib["d"])[0])
    ten = _box(link)[2] + 1
    assert (b - a) / ten == pytest.approx(60 / 10, rel=0.02)


def test_by_equipment_overlapping_uses_lie_side_by_side_and_no_bar_covers_another() -> None:
    for day in gantt.days(told(), at(0, "12:00"), "equipment"):
        seen: dict[float, list[tuple[float, float]]] = {}
        for link in _read(day.svg).iter(f"{SVG}a"):
            x, y, wide = _box(link)
            seen.setdefault(y, []).append((x, x + wide))
        for spans in seen.values():
            spans.sort()
            assert all(a[1] <= b[0] + 0.11 for a, b in pairwise(spans))


def test_nothing_is_written_in_small_letters_or_runs_out_of_the_drawing() -> None:
    for by in ("sheets", "equipment"):
        for day in gantt.days(told(), at(1, "21:55"), by):
            for link in _read(day.svg).iter(f"{SVG}a"):
                x, _, wide = _box(link)
                assert x >= gantt.LEFT - 0.1 and x + wide <= gantt.WIDTH
            assert "font-size" not in day.svg  # set in one place, the stylesheet
    css = (Path(quirewell.web.__file__).parent / "static" / "plan.css").read_text()
    sizes = re.findall(r"\.gantt (?:text|\.tick)[^}]*?font(?:-size)?: (\d+)px", css)
    assert len(sizes) == 2
    assert all(int(one) * 730 / gantt.WIDTH >= 12 for one in sizes)  # 730 px of a screen of 820


def test_no_inline_style_or_script_and_every_name_is_escaped() -> None:
    plan = told()
    for one in plan["steps"]:
        one["name"] = "<script>\"&'x</script>"
        one["item"] = '"><b>'
    text = "".join(one.svg for one in gantt.days(plan, at(0, "12:00")))
    assert "<script" not in text and "<b>" not in text
    for day in gantt.days(plan, at(0, "12:00")):
        for part in _read(day.svg).iter():
            assert part.tag.removeprefix(SVG) in (
                "svg", "defs", "pattern", "path", "rect", "text", "a", "title"
            )  # fmt: skip
            assert not [name for name in part.attrib if name == "style" or name.startswith("on")]


def test_the_same_plan_gives_the_same_picture_and_is_left_as_it_was() -> None:
    plan = told()
    before = copy.deepcopy(plan)
    assert gantt.days(plan, at(1, "19:00")) == gantt.days(plan, at(1, "19:00"))
    assert plan == before


def test_the_moment_now_may_come_in_any_zone() -> None:
    local, utc = at(1, "19:10"), at(1, "19:10").astimezone(UTC)
    assert gantt.days(told(), local) == gantt.days(told(), utc)


def test_a_day_with_a_break_at_noon_keeps_short_gaps_to_scale() -> None:
    plan = told(steps=[row(["w01"], "a", "One", at(0, "09:00"), 210),
                       row(["w01"], "b", "Two", at(0, "13:15"), 60)])  # fmt: skip
    plan["hours"] = [[at(0, "09:00").isoformat(), at(0, "12:30").isoformat()],
                     [at(0, "13:15").isoformat(), at(0, "17:30").isoformat()]]  # fmt: skip
    day = gantt.days(plan, at(0, "08:00"))[0]
    one, two = (_box(_bars(day.svg, held["id"])[0]) for held in plan["steps"])
    assert (two[0] - one[0]) / (one[2] + 1) == pytest.approx(255 / 210, rel=0.01)


def test_the_day_the_clocks_go_back_has_its_hour_twice() -> None:
    """Lisbon, 25 October 2026: 02:00 summer time is 01:00 again (IANA tz database)."""
    begin = datetime.fromisoformat("2026-10-25T00:30+01:00")
    plan = told(steps=[row(["w01"], "a", "Through the night", begin, 180)], hours=[])
    day = gantt.days(plan, begin)[0]
    names = [one.text for one in _read(day.svg).iter(f"{SVG}text") if one.get("class") == "tick"]
    assert names.count("01:00") == 2


def test_no_steps_no_pictures() -> None:
    assert gantt.days(told(steps=[]), at(0, "18:00")) == ()


def test_a_long_plan_of_three_weeks_is_drawn_day_by_day() -> None:
    steps = [row(["w01"], f"s{n}", "Mend", at(0, "18:00") + timedelta(days=n), 30)
             for n in range(21)]  # fmt: skip
    days = gantt.days(told(steps=steps), at(3, "18:10"))
    assert len(days) == 21
    assert all(len(one.svg) < 6000 for one in days)
