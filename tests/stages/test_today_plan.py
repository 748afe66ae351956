"""The bench page under a kept plan: its steps, the recipe's words, and what was done taken off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from quirewell.record.bench import EMPTY_BENCH
from quirewell.stages import bench_planning, plan_keeping, today_keep
from quirewell.stages.once import send
from quirewell.stages.overview import open_item
from quirewell.stages.today import NO_COURSE, Card, today
from quirewell.stages.today_plan import lookup_of, standing_plan
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"


def test_a_plan_gives_its_steps_in_order_and_what_is_done_is_taken_off(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench", zone="UTC") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "2"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        asked = {
            "items": ITEM, "recipe": "slow-way", "start": "2026-12-01 18:00", "zone": "UTC",
            "by": "rule",
        }  # fmt: skip
        params = plan_keeping.ask(studio.bench(), [studio.state(ITEM)], asked)
        run = bench_planning.ask(params, studio.bench())
        studio.append("studio", None, plan_keeping.keep(studio.bench(), run, {}, "2026-12-01"))
        rows = bench_planning.as_json(run)["steps"]
        now = datetime.fromisoformat(rows[0]["start"]).astimezone(UTC) + timedelta(minutes=2)

        def card() -> Card:
            bench, states = studio.bench(), [studio.state(ITEM)]
            told = standing_plan(bench, states, now)
            seen = today(states, told.rows, now, "", told.lookup, bench)
            assert seen.now is not None and told.says
            return seen.now

        first = card()
        assert (first.task, first.state) == (rows[0]["id"], "planned")
        assert first.recipe.startswith("slow-way@") and first.does and first.can_wait
        entry = {
            "once": "1" * 32, "command": "start", "kind": first.kind, "task": first.task,
            "places": " ".join(first.places), "recipe": first.recipe, "planned": first.planned,
            "recipe_step": first.recipe_step, "at": now.isoformat().replace("+00:00", "Z"),
        }  # fmt: skip
        send(studio, ITEM, entry, today_keep.start)
        running = card()
        assert (running.state, running.task) == ("under way", first.task)
        assert running.name == first.name and running.due_at
        end = {"once": "2" * 32, "command": "done", "of": "1" * 32, "at": entry["at"]}
        send(studio, ITEM, end, today_keep.done)
        second = card()
        assert second.task not in ("", first.task) and second.state == "planned"


def test_an_unknown_recipe_or_step_says_nothing() -> None:
    look = lookup_of(EMPTY_BENCH)
    assert look("no-such@1", "wash") == NO_COURSE
    assert look("slow-way@1", "no-such-step") == NO_COURSE
    assert look("slow-way@1", "wash").most_wait is not None
