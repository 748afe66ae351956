"""Pictures put in their places without a page: in scan order, by their print, or both."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import get_args

from quirewell.jobs.runner import Runner
from quirewell.record.nouns import Moment
from quirewell.stages import contact
from quirewell.stages.matching import Matches, known_matches, match_item, quarrels
from quirewell.stages.naming import place_words
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.taking_in import IntakeReport
from quirewell.studio.studio import Studio


@dataclass(frozen=True, slots=True)
class Placed:
    """Pictures put in place (capture id to place in words), and where name and print disagree."""

    places: dict[str, str] = field(default_factory=dict)
    quarrels: tuple[str, ...] = ()


def check_order(by_order: str, moment: str) -> None:
    """Whether an order and a moment are ones there are.

    Raises:
        Refusal: in a sentence.
    """
    if by_order and by_order not in contact.ORDERS:
        known = "; ".join(f"{key} ({words})" for key, words in contact.ORDERS.items())
        raise Refusal((Problem("by_order", f"The order is one of {known}; got {by_order!r}."),))
    if moment and moment not in get_args(Moment):
        raise Refusal((Problem("moment", f"The moment is before or after, got {moment!r}."),))


def put_in_place(
    studio: Studio,
    item: str,
    report: IntakeReport,
    runner: Runner,
    *,
    by_order: str = "",
    moment: str = "",
    match_content: bool = False,
    actor: str = "bench",
) -> Placed:
    """Assign what has just come in and whose name did not say where it belongs.

    With ``match_content`` what is surely known by its print goes there first; with
    ``by_order`` the rest follows in the order of the files.
    """
    only = tuple(one.capture for one in report.to_assign)
    found = match_item(studio, item, runner) if match_content else {}
    places: dict[str, str] = {}
    for sure in (True, False):
        if not (match_content if sure else by_order) or not only:
            continue
        form = {"order": by_order, "moment": moment}
        seen = contact.view(studio.state(item), Matches(found), form, only)
        wanted = contact.form_of(seen, only_sure=sure)
        if not any(key.startswith("place-") for key in wanted):
            continue
        state = studio.state(item)
        studio.append(item, state.version, contact.assign_all(state, wanted), actor)
        places |= {
            row.id: f"{place_words(row.place)}, {row.moment}"
            for row in seen.rows
            if f"place-{row.id}" in wanted
        }
    said: tuple[str, ...] = ()
    if match_content:
        state = studio.state(item)
        said = tuple(
            one.says for one in quarrels(state, found | known_matches(studio, state).found)
        )
    return Placed(places, said)
