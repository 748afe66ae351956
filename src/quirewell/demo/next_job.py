"""The next job on the bench: a show book of 1937, planned for evenings, its pilot washed first.

Everything goes through the commands a person's forms go through. The plan is worked out here and
now; its first evenings are recorded as they went, and the rest waits to be planned anew.
"""

from __future__ import annotations

from datetime import UTC, datetime

from quirewell.demo.bench import Bench
from quirewell.demo.story import ACTOR
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages import (
    bench_planning,
    checks,
    emergencies,
    keeping,
    once,
    overview,
    pilot,
    plan_keeping,
    today_keep,
    treat,
    trials,
)
from quirewell.studio.studio import STUDIO

ITEM = "thrushfield-show-book-1937"
WRAPS = "6"
BEGUN, PLANNED = "2026-03-30T17:00", "2026-03-30T17:40"
SHOP = {
    "people": "1", "hours": "Mo-Fr 18:00-22:00\nSa 09:00-12:30", "place:tray": "2",
    "place:rack": "6", "place:press": "1", "place:chamber": "1",
}  # fmt: skip
SHEETS = "w01 w02 w03 w04 w05 w06"
COLD, FAST = "cold, one wrap at a time", "cold, two wraps at a time"
LIQUIDS = (("water with a little calcium", "20"), ("lime water 1:1", "20"))
CHECKS = (
    ("staples-out", "yes"), ("mould-apart", "none"), ("repairs-mapped", "none"),
    ("dry-clean", "yes"), ("keep-list", "yes"), ("carrier", "yes"),
)  # fmt: skip
# Readings between the steps of the first two days, as they were typed on the tablet.
READINGS = (
    ("2026-03-30T18:01", {"value": "tone 9", "place": "w04", "moment": "before"}),
    ("2026-03-30T18:02", {"value": "168 x 244 mm", "place": "w04", "moment": "before"}),
    ("2026-03-30T18:03", {"value": "pH 4.5", "place": "w04", "moment": "before"}),
    ("2026-03-31T18:06", {"value": "168 x 243.5 mm", "place": "w04", "moment": "after"}),
    ("2026-03-31T18:07", {"value": "tone 7", "place": "w04", "moment": "after"}),
)  # fmt: skip
UNTIL = "2026-03-31T23:00"


def begin(bench: Bench) -> None:
    """Count the sheets, ask what comes before water, plan the evenings, wash the pilot."""
    bench.clock.set(BEGUN)
    form = {"wraps": WRAPS, "cover": "yes", "staples": "2"}
    _save(bench, overview.describe_gathering(_state(bench), form))
    _before_water(bench)
    bench.clock.set(PLANNED)
    _keep(bench, plan_keeping.set_shop(bench.studio.bench(), SHOP))
    asked = {
        "items": ITEM, "recipe": "slow-way", f"sheets:{ITEM}": SHEETS, "zone": "UTC",
        "start": "2026-03-30 18:00", "time_limit_s": "10",
    }  # fmt: skip
    states = [bench.studio.state(entry.id) for entry in bench.studio.items()]
    params = plan_keeping.ask(bench.studio.bench(), states, asked)
    run = bench_planning.ask(params)
    _keep(bench, plan_keeping.keep(bench.studio.bench(), run, {}, f"{PLANNED}:00Z"))
    _evenings(bench)


def _before_water(bench: Bench) -> None:
    at = f"{BEGUN}:00Z"
    for key, answer in CHECKS:
        sent = {"key": key, "answer": answer, "places": "item", "at": at}
        _save(bench, checks.answer_check(_state(bench), sent))
    kept = {"what": "prize winners marked in pencil", "place": "w02.inner.left",
            "why": "somebody was there", "at": at}  # fmt: skip
    _save(bench, keeping.note_keep(_state(bench), kept))
    for liquid, celsius in LIQUIDS:
        for place, colour in (("item", "black"), ("w02.inner.left", "pencil")):
            test = {"place": place, "colour": colour, "liquid": liquid, "result": "no change",
                    "minutes": "60", "temperature": celsius, "at": at}  # fmt: skip
            _save(bench, treat.record_spot_test(_state(bench), test))
    chosen = {"place": "w04", "why": "from the middle, plain lists of entries", "at": at}
    _save(bench, pilot.choose_pilot(_state(bench), chosen))
    trial = {"kind": "wash", "way_a": COLD, "way_b": FAST, "seed": "six dice: 3 1 6 2 2 5"}
    _save(bench, trials.plan_trial(_state(bench), trial))
    (held,) = _state(bench).trials.values()
    _save(bench, trials.lock_trial(_state(bench), {"id": held.id, "at": at}))


def _evenings(bench: Bench) -> None:
    """The first two days as they were planned, every step begun and ended by its own entry."""
    plan = plan_keeping.newest(bench.studio.bench())
    assert plan is not None
    acts: list[tuple[str, int, str, dict[str, str]]] = [
        (f"{at}:00Z", 1, "reading", dict(form)) for at, form in READINGS
    ]
    for row in plan_keeping.told_of(plan)["steps"]:
        begun, over = _utc(row["start"]), _utc(row["end"])
        if over >= UNTIL:
            continue
        planned = {
            "kind": row["kind"], "places": " ".join(row["sheets"]), "task": row["id"],
            "recipe": row["recipe"], "recipe_step": row["step"], "planned": str(row["minutes"]),
        }  # fmt: skip
        if row["kind"] == "wash":
            planned["way"] = COLD
        acts += [(begun, 2, "start", planned), (over, 0, "done", {"task": row["id"]})]
    for number, (at, _, command, form) in enumerate(sorted(acts, key=_when), start=1):
        bench.clock.set(at[:16])
        sent = {**form, "once": f"{number:032x}", "command": command, "device": "tablet", "at": at}
        if command == "done":
            sent["id"] = _begun(bench, sent.pop("task"))
        once.send(bench.studio, ITEM, sent, today_keep.COMMANDS[command], ACTOR)
    lifted = next(step for step in _state(bench).steps.values() if step.recipe_step == "lift")
    tear = {"kind": "tear", "what": "a corner came away as it was lifted", "place": "w04",
            "at": lifted.started_at}  # fmt: skip
    _save(bench, emergencies.note_mishap(_state(bench), tear))
    (mishap,) = _state(bench).mishaps.values()
    ended = {"id": mishap.id, "done_about": "floated back on its carrier, to be mended dry",
            "over": "yes", "at": lifted.done_at}  # fmt: skip
    _save(bench, emergencies.tell_more(_state(bench), ended))


def _when(act: tuple[str, int, str, dict[str, str]]) -> tuple[str, int]:
    """What ends at a moment comes before what is read, and that before what begins."""
    return act[:2]


def _utc(text: str) -> str:
    moment = datetime.fromisoformat(text).astimezone(UTC)
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def _begun(bench: Bench, task: str) -> str:
    return next(step.id for step in _state(bench).steps.values() if step.task == task)


def _state(bench: Bench) -> ItemState:
    return bench.studio.state(ITEM)


def _save(bench: Bench, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(ITEM, _state(bench).version, drafts, ACTOR)


def _keep(bench: Bench, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(STUDIO, None, drafts, ACTOR)
