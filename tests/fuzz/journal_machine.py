"""Stories of a studio, told at random, against a model of what must be true of it.

Two programs have the same studio open. Items are opened; readings, steps, defects and pictures are
added, corrected, set aside and undone; forms come back late; tables are made anew; a program ends
without closing; the studio goes through a backup and through an archive. The model is a plain
dictionary that knows nothing of the studio's code: every acknowledged entry in order, and the
extent of each defect.
"""

from __future__ import annotations

import random
import shutil
import tempfile
from decimal import Decimal
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.record.apply import RecordError, fold
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Capture, Defect, Gathering, Item, Reading, Step
from quirewell.studio.backup import backup, restore
from quirewell.studio.check import check
from quirewell.studio.faults import NotUndoable, Stale
from quirewell.studio.studio import Studio
from studio_help import new_studio

ITEMS = ("annual-1", "annual-2")
WHICH = st.sampled_from([0, 1])
ITEM = st.sampled_from(ITEMS)
NAME = st.sampled_from(["1", "2", "3"])
EXTENT = st.one_of(st.text(max_size=6), st.sampled_from(["3 mm", "12 mm", "\u202e5", "\ufeff"]))


def _told(event: Event) -> tuple[int, str, int, str, str]:
    return event.seq, event.stream, event.version, event.kind, event.hash


