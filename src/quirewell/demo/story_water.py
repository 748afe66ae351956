"""What was asked before the Annual met water: checks, what is kept, two pilots, the rinse."""

from __future__ import annotations

from quirewell.demo.story import COLD_WAY, WARM_WRAPS, Act, StepAct

PENCIL = "w06.inner.left"


def _act(at: str, command: str, **form: str) -> Act:
    return Act(at, command, {**form, "at": f"{at}:00Z"})


def _check(at: str, key: str, answer: str, places: str = "item", note: str = "") -> Act:
    return _act(at, "checks.answer_check", key=key, answer=answer, places=places, note=note)


def _soaked(at: str, place: str, colour: str, liquid: str, celsius: str) -> Act:
    form = {"place": place, "colour": colour, "liquid": liquid, "result": "no change",
            "minutes": "30", "temperature": celsius}  # fmt: skip
    return _act(at, "treat.record_spot_test", **form)


# The pencil on page 12 stays; the wraps of the warm tray are tested with the warm tray's water.
KEPT = (
    _act("2026-03-07T11:10", "keeping.note_keep", what="sowing dates in pencil", place=PENCIL,
         why="a reader of the time wrote them on page 12"),
    _soaked("2026-03-07T11:15", PENCIL, "pencil", "lime water 1:1", "19C"),
    _soaked("2026-03-07T11:16", PENCIL, "pencil", "water with wetting agent", "32C"),
    *(
        _soaked(f"2026-03-07T11:{20 + wrap:02d}", f"w{wrap:02d}", "black",
                "water with wetting agent", "32C")
        for wrap in map(int, WARM_WRAPS.split())
    ),
)  # fmt: skip

CHECKED = (
    _check("2026-03-09T20:31", "mould-apart", "none", note="looked at in raking light"),
    _check("2026-03-09T20:31", "repairs-mapped", "none"),
    _check("2026-03-09T20:32", "keep-list", "yes"),
    _check("2026-03-09T20:32", "carrier", "yes", note="spun polyester, one to a leaf"),
)

PILOT_WASHED = (
    _act("2026-03-09T20:33", "pilot.choose_pilot", place="w05",
         why="from the middle, nothing but black type on it"),
    StepAct(
        "2026-03-09T20:35", "2026-03-09T21:05", "wash", "5", "30",
        "The pilot, by itself in the cold tray.", temperature="19C",
        lots="water with a little calcium; tap, Larkmoor; 2 L", way=COLD_WAY,
    ),
    StepAct(
        "2026-03-09T21:10", "2026-03-10T08:00", "dry", "5", "650",
        "Between blotters under a light board.", lots="blotters; B-22; 4 sheets",
    ),
)  # fmt: skip

PILOT_JUDGED = (
    _act("2026-03-11T18:05", "pilot.judge_pilot", accepted="yes",
         measured="height by rule as before within half a millimetre; a shade lighter",
         note="Flat, no new tideline, the type as black as before."),
    _act("2026-03-11T18:06", "pilot.choose_pilot",
         scrap="a blank margin out of the spoilt Annual of 1947",
         why="nothing of the Annual of 1936 need meet alkali first"),
    _act("2026-03-11T18:07", "pilot.tell_scrap", through="lime-bath",
         washed_at="2026-03-09T21:30Z", dried_at="2026-03-10T08:00Z"),
    _act("2026-03-11T18:10", "pilot.judge_pilot", accepted="yes",
         measured="held against its untreated half: no darker to the eye",
         note="A little stiffer, no spots of chalk."),
)  # fmt: skip

RINSED = (
    _check(
        "2026-03-12T20:52", "surfactant-rinsed", "yes", WARM_WRAPS, "twice, until nothing foamed"
    ),
)
