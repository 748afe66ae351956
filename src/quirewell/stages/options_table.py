"""What can be done with an item: rows anyone can change, with what each asks, risks and leaves.

A table of text (CSV). ``option`` names it; ``kind`` is leave, press, partial, full or own (off
leaves a row out); ``steps`` are kinds of the step table, or words of your own. Numbers are one,
two or three parted by "/": least, likeliest, most. ``works_pct``: how often a repair turns out as
if the damage were gone; ``mishap_pct`` and ``mishap_loses_pct``: a chance, and the share of the
price it takes; ``factor_pct``: what told treatment leaves of a price; ``life``: a ratio of lives,
or "outlook" for the item's own; ``sent``: to a service, yes or no; ``chances``: of each grade
afterwards, "3:0.2 4:0.5 5:0.3". All shipped numbers: common practice, no source.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from quirewell.science.planning.weigh import Guess, Kind
from quirewell.stages.cautions import plain
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.repairs import REPAIRS, Repair
from quirewell.stages.step_table import STEP_KINDS, StepKind
from quirewell.stages.typed import Unreadable, number

COLUMNS = (
    "option", "kind", "steps", "hours", "materials", "works_pct", "mishap_pct",
    "mishap_loses_pct", "factor_pct", "life", "sent", "chances", "risks_object", "risks_worker",
    "must_tell", "note",
)  # fmt: skip
KINDS: tuple[Kind, ...] = ("leave", "press", "partial", "full", "own")
MOST_ROWS = 20
PRACTICE, OWN = "common practice, no source", "your own"

# Hours are for a pamphlet of a dozen wraps.
SHIPPED = """\
option,kind,steps,hours,materials,works_pct,mishap_pct,mishap_loses_pct,factor_pct,life
Leave alone,leave,,0,0,,0,0,100,1
Press only,press,press,0.3/0.5/1.5,1,30/50/80,1/2/5,5/10/30,90/100/100,
Partial treatment,partial,surface-clean mend guard refold press,1.5/3/6,4,40/60/85,2/4/10,5/15/40,80/95/100,
Full treatment,full,staples-out rust-reduced surface-clean wash lime-bath size mend guard dry refold press staples-in,10/17/28,20,40/65/90,5/10/25,10/30/70,70/90/100,outlook
"""  # noqa: E501
# Where a row of your own leaves a cell empty: by the wettest of its steps.
USUAL: Mapping[str, Mapping[str, str]] = {
    "dry": {"mishap_pct": "1/2/5", "mishap_loses_pct": "5/10/30", "factor_pct": "90/100/100"},
    "vapour": {"mishap_pct": "1/3/8", "mishap_loses_pct": "5/10/30", "factor_pct": "90/100/100"},
    "local": {"mishap_pct": "2/4/10", "mishap_loses_pct": "5/15/40", "factor_pct": "80/95/100"},
    "whole": {"mishap_pct": "5/10/25", "mishap_loses_pct": "10/30/70", "factor_pct": "70/90/100"},
}
USUAL_WORKS = "40/60/85"
_WETTER = ("dry", "vapour", "local", "whole")
_MOST = {"hours": 1000.0, "works_pct": 100.0, "mishap_pct": 100.0, "mishap_loses_pct": 100.0,
         "factor_pct": 300.0}  # fmt: skip


@dataclass(frozen=True, slots=True)
class OptionRow:
    """One option as it is weighed; shares are of 1. ``assumed`` names cells that nobody typed."""

    name: str
    kind: Kind
    steps: tuple[str, ...]
    hours: Guess
    materials: float
    works: Guess
    mishap: Guess
    loses: Guess
    factor: Guess
    life: str
    sent: bool | None
    chances: Mapping[float, float] | None
    risks_object: str
    risks_worker: str
    must_tell: str
    note: str
    standing: str
    assumed: tuple[str, ...] = ()

    @property
    def kinds(self) -> tuple[StepKind, ...]:
        """Its steps of the step table."""
        return tuple(STEP_KINDS[step] for step in self.steps if step in STEP_KINDS)

    @property
    def own_words(self) -> tuple[str, ...]:
        """Steps that the step table does not know."""
        return tuple(step for step in self.steps if step not in STEP_KINDS)

    @property
    def repairs(self) -> tuple[Repair, ...]:
        """Those of its steps that may mend damage."""
        return tuple(one for one in REPAIRS if one.step in self.steps)

    @property
    def wets(self) -> str:
        """How water reaches the paper at most: dry, vapour, local or whole."""
        return max((kind.wets for kind in self.kinds), key=_WETTER.index, default="dry")

    @property
    def gone(self) -> tuple[str, ...]:
        """What cannot be taken back: evidence that is gone for good."""
        return tuple(one.evidence for one in self.kinds if one.permanence == "permanent")


def options(own: str = "", sends: bool = False) -> tuple[OptionRow, ...]:
    """The options in force: own rows laid over the shipped ones, by their name.

    ``sends``: whether a service's fee is known; then sending it as it is stands among them.

    Raises:
        TableError: in a sentence with the number of the line.
    """
    rows = {_key(row["option"]): (row, False) for _, row in _cells(SHIPPED)}
    if sends:
        rows["send as it is"] = ({"option": "Send as it is", "kind": "own", "sent": "yes"}, False)
    lines: dict[str, int] = {}
    for line, row in _cells(own) if own.strip() else ():
        key = _key(row["option"])
        if not key:
            raise TableError(f"line {line} names no option; give it a name of your own")
        if key in lines:
            raise TableError(f"line {line}: {row['option']!r} is there twice")
        lines[key] = line
        under = rows.get(key, ({}, True))[0]
        rows[key] = ({**under, **{name: cell for name, cell in row.items() if cell}}, True)
    kept = {key: pair for key, pair in rows.items() if pair[0].get("kind", "") != "off"}
    if len(kept) > MOST_ROWS:
        raise TableError(f"at most {MOST_ROWS} options are weighed at once, got {len(kept)}")
    out = [_row(row, mine, lines.get(key, 0)) for key, (row, mine) in kept.items()]
    if not any(one.kind == "leave" for one in out):
        out.insert(0, _row(next(_cells(SHIPPED))[1], False, 0))
    return tuple(out)


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _cells(text: str) -> Iterator[tuple[int, dict[str, str]]]:
    return read_rows(text, COLUMNS, ("option",), "a table of options")


def _row(cells: Mapping[str, str], own: bool, line: int) -> OptionRow:
    where = f"line {line}" if line else cells["option"]
    kind = cells.get("kind", "") or "own"
    if kind not in KINDS:
        raise TableError(f"{where}: kind is one of {', '.join((*KINDS, 'off'))}, got {kind[:40]!r}")
    steps = tuple(dict.fromkeys(re.split(r"[\s,;]+", cells.get("steps", "").lower().strip())))
    steps = tuple(step for step in steps if step)
    known = [STEP_KINDS[step].wets for step in steps if step in STEP_KINDS]
    usual = USUAL[max(known, key=_WETTER.index, default="dry")]
    assumed: list[str] = []

    def guess(name: str, otherwise: str, per: float = 1.0) -> Guess:
        text = cells.get(name, "").strip()
        if not text:
            text = otherwise
            if steps and own:
                assumed.append(name)
        low, likely, high = _three(text, where, name)
        return Guess(low / per, likely / per, high / per)

    nothing = kind == "leave" or not steps
    sent = cells.get("sent", "").strip().lower()
    if sent not in ("", "yes", "no"):
        raise TableError(f"{where}: sent is yes or no, got {sent[:40]!r}")
    return OptionRow(
        " ".join(cells["option"].split())[:80], kind, steps,
        guess("hours", "0"), _amount(cells.get("materials", ""), where),
        guess("works_pct", USUAL_WORKS, 100),
        guess("mishap_pct", "0" if nothing else usual["mishap_pct"], 100),
        guess("mishap_loses_pct", usual["mishap_loses_pct"], 100),
        guess("factor_pct", "100" if nothing else usual["factor_pct"], 100),
        _life(cells.get("life", ""), where), None if not sent else sent == "yes",
        _chances(cells.get("chances", ""), where), cells.get("risks_object", ""),
        cells.get("risks_worker", ""), cells.get("must_tell", ""), cells.get("note", ""),
        OWN if own else PRACTICE, tuple(assumed),
    )  # fmt: skip


def _three(text: str, where: str, name: str) -> tuple[float, float, float]:
    """Least, likeliest and most out of a cell of one, two or three numbers."""
    parts = [part for part in re.split(r"\s*(?:/|\bto\b|;)\s*", text.strip()) if part]
    try:
        given = [float(number(part.rstrip(" %h"))) for part in parts]
    except Unreadable as error:
        raise TableError(f"{where}: {name}: {error}") from error
    most = _MOST[name]
    if not 1 <= len(given) <= 3 or given != sorted(given) or not 0 <= given[0] <= given[-1] <= most:
        raise TableError(
            f"{where}: {name} is one to three numbers from 0 to {most:g} that go up, such as "
            f"2/4/10 (least, likeliest, most), got {text[:40]!r}"
        )
    if len(given) == 2:
        given.insert(1, sum(given) / 2)
    return given[0], given[len(given) // 2], given[-1]


def _amount(text: str, where: str) -> float:
    if not text.strip():
        return 0.0
    try:
        value = float(number(text))
    except Unreadable as error:
        raise TableError(f"{where}: materials: {error}") from error
    if not 0 <= value <= 1e9:
        raise TableError(f"{where}: materials cost 0 or more, got {text[:40]!r}")
    return value


def _life(text: str, where: str) -> str:
    text = text.strip().lower()
    if text in ("", "outlook"):
        return text
    try:
        value = number(text)
    except Unreadable as error:
        raise TableError(f"{where}: life is a ratio such as 2.1, or outlook: {error}") from error
    if not 0 < value <= 100:
        raise TableError(f"{where}: a ratio of lives lies above 0 and up to 100, got {text[:40]!r}")
    return str(value)


def _chances(text: str, where: str) -> Mapping[float, float] | None:
    if not text.strip():
        return None
    out: dict[float, float] = {}
    for part in re.split(r"[\s,;]+", text.strip()):
        grade, _, chance = part.partition(":")
        try:
            at, share = float(number(grade)), float(number(chance.rstrip("%")))
        except Unreadable as error:
            raise TableError(
                f"{where}: chances are pairs of grade and chance, such as 3:0.2 4:0.5 5:0.3 "
                f"({error})"
            ) from error
        if not 0 < at <= 10:
            raise TableError(f"{where}: a grade lies above 0 and up to 10, got {grade[:20]!r}")
        if at in out:
            raise TableError(f"{where}: the grade {at:g} has two chances")
        out[at] = share / 100 if chance.endswith("%") else share
    whole = sum(out.values())
    if abs(whole - 1) > 0.001 or min(out.values()) < 0:
        raise TableError(f"{where}: the chances add up to {whole:g} and must add up to 1")
    return {at: share / whole for at, share in out.items()}


def risks_object(row: OptionRow) -> tuple[str, ...]:
    """What it may do to the object: typed first, then of its repairs, then of its other steps."""
    helped = {one.step for one in row.repairs}
    said = [row.risks_object, *(one.risk for one in row.repairs)]
    ids = [one for kind in row.kinds if kind.key not in helped for one in kind.cautions]
    said += [one["says"] for one in plain(dict.fromkeys(ids)) if one["to"] == "object"]
    return tuple(dict.fromkeys(one for one in said if one))


def risks_worker(row: OptionRow) -> tuple[str, ...]:
    """What it may do to whoever does it."""
    ids = dict.fromkeys(one for kind in row.kinds for one in kind.cautions)
    said = [row.risks_worker, *(one["says"] for one in plain(ids) if one["to"] == "person")]
    return tuple(one for one in said if one)


def write_options(rows: Sequence[OptionRow]) -> str:
    """Options as the table that is read."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in rows:
        pairs = () if one.chances is None else one.chances.items()
        writer.writerow([
            one.name, one.kind, " ".join(one.steps), _cell(one.hours), f"{one.materials:g}",
            _cell(one.works, 100), _cell(one.mishap, 100), _cell(one.loses, 100),
            _cell(one.factor, 100), one.life, {None: "", True: "yes", False: "no"}[one.sent],
            " ".join(f"{at:g}:{share:g}" for at, share in pairs), one.risks_object,
            one.risks_worker, one.must_tell, one.note,
        ])  # fmt: skip
    return out.getvalue()


def with_row(own: str, cells: Mapping[str, str]) -> str:
    """Own rows with one more, or in place of the one of that name.

    Raises:
        TableError: the rows there are cannot be read.
    """
    kept = [row for _, row in _cells(own)] if own.strip() else []
    kept = [row for row in kept if _key(row["option"]) != _key(cells["option"])]
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows([*kept, cells])
    return out.getvalue()


def _cell(guess: Guess, per: float = 1.0) -> str:
    if guess.sure:
        return f"{guess.likely * per:g}"
    return "/".join(f"{end * per:g}" for end in (guess.low, guess.likely, guess.high))
