"""What the bench leaves in the report: what went wrong, and two ways compared as locked."""

from __future__ import annotations

import json
from pathlib import Path

from quirewell.report.model import typed
from quirewell.report.recheck import recheck
from quirewell.report.treatment import write_report
from quirewell.report.trial_told import trials_told
from quirewell.report.went_wrong import went_wrong
from quirewell.stages.emergencies import note_mishap, tell_more
from quirewell.stages.overview import open_item
from quirewell.stages.trials import lock_trial, plan_trial
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"
AT, LATER = "2026-11-28T20:04:00Z", "2026-11-28T20:30:00Z"
WASH = {
    "kind": "wash", "way_a": "cold, one wrap at a time", "way_b": "warm, two wraps at a time",
    "seed": "dice 4 2 6",
}  # fmt: skip


def test_a_mishap_and_a_locked_trial_stand_in_the_report_and_are_recomputed(
    tmp_path: Path,
) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "4"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        for command, sent in (
            (plan_trial, WASH), (lock_trial, {"id": "trial-2", "at": AT}),
            (note_mishap, {"kind": "tear", "place": "w02", "at": AT}),
        ):  # fmt: skip
            state = studio.state(ITEM)
            known = {**sent, "id": next(iter(state.trials), "")} if "id" in sent else sent
            studio.append(ITEM, state.version, command(state, known))
        state = studio.state(ITEM)
        more = {"id": next(iter(state.mishaps)), "done_about": "floated together", "over": "yes",
                "at": LATER}  # fmt: skip
        studio.append(ITEM, state.version, tell_more(state, more))
        state = studio.state(ITEM)
        assert went_wrong(state) == [
            ["28 November 2026, 20:04 UTC", "Wrap 2",
             typed("A wet sheet tears", next(iter(state.mishaps))),
             "floated together; over at 20:30 UTC on 28 November 2026"],
        ]  # fmt: skip
        (told,) = trials_told(state)
        facts = dict(told["facts"])
        assert facts["Locked"].text == "28 November 2026, 20:04 UTC, before measuring"
        (trial,) = state.trials
        assert facts["Seed of the lot"] == typed("dice 4 2 6", trial)
        # Nothing was read on these sheets yet, nor done: the trial itself is the source.
        assert len(told["rows"]) == 2
        assert {one.refs for row in told["rows"] for one in row if one} == {(trial,)}
        written = write_report(studio, ITEM, tmp_path / "report.pdf")
        numbers = json.loads(written.json.read_text())["numbers"]
        assert any(one.get("quantity") == "record:margin" for one in numbers)
        assert written.pdf.read_bytes().startswith(b"%PDF")
        assert recheck(written.json, studio).agrees
