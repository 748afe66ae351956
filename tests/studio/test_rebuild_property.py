"""Whatever is done in whatever order, the tables made anew equal those kept live."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from quirewell.record.apply import RecordError, fold
from quirewell.record.event import Draft
from quirewell.studio.faults import NotUndoable
from studio_help import ITEM, capture, defect, step, studio_with_item

NAMES = st.sampled_from(["1", "2", "3"])


class StudioMachine(RuleBasedStateMachine):
    """Notes, pictures, steps, retractions and undos on one item."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.studio = studio_with_item(Path(self.folder.name) / "s")

    def teardown(self) -> None:
        assert self.studio.connection_check() == ([], [])
        live = self.studio.state(ITEM)
        self.studio.rebuild()
        assert self.studio.state(ITEM) == live
        self.studio.close()
        self.folder.cleanup()

    def _try(self, *drafts: Draft) -> None:
        before = self.studio.state(ITEM)
        try:
            self.studio.append(ITEM, None, drafts)
        except RecordError:
            assert self.studio.state(ITEM) == before

    @rule(name=NAMES, extent=st.text(max_size=8))
    def note(self, name: str, extent: str) -> None:
        self._try(defect(f"defect-{name}", extent=extent))

    @rule(name=NAMES)
    def picture(self, name: str) -> None:
        self._try(capture(f"c{name}"))

    @rule(name=NAMES, side=st.sampled_from(["outer", "inner", "nowhere"]))
    def assign(self, name: str, side: str) -> None:
        body = {"capture": f"c{name}", "place": f"w01.{side}", "moment": "before"}
        self._try(Draft(ITEM, "capture.assigned", body))

    @rule(name=NAMES, state=st.sampled_from(["planned", "done", "corrected"]))
    def work(self, name: str, state: str) -> None:
        body = step(id=f"step-{name}").body
        self._try(Draft(ITEM, f"step.{state}", body), defect("defect-9"))

    @rule(name=st.sampled_from(["c1", "defect-1", "step-2"]))
    def set_aside(self, name: str) -> None:
        self._try(Draft(ITEM, "record.retracted", {"id": name}))

    @rule(back=st.integers(0, 6))
    def undo(self, back: int) -> None:
        events = self.studio.events(ITEM)
        before = self.studio.state(ITEM)
        try:
            self.studio.undo(ITEM, events[-1 - min(back, len(events) - 1)].seq)
        except NotUndoable:
            assert self.studio.state(ITEM) == before

    @invariant()
    def tables_say_what_the_journal_says(self) -> None:
        assert self.studio.rebuild_differs() == []
        assert self.studio.state(ITEM) == fold(self.studio.events(ITEM))


StudioMachine.TestCase.settings = settings(
    max_examples=14,
    stateful_step_count=20,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
TestStudioMachine = StudioMachine.TestCase


@pytest.mark.usefixtures("on_postgres")
def test_the_same_on_postgresql() -> None:
    run_state_machine_as_test(
        StudioMachine, settings=settings(StudioMachine.TestCase.settings, max_examples=4)
    )
