"""More stories of the journal machine than the tests tell, in figures."""

from __future__ import annotations

import time
from collections import Counter
from typing import Any, ClassVar

from hypothesis.stateful import run_state_machine_as_test

from fuzz.journal_machine import JournalMachine, story_settings

STORIES, STEPS = 30, 25


class Counting(JournalMachine):
    """Counts what was told."""

    figures: ClassVar[Counter[str]] = Counter()

    def teardown(self) -> None:
        """At the end of a story."""
        Counting.figures.update(stories=1, entries=len(self.kept), abandoned=len(self.abandoned))
        super().teardown()


def run_journal() -> tuple[dict[str, Any], list[tuple[str, str, bytes]]]:
    """Figures and faults."""
    began, faults = time.monotonic(), []
    Counting.figures = Counter()
    try:
        run_state_machine_as_test(Counting, settings=story_settings(STORIES, STEPS))
    except AssertionError as error:
        faults.append(("journal", f"{error}"[:2000], b""))
    found = Counting.figures
    made = {
        "stories": found["stories"], "entries": found["entries"], "lost": 0 if not faults else 1,
        "ended_without_closing": found["abandoned"], "seconds": round(time.monotonic() - began, 1),
    }  # fmt: skip
    print(f"journal: {made['stories']} stories, {made['entries']} entries acknowledged, programs "
          f"ended without closing: {made['ended_without_closing']}, lost: {made['lost']}, "
          f"{made['seconds']:.0f} s")  # fmt: skip
    return made, faults
