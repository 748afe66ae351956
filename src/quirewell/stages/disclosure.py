"""What must be told after which step, to a buyer and to a grading service: a table anyone can
change, in our own words, dated.

Columns: ``step`` (a kind of the step table, or a word of your own), ``buyer``, ``service``. Own
rows stand in for shipped ones of the same step. Common practice, no source: what a service asks for
is its own to say and changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.step_table import STEP_KINDS

COLUMNS = ("step", "buyer", "service")
WRITTEN = date(2026, 11, 1)  # the shipped rows
CHECK = "Check the service's current rules before sending."
OLD_DAYS = 365
MOST_ROWS, MOST_WORDS = 100, 400

SHIPPED = """\
step,buyer,service
staples-out,The staples were lifted.,The staples were lifted; say so even where the same ones went back.
staples-in,"It was joined again, with the old staples or with new ones: say which.","It was joined again, with the old staples or with new ones: say which."
rust-reduced,Rust was taken off.,Rust was taken off.
surface-clean,Loose dirt was taken off dry.,"Dry cleaning: tell it, some receivers count it and some do not."
old-repair-out,"An earlier repair was taken off, and what it left behind.","An earlier repair was taken off, and what it left behind."
humidify,It was relaxed by moist air.,It was relaxed by moist air.
wash,Paper was washed in water: which sheets.,Paper was washed in water: which sheets.
lime-bath,Paper was deacidified: which sheets and with what.,Paper was deacidified: which sheets and with what.
size,Paper was sized again: which sheets and with what.,Paper was sized again: which sheets and with what.
mend,"Tears were mended: how many, where, with what.","Tears were mended: how many, where, with what."
tear-seal,"Tears were sealed: how many, where, with what.","Tears were sealed: how many, where, with what."
fill,"Losses were filled: where, how large, with what; no colour was added.","Losses were filled: where, how large, with what; no colour was added."
guard,"A split fold was joined: how long, with what.","A split fold was joined: how long, with what."
refold,The fold was set again.,The fold was set again.
press,It was pressed.,"Pressing: tell it, some receivers count it and some do not."
"""  # noqa: E501


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of one step; ``own`` where the row is the practice's."""

    step: str
    buyer: str
    service: str
    own: bool = False


def policy(own: str = "") -> Mapping[str, Told]:
    """The table in force: the practice's own rows laid over the shipped ones.

    Raises:
        TableError: in a sentence with the number of the line.
    """
    out = {row.step: row for row in _read(SHIPPED, False)}
    if own.strip():
        out |= {row.step: row for row in _read(own, True)}
    return out


def _read(text: str, own: bool) -> list[Told]:
    out: list[Told] = []
    for line, row in read_rows(text, COLUMNS, ("step",), "a table of what must be told"):
        step = row["step"].strip().lower()
        if not step:
            raise TableError(f"line {line} names no step; write one such as mend")
        if len(out) >= MOST_ROWS:
            raise TableError(f"the table has at most {MOST_ROWS} rows; line {line} is one more")
        buyer, service = row.get("buyer", ""), row.get("service", "")
        if max(len(buyer), len(service)) > MOST_WORDS:
            raise TableError(f"line {line}: a cell has at most {MOST_WORDS} characters")
        out.append(Told(step, buyer, service or buyer, own))
    return out


def must_tell(steps: Sequence[str], table: Mapping[str, Told], to: str) -> tuple[str, ...]:
    """What is told of these steps to the "buyer" or the "service", each once. A step that has no
    row is told by its name."""
    out: list[str] = []
    for step in steps:
        row = table.get(step)
        if row is not None:
            says = row.buyer if to == "buyer" else row.service
        elif step in ("dry", "house"):
            says = ""
        else:
            name = STEP_KINDS[step].name if step in STEP_KINDS else step
            says = f"{name}."
        if says:
            out.append(says)
    return tuple(dict.fromkeys(out))


def age_words(checked_on: str, today: date) -> str:
    """How old the table is, in a sentence that ends in what to do."""
    if not checked_on:
        return (
            f"The table is as shipped, written {WRITTEN.isoformat()} and held against no service. "
            f"{CHECK}"
        )
    days = (today - date.fromisoformat(checked_on)).days
    if days < 0:
        return f"The table is dated {checked_on}, which is still to come. {CHECK}"
    ago = "today" if days == 0 else f"{days} day{'s' * (days != 1)} ago"
    old = " That is more than a year." if days > OLD_DAYS else ""
    return f"The table was last checked {ago}, on {checked_on}.{old} {CHECK}"
