"""The sheet of a day: what stands on it, read back from the PDF by another program (poppler)."""

from __future__ import annotations

import io
import shutil
import subprocess
from datetime import UTC, date, datetime

import pikepdf
import pytest

from plan_by_hand import at, gone, told
from quirewell.record.bench import EMPTY_BENCH
from quirewell.report.day_sheet import day_sheet, day_sheet_pdf
from quirewell.stages.cautions import LOCAL_CODES
from quirewell.stages.recipe_keep import courses

WHEN = datetime(2026, 11, 30, 12, tzinfo=UTC)
TUESDAY = date(2026, 12, 1)


def _text(pdf: bytes) -> tuple[int, str]:
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext is part of the test set-up (poppler-utils)"
    made = subprocess.run([tool, "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    with pikepdf.open(io.BytesIO(pdf)) as held:
        return len(held.pages), " ".join(made.stdout.decode().split())


def _tuesday() -> dict[str, object]:
    return day_sheet(told(), TUESDAY, EMPTY_BENCH)


def test_every_step_of_the_day_is_there_with_its_time_leaves_and_tray() -> None:
    pages, text = _text(day_sheet_pdf(told(), TUESDAY, EMPTY_BENCH, WHEN))
    assert pages <= 2
    for words in (
        "18:00", "Lay in the bath", "wraps 1-2, tray 1", "wraps 5-6, tray 3", "21:25", "Began",
        "Ended", "Reading, note", LOCAL_CODES, "Set a kitchen timer",
    ):  # fmt: skip
        assert words in text
    assert text.count("Lift to the rack") == 3
    assert "Take apart" not in text and "wraps 7-8" not in text


def test_it_says_how_long_a_step_can_wait_and_how_much_later_it_may_end() -> None:
    rows = _tuesday()["rows"]
    assert isinstance(rows, list)
    wash = next(one for one in rows if one["name"] == "Wash")
    assert wash["notes"] == "Then it can wait: Ten minutes, in the bath. Not longer than 45 min."
    dry = next(one for one in rows if one["name"] == "Dry")
    assert (dry["hands"], dry["until"]) == (False, "Wed 2 Dec 05:05")
    assert dry["notes"] == "May end 2 h later."


def test_what_goes_over_by_itself_is_said_on_the_day_it_does() -> None:
    over = day_sheet(told(), date(2026, 12, 2), EMPTY_BENCH)["over"]
    assert over == [
        "Dry, wraps 1-2: over at 05:05", "Dry, wraps 3-4: over at 06:15",
        "Dry, wraps 5-6: over at 07:25",
    ]  # fmt: skip
    saturday = day_sheet(told(), date(2026, 12, 5), EMPTY_BENCH)
    assert saturday["rows"] == [] and saturday["over"] == [
        "Press cold, the whole item: over at 07:30"
    ]
    pages, text = _text(day_sheet_pdf(told(), date(2026, 12, 5), EMPTY_BENCH, WHEN))
    assert pages == 1 and "nobody is at the bench" in text


def test_cautions_come_from_the_recipes_steps_of_that_day_once_each() -> None:
    course = next(one for one in courses() if one.wets and any(s.hazards for s in one.steps))
    step = next(one for one in course.steps if one.hazards and one.wet)
    plan = told()
    for row in plan["steps"]:
        row |= {"recipe": course.id, "step": step.key, "kind": step.kind}
    held = day_sheet(plan, TUESDAY, EMPTY_BENCH)
    said = [*held["object"], *held["person"]]
    assert said and len(said) == len(set(said))
    dry = day_sheet(told(), date(2026, 11, 30), EMPTY_BENCH)
    assert dry["object"] == [] and dry["person"] == []  # no such recipe, and nothing wet


def test_a_day_with_wet_hands_always_has_the_cautions_of_water() -> None:
    held = _tuesday()
    assert any("Test every colour" in str(one) for one in held["object"])  # type: ignore[attr-defined]


def test_done_steps_are_ticked_already() -> None:
    rows = day_sheet(gone(told(), at(1, "19:00")), TUESDAY, EMPTY_BENCH)["rows"]
    assert [one["done"] for one in rows[:4]] == [True] * 4
    assert not rows[-1]["done"]


def test_a_day_the_plan_has_nothing_on_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing on that day"):
        day_sheet(told(), date(2027, 1, 1), EMPTY_BENCH)


def test_the_same_plan_gives_the_same_bytes_and_titles_full_of_signs_stay_titles() -> None:
    plan = told()
    for row in plan["steps"]:
        row["item"] = row["name"] = '#panic("x") $ * _ <a> "'
    made = day_sheet_pdf(plan, TUESDAY, EMPTY_BENCH, WHEN)
    assert made == day_sheet_pdf(plan, TUESDAY, EMPTY_BENCH, WHEN)
    assert '#panic("x")' in _text(made)[1].replace("“", '"').replace("”", '"')
    assert b"pdfaid" in made and b"pdfuaid" in made