class JournalMachine(RuleBasedStateMachine):
    """One studio folder, two programs on it."""

    def __init__(self) -> None:
        super().__init__()
        self.home = tempfile.TemporaryDirectory(prefix="quirewell-story-")
        self.folder = Path(self.home.name) / "studio"
        self.programs = [new_studio(self.folder), Studio.open(self.folder)]
        self.abandoned: list[Studio] = []
        # What a new studio says of itself, then everything that was acknowledged.
        self.kept = [_told(event) for event in self.programs[0].events()]
        # By item: what each defect's extent was after each acknowledged entry; None: not there.
        self.extents: dict[str, dict[str, list[tuple[int, str | None]]]] = {}

    def teardown(self) -> None:
        for program in [*self.programs, *self.abandoned]:
            program.close()
        found = check(self.folder)
        assert found.ok, found
        self.home.cleanup()

    # --- the model ------------------------------------------------------------------------

    def _acknowledge(self, events: tuple[Event, ...]) -> None:
        for event in events:
            self.kept.append(_told(event))
            defects = self.extents.setdefault(event.stream, {})
            if event.kind == "defect.noted":
                story = defects.setdefault(event.body["id"], [])
                story.append((event.seq, event.body["extent"]))
            elif event.kind == "record.retracted" and event.body["id"] in defects:
                defects[event.body["id"]].append((event.seq, None))
            elif event.kind == "event.undone":
                undone = int(event.body["seq"])
                for name, story in defects.items():
                    defects[name] = [one for one in story if one[0] != undone]

    def _expected(self, item: str) -> dict[str, str]:
        defects = self.extents.get(item, {})
        now = {name: story[-1][1] for name, story in defects.items() if story}
        return {name: extent for name, extent in now.items() if extent is not None}

    def _save(self, which: int, item: str, *drafts: Draft, **how: Any) -> tuple[Event, ...]:
        """Save; a refusal leaves everything as it was."""
        try:
            events = self.programs[which].append(item, how.pop("version", None), drafts, **how)
        except (RecordError, KeyError):
            return ()
        self._acknowledge(events)
        return events

    def _open(self, item: str) -> bool:
        return any(stream == item for _, stream, *_ in self.kept)

    # --- what happens ---------------------------------------------------------------------

    @initialize(which=WHICH)
    def first_item(self, which: int) -> None:
        self.open_item(which, ITEMS[0])

    @rule(which=WHICH, item=ITEM)
    def open_item(self, which: int, item: str) -> None:
        drafts = [Draft(item, "item.opened", to_body(Item("Copperbeck Garden Annual", "1936"))),
                  Draft(item, "gathering.described", to_body(Gathering(9)))]  # fmt: skip
        was = self._open(item)
        try:
            events = self.programs[which].append(item, 0, drafts)
        except (Stale, RecordError):
            assert was
            return
        assert not was
        self._acknowledge(events)

    @rule(which=WHICH, item=ITEM, name=NAME, extent=EXTENT)
    def note(self, which: int, item: str, name: str, extent: str) -> None:
        noun = Defect(f"defect-{name}", "w03.outer.left", "tideline", extent)
        self._save(which, item, Draft(item, "defect.noted", to_body(noun)))

    @rule(which=WHICH, item=ITEM, name=NAME, state=st.sampled_from(["planned", "done"]))
    def work(self, which: int, item: str, name: str, state: str) -> None:
        noun = Step(f"step-{name}", "surface-clean", ("w01",), state)  # type: ignore[arg-type]
        defect = Defect("defect-2", "w01", "dirt", state)
        self._save(which, item, Draft(item, f"step.{state}", to_body(noun)),
                   Draft(item, "defect.noted", to_body(defect)))  # fmt: skip

    @rule(which=WHICH, item=ITEM, name=NAME, value=st.integers(-5, 15),
          kind=st.sampled_from(["taken", "corrected"]))  # fmt: skip
    def read(self, which: int, item: str, name: str, value: int, kind: str) -> None:
        noun = Reading(f"reading-{name}", "w01", "pH", Decimal(value), "pH")
        self._save(which, item, Draft(item, f"reading.{kind}", to_body(noun)))

    @rule(which=WHICH, item=ITEM, name=NAME)
    def picture(self, which: int, item: str, name: str) -> None:
        program = self.programs[which]
        if not self._open(item):
            return
        data = f"picture {name}".encode()
        path = Path(self.home.name) / "picture"
        path.write_bytes(data)
        with program.blobs.staged(path) as copy:
            program.blobs.keep(copy)
            noun = Capture(f"c{name}", copy.sha256, f"{name}.png", "image/png", 90, 90, len(data))
        self._save(which, item, Draft(item, "capture.added", to_body(noun)))

    @rule(which=WHICH, item=ITEM, name=NAME)
    def set_aside(self, which: int, item: str, name: str) -> None:
        body = {"id": f"defect-{name}"}
        self._save(which, item, Draft(item, "record.retracted", body))

    @rule(which=WHICH, item=ITEM, back=st.integers(0, 4))
    def undo(self, which: int, item: str, back: int) -> None:
        events = self.programs[which].events(item)
        if not events:
            return
        try:
            done = self.programs[which].undo(item, events[-1 - min(back, len(events) - 1)].seq)
        except (NotUndoable, RecordError):
            return
        self._acknowledge(done if isinstance(done, tuple) else (done,))

    @rule(item=ITEM, name=NAME)
    def a_form_comes_back_late(self, item: str, name: str) -> None:
        """The first program opens a form; the second saves; what the first sends is refused."""
        if f"defect-{name}" not in self._expected(item):
            return
        key = f"defect-{name}"
        seen = self.programs[0].state(item).touched[key]
        noun = Defect(key, "w03.outer.left", "tideline", "changed meanwhile")
        assert self._save(1, item, Draft(item, "defect.noted", to_body(noun)))
        late = Defect(key, "w03.outer.left", "tideline", "late")
        try:
            self.programs[0].append(
                item, None, [Draft(item, "defect.noted", to_body(late))], touched={key: seen}
            )
        except Stale:
            return
        raise AssertionError("a stale form was saved over a newer record")

    @rule(which=WHICH)
    def make_the_tables_anew(self, which: int) -> None:
        before = {item: self.programs[which].state(item) for item in ITEMS if self._open(item)}
        self.programs[which].rebuild()
        after = {item: self.programs[which].state(item) for item in ITEMS if self._open(item)}
        assert after == before

    @rule(which=WHICH)
    def close_and_open(self, which: int) -> None:
        self.programs[which].close()
        self.programs[which] = Studio.open(self.folder)

    @precondition(lambda self: len(self.abandoned) < 3)
    @rule(which=WHICH)
    def end_without_closing(self, which: int) -> None:
        self.abandoned.append(self.programs[which])
        self.programs[which] = Studio.open(self.folder)

    @rule()
    def through_a_backup(self) -> None:
        place = Path(self.home.name) / f"backup-{random.getrandbits(40):x}.zip"
        again = place.with_suffix(".studio")
        backup(self.folder, place)
        assert restore(place, again).ok
        self._alike(again)
        place.unlink()

    @rule()
    def through_an_archive(self) -> None:
        place = Path(self.home.name) / f"archive-{random.getrandbits(40):x}"
        again = place.with_suffix(".studio")
        make(self.folder, place, Wish(tiles=False))
        read_archive(place, again)
        self._alike(again)
        shutil.rmtree(place)

    def _alike(self, folder: Path) -> None:
        with Studio.open(folder) as other:
            assert other.head() == self.programs[0].head()
            for item in filter(self._open, ITEMS):
                assert other.state(item) == self.programs[0].state(item)
        shutil.rmtree(folder)

    # --- what holds -------------------------------------------------------------------------

    @invariant()
    def every_acknowledged_entry_is_there_in_order_and_nothing_else(self) -> None:
        for program in self.programs:
            assert [_told(event) for event in program.events()] == self.kept
        assert [entry[0] for entry in self.kept] == list(range(1, len(self.kept) + 1))
        for item in ITEMS:
            versions = [entry[2] for entry in self.kept if entry[1] == item]
            assert versions == list(range(1, len(versions) + 1))

    @invariant()
    def the_chain_is_whole_and_the_tables_are_the_journals(self) -> None:
        for program in self.programs:
            assert program.connection_check() == ([], [])
        assert self.programs[0].rebuild_differs() == []

    @invariant()
    def the_state_is_the_models(self) -> None:
        for item in filter(self._open, ITEMS):
            states = [program.state(item) for program in self.programs]
            assert states[0] == states[1] == fold(self.programs[0].events(item))
            found = {name: one.extent for name, one in states[0].defects.items()}
            assert found == self._expected(item)


def story_settings(stories: int, steps: int, derandomized: bool = True) -> settings:
    """How many stories of how many steps."""
    return settings(
        max_examples=stories, stateful_step_count=steps, deadline=None, database=None,
        derandomize=derandomized, suppress_health_check=list(HealthCheck),
    )  # fmt: skip
