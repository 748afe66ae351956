"""A small studio with a steady clock, for tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, Defect, Gathering, Item, Step
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"


class SteadyClock:
    """Each look is a second later than the last."""

    def __init__(self) -> None:
        self.moment = datetime(2031, 4, 2, 18, 30, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.moment += timedelta(seconds=1)
        return self.moment


def new_studio(folder: Path) -> Studio:
    """A studio in a folder, empty."""
    return Studio.create(folder, "Larkmoor paper bench", clock=SteadyClock(), zone="Europe/London")


def studio_with_item(folder: Path) -> Studio:
    """A studio with one item of nine wraps."""
    studio = new_studio(folder)
    studio.append(
        ITEM,
        0,
        [
            Draft(ITEM, "item.opened", to_body(Item("Copperbeck Garden Annual", "1936"))),
            Draft(ITEM, "gathering.described", to_body(Gathering(9))),
        ],
    )
    return studio


def defect(id: str = "defect-1", term: str = "tideline", extent: str = "12 mm") -> Draft:
    """A defect noted on wrap 3."""
    noun = Defect(id, "w03.outer.left", term, extent)
    return Draft(ITEM, "defect.noted", to_body(noun))


def step(state: str = "planned", id: str = "step-1") -> Draft:
    """A step on wrap 1."""
    noun = Step(id, "surface-clean", ("w01",), state)  # type: ignore[arg-type]
    return Draft(ITEM, f"step.{state}", to_body(noun))


def capture(id: str = "c1", sha256: str = "a" * 64, place: str = "") -> Draft:
    """A picture taken in."""
    noun = Capture(id, sha256, f"{id}.png", "image/png", 100, 150, 1234, place=place)
    return Draft(ITEM, "capture.added", to_body(noun))
