"""The next job on the bench: a show book of 1937, planned for evenings, its pilot washed first.

Everything goes through the commands a person's forms go through. The plan is worked out here and
now; its first evenings are recorded as they went, and the rest waits to be planned anew.
"""

from __future__ import annotations

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
# (moment, command, form, what it is called): the pilot's evening, and the one after.
EVENINGS: tuple[tuple[str, str, dict[str, str]], ...] = (
    ("2026-03-30T18:02", "reading", {"value": "tone 9", "place": "w04", "moment": "before"}),
    ("2026-03-30T18:03", "reading", {"value": "168 x 244 mm", "place": "w04", "moment": "before"}),
    ("2026-03-30T18:04", "reading", {"value": "pH 4.5", "place": "w04", "moment": "before"}),
    ("2026-03-30T18:10", "start",
     {"kind": "wash", "places": "w04", "way": COLD, "planned": "40", "most": "60"}),
    ("2026-03-30T18:51", "done", {"note": "straw-coloured water, no ink in it"}),
    ("2026-03-30T18:52", "start",
     {"kind": "lime-bath", "places": "w04", "planned": "20", "most": "30"}),
    ("2026-03-30T18:55", "reading", {"value": "pH 12 at 20C", "place": "item",
                                     "method": "strip in the bath"}),
    ("2026-03-30T19:12", "done", {}),
    ("2026-03-30T19:14", "start", {"kind": "dry", "places": "w04", "planned": "960"}),
    ("2026-03-31T18:05", "done", {"note": "flat, and no longer cool to the hand"}),
    ("2026-03-31T18:20", "reading", {"value": "168 x 243.5 mm", "place": "w04",
                                     "moment": "after"}),
    ("2026-03-31T18:22", "reading", {"value": "tone 7", "place": "w04", "moment": "after"}),
)  # fmt: skip


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
    begun = ""
    for number, (at, command, form) in enumerate(EVENINGS, start=1):
        bench.clock.set(at)
        sent = {**form, "once": f"{number:032x}", "command": command, "device": "tablet",
                "at": f"{at}:00Z"}  # fmt: skip
        if command == "done":
            sent["id"] = begun
        kept = once.send(bench.studio, ITEM, sent, today_keep.COMMANDS[command], ACTOR)
        if command == "start":
            begun = next(
                key for key in kept.entry.record.split() if key in _state(bench).steps
            )  # fmt: skip
    tear = {"kind": "tear", "what": "a corner came away as it was lifted", "place": "w04",
            "at": "2026-03-30T19:13:00Z"}  # fmt: skip
    _save(bench, emergencies.note_mishap(_state(bench), tear))
    (mishap,) = _state(bench).mishaps.values()
    over = {"id": mishap.id, "done_about": "floated back on its carrier, to be mended dry",
            "over": "yes", "at": "2026-03-30T19:14:00Z"}  # fmt: skip
    _save(bench, emergencies.tell_more(_state(bench), over))


def _state(bench: Bench) -> ItemState:
    return bench.studio.state(ITEM)


def _save(bench: Bench, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(ITEM, _state(bench).version, drafts, ACTOR)


def _keep(bench: Bench, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(STUDIO, None, drafts, ACTOR)
