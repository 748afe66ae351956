"""A proposal for treatment: what was found, what can be done, what is advised and what it risks.

Options come from the newest weighing of the item; what harms the object for gain is never offered.
Every number is that of the run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.dealing import Choice
from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.report.paper_parts import Part, defects, part, sign, table, words
from quirewell.stages.asking import band_text
from quirewell.stages.cautions import CAUTIONS, LOCAL_CODES
from quirewell.stages.repairs import NOTHING, repairs_for
from quirewell.stages.results import Shown
from quirewell.stages.rule_table import rules_in_force
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.weighed_json import as_json

METHOD, SUBJECT = "options.weigh", "plan"
SIDE_BY_SIDE, MOST_COLUMNS, MOST_CAUTIONS = 4, 5, 8
ALWAYS = ("ink-first", "disclose")
NO_PRICE = (
    "No price of it is known, so no option is advised for the sake of money. What each asks, may "
    "harm and leaves stands below."
)
Told = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Proposal:
    """The parts of a proposal: what is proposed, and the owner's consent; ``weighed`` whether there
    is a table of options."""

    parts: list[Part]
    consent: list[Part]
    weighed: bool


def proposal_parts(state: ItemState, bench: BenchState, names: bool = True) -> Proposal:
    """What a proposal says of an item. ``names`` False leaves out who consented."""
    run = state.newest_run(METHOD, SUBJECT)
    choice = state.choices.get("choice")
    offered: list[Told] = []
    out = defects(state)
    steps: Sequence[str] = ()
    if run is not None:
        told, ref = as_json(run), (f"run:{run.id}",)
        offered = [one for one in told["options"] if not one["flag"]]
        wanted = choice.option if choice else told["best"]
        mine = next((one for one in offered if one["name"] == wanted), None)
        steps = mine["steps"] if mine else ()
        out += _advised(told, choice, mine, ref)
        out += _side_by_side(offered, ref) + _each(offered, ref)
    elif choice is not None:
        out += words("What is advised", f"{choice.option}.", choice.reason)
    else:
        out.append(part("write", "What can be done", words=["", "", "", ""]))
    out += _not_mended(state) + _cautions(steps)
    return Proposal(out, _consent(offered, choice, names), run is not None)


def _side_by_side(offered: Sequence[Told], ref: tuple[str, ...]) -> list[Part]:
    """Options as columns, a few to a table so that each can be read."""
    out: list[Part] = []
    for start in range(0, len(offered), SIDE_BY_SIDE):
        few = offered[start : start + SIDE_BY_SIDE]
        rows = [
            [label, *(Shown(says(one), ref, "options") if says(one) else "-" for one in few)]
            for label, says in _ROWS
            if any(says(one) for one in few)
        ]
        head = ("", *(one["name"] for one in few))
        out += table(
            "What can be done" if not start else "", head, (1.3, *(2 for _ in few)), rows
        )  # fmt: skip
    return out


def _gain(one: Told) -> str:
    held = one["net_gain"]
    if one["kind"] == "leave" or held["value"] is None:
        return ""
    return _band(held, _unit(held))


def _unit(held: Told) -> str:
    return "" if held["unit"] == "1" else f" {held['unit']}"


def _band(held: Told, unit: str) -> str:
    if held["low90"] is None or held["high90"] is None:
        return f"{held['value']:.2g}{unit}"
    value, low, high = band_text(held["value"], held["low90"], held["high90"])
    return f"{value}{unit} ({low} to {high})"


def _loss(one: Told) -> str:
    chance = one["chance_of_loss"]
    return "" if chance is None or one["kind"] == "leave" else f"{100 * chance:.0f} %"


def _life(one: Told) -> str:
    held = one["life_ratio"]
    if held is None:
        return "" if one["kind"] != "leave" else "as it is"
    if one["kind"] == "leave":
        return "as it is"
    return f"{_band(held, '')} times as long"


def _hours(one: Told) -> str:
    held = one["hours"]
    if not held["value"]:
        return ""
    low, high = held["low90"], held["high90"]
    if low is None or high is None or low == high:
        return f"{held['value']:g}"
    return f"{held['value']:.1f} ({low:g} to {high:g})"


_ROWS = (
    ("Worth gained, on average", _gain),
    ("Chance to lose money by it", _loss),
    ("It would last", _life),
    ("Hours, least to most", _hours),
)


def _each(offered: Sequence[Told], ref: tuple[str, ...]) -> list[Part]:
    """Harm, loss of evidence and telling: each sentence once, with the options it belongs to."""
    some = [one for one in offered if one["kind"] != "leave"]
    out: list[Part] = []
    for title, key in _TOLD:
        for start in range(0, len(some), MOST_COLUMNS):
            few = some[start : start + MOST_COLUMNS]
            rows = [
                [
                    Shown(_capital(each), ref, key),
                    *("yes" if each in one[key] else "" for one in few),
                ]
                for each in dict.fromkeys(says for one in few for says in one[key])
            ]
            head = ("", *(one["name"] for one in few))
            out += table(title if not start else "", head, (6, *(1.3 for _ in few)), rows)
    minded = [f"{one['name']}: {one['mind']}" for one in some if one["mind"]]
    if minded:
        out.append(part("list", "To mind", words=[Shown(one, ref, "mind") for one in minded]))
    says = (
        "Worth is what the option brings over leaving it alone, after its costs; in brackets the "
        "range in which nine of ten such things fall. A grade is a service's to give: none is "
        "promised."
    )
    return out + words("", says, kind="soft")


_TOLD = (
    ("What it may do to the object", "risks_object"),
    ("Gone for good", "cannot_be_undone"),
    ("What must be told afterwards", "must_tell"),
)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _advised(
    told: Told, choice: Choice | None, mine: Told | None, ref: tuple[str, ...]
) -> list[Part]:
    """What is advised, and why."""
    if choice is not None:
        why = choice.reason or (Shown(told["says"], ref, "says") if mine else "")
        takes = _takes(mine, ref) if mine else ""
        return words("What is advised", f"{choice.option}.", why, takes)
    if told["value_now"]["value"] is None and told["aim"] == "gain":
        return words("What is advised", NO_PRICE)
    if mine is None:
        return words("What is advised", Shown(told["says"], ref, "says"))
    return words(
        "What is advised", Shown(told["says"], ref, "says"), _takes(mine, ref), _changes(told, ref)
    )


def _takes(mine: Told, ref: tuple[str, ...]) -> Any:
    """What the option takes, with the band of its hours."""
    hours, cost = _hours(mine), mine["cost"]
    if not hours:
        return ""
    says = f"{mine['name']} takes about {hours} hours"
    if cost["value"] and _unit(cost):
        says += f" and costs about {cost['value']:.0f}{_unit(cost)} on average"
    return Shown(f"{says}.", ref, "hours")


def _changes(told: Told, ref: tuple[str, ...]) -> Any:
    says = [one["says"] for one in told["sensitivity"][:2]]
    return Shown(f"It would be otherwise: {' '.join(says)}", ref, "turns") if says else ""


def _not_mended(state: ItemState) -> list[Part]:
    """What no treatment brings back, of the damage noted."""
    noted = {one.term.strip().lower() for one in state.defects.values() if one.moment == "before"}
    codes = frozenset(
        code
        for code, rows in rules_in_force("").codes.items()
        if noted & {rule.term.lower() for rule in rows}
    )
    says = [NOTHING[code] for code in NOTHING if code in codes]
    says += [one.leaves for one, _ in repairs_for(codes)]
    if not says:
        says = ["Paper that has aged does not get young again; a treatment can only slow it."]
    return [part("list", "What cannot be mended", words=list(dict.fromkeys(says)))]


def _cautions(steps: Sequence[str]) -> list[Part]:
    """What may go wrong in the steps of the option advised; the object's own cautions."""
    ids = dict.fromkeys(ALWAYS)
    for step in steps:
        kind = STEP_KINDS.get(step)
        ids.update(dict.fromkeys(kind.cautions if kind else ()))
    rows = [CAUTIONS[id] for id in ids if id in CAUTIONS]
    says = [one.says for one in rows if one.to == "object"][:MOST_CAUTIONS]
    return [part("caution", "Cautions", words=says), *words("", LOCAL_CODES, kind="soft")]


def _consent(offered: Sequence[Told], choice: Choice | None, names: bool) -> list[Part]:
    """Boxes to tick, lines to write on, places to sign; a consent noted before, where there is
    one."""
    given = ""
    if choice is not None and choice.consent_on:
        who = f" by {choice.consent_by}" if choice.consent_by and names else ""
        given = f"Consent to {choice.option} was given{who} on {day(choice.consent_on)}."
    boxes = [f"{one['name']}, as described" for one in offered if one["kind"] != "leave"]
    boxes += ["Nothing is to be done", "Other, as written here:"]
    asks = (
        "I have read what may be harmed, what cannot be taken back and what must be told, and ask "
        "for:"
    )
    inner = [
        *words("The owner's consent", given or asks), part("choose", "", words=boxes),
        part("write", "", words=["", ""]), *sign("Owner", "Studio"),
    ]  # fmt: skip
    return [part("together", "", parts=inner)]
