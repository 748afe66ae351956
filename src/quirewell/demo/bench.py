"""The demo's bench: sends the story's forms to the stages' commands, at the story's moments.

Nothing is written past the commands a person's forms go through; only the clock is the
story's, so that the journal shows the weeks of the treatment and not the seconds of the build.
"""

from __future__ import annotations

import importlib
import tempfile
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from quirewell.demo.dummy import PRESS, write_dummy_log
from quirewell.demo.story import ACTOR, BATH, BENCH, ITEM, OPENED, TITLE, ZONE, Act, StepAct
from quirewell.jobs.runner import Runner
from quirewell.record.event import Draft, Event
from quirewell.record.finding import Input
from quirewell.record.nouns import ItemState
from quirewell.stages import overview, rejoining, treat
from quirewell.stages.finding_holes import start_finding
from quirewell.stages.ledger_entry import keep_ledger
from quirewell.stages.press_bench import calibrate_press
from quirewell.stages.working import work_out
from quirewell.studio.studio import Studio


class StoryClock:
    """A clock that is set, and moves on a second each time it is read."""

    def __init__(self, at: str) -> None:
        self._now = datetime.fromisoformat(at).replace(tzinfo=UTC)

    def set(self, at: str) -> None:
        """Move to a moment of the story, never backwards."""
        self._now = max(self._now, datetime.fromisoformat(at).replace(tzinfo=UTC))

    def __call__(self) -> datetime:
        self._now += timedelta(seconds=1)
        return self._now


class Bench:
    """A new studio with the Annual opened in it, and hands to follow the story."""

    def __init__(self, folder: Path) -> None:
        self.clock = StoryClock(OPENED)
        self.studio = Studio.create(folder, BENCH, clock=self.clock, zone=ZONE)
        self.item = self.studio.new_id(TITLE)
        self.studio.append(self.item, 0, overview.open_item(self.item, dict(ITEM)), ACTOR)
        self._bath = ""

    @property
    def state(self) -> ItemState:
        """What is true of the Annual now."""
        return self.studio.state(self.item)

    def save(self, drafts: Sequence[Draft]) -> tuple[Event, ...]:
        """Append drafts made on the state as it is now."""
        return self.studio.append(self.item, self.state.version, drafts, ACTOR)

    def follow(self, acts: Iterable[Act | StepAct]) -> None:
        """Do what the story says, in order."""
        for act in acts:
            if isinstance(act, StepAct):
                self._step(act)
            else:
                self._act(act)

    def keep_ledger(self, at: str, form: dict[str, str]) -> None:
        """Work out the ledger of the bath that was mixed."""
        self.clock.set(at)
        self.save(keep_ledger(self.state, {**form, "bath": self._bath}))

    def read_store(self, at: str, log: Path) -> None:
        """Read the log of the store that the Annual goes into."""
        self.clock.set(at)
        sha256 = self.studio.blobs.put(log)
        inputs = (Input("log", log.name, sha256),)
        self.save(work_out(self.state, "store", {}, {"log": log}, inputs))

    def calibrate_press(self, at: str, seed: int) -> None:
        """Hold the bench's press against a dummy, with its log and weights."""
        self.clock.set(at)
        with tempfile.TemporaryDirectory(dir=self.studio.folder, prefix="dummy-") as held:
            log = Path(held) / "dummy-log.csv"
            form = write_dummy_log(log, seed)
            calibrate_press(self.studio, form, (log.name, log), PRESS, ACTOR)

    def plan_pressing(self, at: str, form: dict[str, str]) -> None:
        """Look inside the calibrated press."""
        self.clock.set(at)
        known = self.studio.bench().known_presses()
        whole = form | ({"known": known[-1].use} if known else {})
        self.save(work_out(self.state, "press", whole, {}, ()))

    def plan_fold(self, at: str, form: dict[str, str]) -> None:
        """Work out the fold from what was read, and from the half widths the scans measured."""
        self.clock.set(at)
        laid = rejoining.laid_widths(self.state)
        self.save(work_out(self.state, "fold", {**form, **laid}, {}, ()))

    def find_holes(self, at: str, runner: Runner) -> tuple[str, ...]:
        """Look for staple holes in the scans; what could not be searched."""
        self.clock.set(at)
        return start_finding(self.studio, self.item, runner, actor=ACTOR).wait().errors

    def lay_sheets(self, at: str, minutes_each: int) -> None:
        """Lay every sheet in its place, one after another as the guide leads."""
        when = datetime.fromisoformat(at)
        while place := rejoining.guide(self.state).next_place:
            self.clock.set(when.isoformat(timespec="minutes"))
            told = f"{when.isoformat(timespec='minutes')}:00Z"
            self.save(rejoining.lay(self.state, {"place": place, "at": told}))
            when += timedelta(minutes=minutes_each)

    def _act(self, act: Act) -> None:
        self.clock.set(act.at)
        events = self.save(_command(act.command)(self.state, act.form))
        if act is BATH:
            self._bath = str(events[-1].body["id"])

    def _step(self, act: StepAct) -> None:
        self.clock.set(act.start)
        form = {
            "kind": act.kind,
            "places": act.places,
            "who": ACTOR,
            "temperature": act.temperature,
            "bath": self._bath if act.bath else "",
            "way": act.way,
            "at": f"{act.start}:00Z",
        }
        begun = self.save(treat.start_step(self.state, form))
        self.clock.set(act.done)
        form = {
            "id": str(begun[-1].body["id"]),
            "minutes": act.minutes,
            "note": act.note,
            "lots": act.lots,
            "at": f"{act.done}:00Z",
        }
        self.save(treat.finish_step(self.state, form))


def _command(name: str) -> Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]:
    module, function = name.split(".")
    found = getattr(importlib.import_module(f"quirewell.stages.{module}"), function)
    return found  # type: ignore[no-any-return]
