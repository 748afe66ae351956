"""The one thing to do next with an item, by what its record holds and what it lacks.

It is a suggestion in the order of the job, never a gate: every page stays open at any time. Bench
practice without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.stages.examine import measurable, unmeasured
from quirewell.stages.parcel_lists import parcels_of
from quirewell.stages.results import COMPARE
from quirewell.stages.survey import pairs
from quirewell.stages.weigh_entry import weighing_of


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next: why in a sentence, the words of the button, and the page it leads to,
    as it follows the item's own address ("/intake"); ``of_studio`` where it follows the root."""

    says: str
    act: str
    where: str
    of_studio: bool = False

    @property
    def stage(self) -> str:
        """The stage of the job it belongs to; "" for the item's own page."""
        if self.of_studio:
            return "treat"
        return self.where.strip("/").partition("/")[0].partition("#")[0]


def next_step(state: ItemState, bench: BenchState | None = None) -> NextStep | None:
    """What to do next with an item; None where it has left the house or lies in a parcel (the
    ``bench`` knows), or nothing is left to suggest."""
    if bench is not None and any(one[0].state != "back" for one in parcels_of(bench, state.id)):
        return None
    custody = state.custodies.get("custody")
    if state.sold or (custody is not None and custody.returned_on):
        return None
    return _see(state) or _treat(state) or _prove(state) or _send(state)


def _see(state: ItemState) -> NextStep | None:
    """Pictures, places, measurements and damage, before anything is decided."""
    if not state.captures and state.steps:
        return None
    if not state.captures:
        return NextStep(
            "Photograph it as it came, before anything is opened or moved: one picture with the "
            "phone is enough to begin.", "Take in pictures", "/intake",
        )  # fmt: skip
    loose = sum(not one.place for one in state.captures.values())
    if not state.gathering:
        return NextStep(
            "Count its nested sheets (wraps) at the head or the tail; places and page numbers "
            "follow from that.", "Say how it is made", "#make",
        )  # fmt: skip
    if loose:
        return NextStep(
            f"{_counted(loose, 'picture')} not in place yet.", "Put them in place",
            "/intake/sheet",
        )  # fmt: skip
    left = len(unmeasured(state))
    if left:
        return NextStep(
            f"{_counted(left, 'scan')} not measured yet.", "Examine", "/examine",
        )  # fmt: skip
    if not state.defects and not state.steps:
        return NextStep(
            "Look over every sheet and note what is wrong with it; say so where nothing is.",
            "Examine", "/examine",
        )  # fmt: skip
    return None


def _treat(state: ItemState) -> NextStep | None:
    """Whether anything is done at all, then step by step until it is together again."""
    if not state.steps:
        if not state.choices:
            return NextStep(
                "Before anything is wetted: whether anything should be done at all, and what it "
                "would gain and risk.", "Decide", "/decide",
            )  # fmt: skip
        if not _left_alone(state):
            return NextStep(
                "What is to be done is decided. Choose a course and let the evenings be planned, "
                "or plan the steps by hand.", "Plan the treatment", "/treat",
            )  # fmt: skip
        return None
    under = sum(step.state == "started" for step in state.steps.values())
    planned = sum(step.state == "planned" for step in state.steps.values())
    if under or planned:
        says = f"{_counted(under, 'step')} under way." if under else ""
        more = f"{_counted(planned, 'step')} planned." if planned else ""
        return NextStep(
            " ".join(part for part in (says, more) if part), "To the bench, one step at a time",
            f"/today?item={state.id}", True,
        )  # fmt: skip
    sheets = state.gathering.sheets() if state.gathering else ()
    apart = any(step.kind == "staples-out" for step in state.steps.values())
    if apart and len(state.joined) < len(sheets):
        return NextStep(
            f"{len(state.joined)} of {len(sheets)} sheets are laid together again.",
            "Rejoin", "/rejoin",
        )  # fmt: skip
    return None


def _prove(state: ItemState) -> NextStep | None:
    """Scanned again, compared, told in a report."""
    scans = [one for one in state.captures.values() if measurable(one)]
    before = any(one.moment == "before" for one in scans)
    if state.steps and before and not any(one.moment == "after" for one in scans):
        return NextStep(
            "When it is dry through: scan it again, the same sides in the same way, so that what "
            "changed can be measured.", "Take in the scans after treatment", "/intake",
        )  # fmt: skip
    compared = {run.subject for run in state.runs.values() if run.method == COMPARE}
    left = len(set(pairs(state)) - compared)
    if left:
        return NextStep(f"{_counted(left, 'page')} not compared yet.", "Prove", "/prove")
    if not state.reports and (state.steps or state.choices):
        return NextStep("The record is there; its report is not written.", "Write the report",
                        "/prove#report")  # fmt: skip
    return None


def _send(state: ItemState) -> NextStep | None:
    if not state.reports or state.returned:
        return None
    return NextStep("The report is written. What must be told, how it is packed, and who reads it.",
                    "Send", "/send")  # fmt: skip


def _left_alone(state: ItemState) -> bool:
    """Whether the option taken is to leave it as it is."""
    found, taken = weighing_of(state), state.choices.get("choice")
    if found is None or taken is None:
        return False
    return any(
        one["name"] == taken.option and one["kind"] == "leave" for one in found[1]["options"]
    )


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun} is" if count == 1 else f"{count} {noun}s are"
