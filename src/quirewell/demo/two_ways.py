"""The trial on the Annual: two ways to wash, set against each other over four pairs of wraps.

The lot says which wrap of a pair goes which way; the margins are locked before a sheet is wetted.
It is judged twice over the same pairs: by the comparison of scans, and by eye on the stepped card.
In the drawing the paper gets lighter by its place in the gathering alone, never by the way it was
washed: the planted difference is what neighbours differ by.
"""

from __future__ import annotations

from statistics import fmean

from quirewell.demo.bench import Bench
from quirewell.demo.story import COLD_WAY, WARM_WAY, Act
from quirewell.demo.truth import TrialTruth, Truth
from quirewell.stages import trial_measured, trials

SEED = "three dice: 4 1 6"
SHEETS = "1-4 6-9"  # all but the pilot
QUANTITIES = ("paper.L", "tone_step")
PLANNED, JUDGED = "2026-03-07T10:50", "2026-03-24T20:45"
FACES = ("outer.right", "inner.left", "inner.right", "outer.left")
# Steps of the card on the right leaf's outer side, by eye before and after.
CARD = {
    1: (9, 7), 2: (9, 7), 3: (8, 6), 4: (8, 6), 6: (8, 6), 7: (8, 6), 8: (7, 6), 9: (7, 5),
}  # fmt: skip


def _read(day: str, moment: str, at: int) -> tuple[Act, ...]:
    return tuple(
        Act(f"{day}:{10 + wrap:02d}", "treat.record_reading", {
            "place": f"w{wrap:02d}.outer.right", "quantity": "tone_step",
            "value": str(steps[at]), "moment": moment,
        })
        for wrap, steps in CARD.items()
    )  # fmt: skip


READ_BEFORE = _read("2026-03-05T19", "before", 0)
READ_AFTER = _read("2026-03-24T20", "after", 1)


def plan(bench: Bench) -> None:
    """Draw the lot for the pairs, and lock a margin for each way of judging."""
    bench.clock.set(PLANNED)
    for quantity in QUANTITIES:
        form = {"kind": "wash", "way_a": COLD_WAY, "way_b": WARM_WAY, "sheets": SHEETS,
                "seed": SEED, "quantity": quantity}  # fmt: skip
        bench.save(trials.plan_trial(bench.state, form))
    for held in bench.state.trials.values():
        bench.save(trials.lock_trial(bench.state, {"id": held.id, "at": f"{PLANNED}:00Z"}))


def judge(bench: Bench) -> None:
    """The verdict of each that was measured, once all is read and compared."""
    bench.clock.set(JUDGED)
    for held in reversed(trial_measured.verdict_views(bench.state)):
        if held.ready:
            form = {"id": held.view.trial.id}
            bench.save(trial_measured.keep_verdict(bench.state, form))


def planted(truth: Truth) -> TrialTruth:
    """What was planted between the sheets of each pair, where both were drawn."""
    pairs = trials.drawn(trials.neighbours([f"w{wrap:02d}" for wrap in CARD]), SEED)
    found = {}
    for pair in pairs:
        one, two = (_lighter(truth, sheet) for sheet in pair.split())
        if one is not None and two is not None:
            found[pair] = one - two
    return TrialTruth(found)


def _lighter(truth: Truth, sheet: str) -> float | None:
    """By how much a sheet's unprinted paper got lighter [L*], its four pages averaged."""
    changes = []
    for face in FACES:
        name = f"{sheet}-{face.replace('.', '-')}"
        before, after = (truth.scans.get(f"{name}-{moment}.tif") for moment in ("before", "after"))
        if before is not None and after is not None:
            changes.append(after.tone_median[0] - before.tone_median[0])
    return fmean(changes) if len(changes) == len(FACES) else None
