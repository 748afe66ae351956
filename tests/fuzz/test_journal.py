"""A few stories of the journal machine; ``make fuzz`` tells more."""

from __future__ import annotations

import pytest

from fuzz.journal_machine import ITEMS, JournalMachine, story_settings
from quirewell.studio import studio

JournalMachine.TestCase.settings = story_settings(6, 16)
TestJournalMachine = JournalMachine.TestCase


def test_the_model_catches_a_form_saved_over_a_newer_record(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    story = JournalMachine()
    try:
        story.open_item(0, ITEMS[0])
        story.note(0, ITEMS[0], "1", "3 mm")
        story.a_form_comes_back_late(ITEMS[0], "1")
        monkeypatch.setattr(studio, "refuse_stale", lambda *given: None)
        with pytest.raises(AssertionError, match="stale form was saved"):
            story.a_form_comes_back_late(ITEMS[0], "1")
    finally:
        story.teardown()


def test_the_model_catches_an_entry_that_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    story = JournalMachine()
    try:
        story.open_item(0, ITEMS[0])
        story.note(0, ITEMS[0], "1", "3 mm")
        story.every_acknowledged_entry_is_there_in_order_and_nothing_else()
        whole = studio.Studio.events
        monkeypatch.setattr(studio.Studio, "events", lambda self, *given: whole(self, *given)[:-1])
        with pytest.raises(AssertionError):
            story.every_acknowledged_entry_is_there_in_order_and_nothing_else()
        monkeypatch.undo()
    finally:
        story.teardown()
