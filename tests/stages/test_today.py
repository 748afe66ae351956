"""What the bench page shows: the one thing now, what is late in words, what lies wet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from quirewell.record.nouns import Gathering, Item, ItemState, Override, Step
from quirewell.stages.today import Course, today
from quirewell.stages.today_said import moment_here

NOW = datetime(2026, 11, 28, 20, 0, tzinfo=UTC)


def ago(minutes: float) -> str:
    return (NOW - timedelta(minutes=minutes)).isoformat().replace("+00:00", "Z")


def item(*steps: Step, id: str = "annual") -> ItemState:
    return ItemState(
        id, 9, Item("Copperbeck Garden Annual"), Gathering(9), steps={one.id: one for one in steps}
    )


def begun(id: str, kind: str, place: str, minutes_ago: float, planned: int = 20) -> Step:
    return Step(
        id, kind, (place,), "started", started_at=ago(minutes_ago),
        planned_minutes=Decimal(planned), most_minutes=Decimal(planned + 10),
    )  # fmt: skip


def row(sheet: str, start_in: float, state: str = "planned") -> dict[str, Any]:
    start = NOW + timedelta(minutes=start_in)
    return {
        "id": f"annual/{sheet}/mend", "works": [f"annual/{sheet}/mend"], "item_id": "annual",
        "sheets": [sheet], "recipe": "slow-way@1", "step": "mend", "kind": "mend",
        "name": "Mend the tears", "start": start.isoformat(),
        "end": (start + timedelta(minutes=15)).isoformat(), "minutes": 15, "hands": True,
        "can_wait": "overnight, dry", "most_min": None, "state": state,
    }  # fmt: skip


def test_an_empty_studio_and_an_untouched_item_say_in_one_sentence_what_to_do() -> None:
    assert "Open one first" in today([], [], NOW).says
    seen = today([item()], [], NOW)
    assert seen.now is None and "Begin any step on any sheets below" in seen.says


def test_what_takes_too_long_comes_before_what_is_late_before_what_ends_next() -> None:
    fine, late, long = (
        begun("step-1", "surface-clean", "w01", 5),
        begun("step-2", "surface-clean", "w02", 24),
        begun("step-3", "wash", "w03", 32.5),
    )
    seen = today([item(fine, late, long)], [], NOW)
    assert seen.now is not None and seen.now.id == "step-3"
    assert seen.now.warn == "Too long: 2 min 30 s over the longest it may take (30 min)."
    assert [card.id for card in seen.under_way] == ["step-2", "step-1"]
    assert seen.under_way[0].warn == "Late: 4 min over the 20 min planned."
    assert seen.under_way[1].warn == "" and seen.under_way[1].due_at == "2026-11-28T20:15:00Z"
    chosen = today([item(fine, late, long)], [], NOW, chosen="s:annual:step-1")
    assert chosen.now is not None and chosen.now.id == "step-1" and len(chosen.under_way) == 2


def test_a_timer_is_an_instant_so_the_same_record_says_the_same_after_any_pause() -> None:
    state = item(begun("step-1", "wash", "w03", 5))
    for later in (0, 7, 600):
        seen = today([state], [], NOW + timedelta(minutes=later)).now
        assert seen is not None and seen.due_at == "2026-11-28T20:15:00Z"
    assert seen is not None and seen.level == "too long"


def test_the_plan_says_what_comes_next_and_how_late_it_is() -> None:
    rows = [row("w02", 30), row("w01", -12), row("w03", -40, "done")]
    seen = today([item()], rows, NOW)
    assert seen.now is not None and seen.now.places == ("w01",)
    assert seen.now.warn == "Late: it was to begin 12 min ago."
    assert (seen.now.task, seen.now.recipe, seen.now.planned) == (
        "annual/w01/mend", "slow-way@1", "15",
    )  # fmt: skip
    assert [card.places for card in seen.next] == [("w02",)]
    assert "ink test" in seen.now.before[0] and seen.now.rule == "ink-test"
    mine = replace(begun("step-1", "mend", "w01", 1), task="annual/w01/mend")
    after = today([item(mine)], rows, NOW)
    assert after.now is not None and after.now.id == "step-1"
    assert [card.places for card in after.next] == [("w02",)]


def test_of_a_plan_that_is_out_of_date_no_step_is_called_late_by_itself() -> None:
    seen = today([item()], [row("w01", -12)], NOW, over=True)
    assert seen.now is not None and (seen.now.places, seen.now.warn) == (("w01",), "")


def test_without_plan_or_recipe_the_planned_steps_of_the_items_come_next() -> None:
    seen = today([item(Step("step-1", "house", ("item",)))], [], NOW)
    assert seen.now is not None and seen.now.state == "planned" and seen.now.id == "step-1"


def test_a_wet_sheet_with_nothing_under_way_is_said_with_since_when() -> None:
    washed = Step(
        "step-1", "wash", ("w03", "w04"), "done", started_at=ago(60), done_at=ago(22),
        recipe="slow-way@1", recipe_step="wash",
    )  # fmt: skip
    (lying,) = today([item(washed)], [], NOW).wet
    assert lying.says == (
        "Wraps 3 and 4 of Copperbeck Garden Annual: wet, with nothing under way for 22 min."
    )
    assert not lying.too_long, "no limit is invented where no recipe gives one"
    (lying,) = today([item(washed)], [], NOW, lookup=lambda *_: Course(most_wait=10)).wet
    assert lying.too_long and lying.says.endswith("follows within 10 min: too long.")
    drying = Step("step-2", "dry", ("w03", "w04"), "started", started_at=ago(20))
    assert not today([item(washed, drying)], [], NOW).wet
    dried = replace(drying, state="done", done_at=ago(1))
    assert not today([item(washed, dried)], [], NOW).wet


def test_a_reading_begins_as_taken_before_while_or_after_what_was_done_there() -> None:
    assert moment_here(item(), ("w03",)) == "before"
    assert moment_here(item(begun("step-1", "wash", "w03", 5)), ("w03",)) is None
    done = Step("step-1", "surface-clean", ("w03",), "done", started_at=ago(60), done_at=ago(22))
    assert moment_here(item(done), ("w03",)) == "after"
    assert moment_here(item(done), ("w04",)) == "before"
    wet = replace(done, kind="wash")
    assert moment_here(item(wet), ("w03",)) is None


def test_a_wet_sheet_does_not_wait_for_the_same_reason_to_be_typed_again() -> None:
    filled = Step("step-1", "wash", ("w01",), "done", started_at=ago(6), done_at=ago(1))
    told = Override("override-1", "ink-test", "tested last week, on paper", "step-1")
    planned = Step("step-2", "wash", ("w01",))
    wet = replace(item(filled, planned), overrides={"override-1": told})
    card = today([wet], [], NOW).now
    assert card is not None and card.before and card.reason == "tested last week, on paper"
    other = today([replace(wet, steps={**wet.steps, "step-2": replace(planned, places=("w02",))})],
                  [], NOW).now  # fmt: skip
    assert other is not None and other.before and other.reason == ""
