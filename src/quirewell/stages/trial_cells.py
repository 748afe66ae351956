"""What was read on the sheets of a trial, as text: a line a pair, for the verdict's method.

A line is "w02 w03 | first before | first after | second before | second after | why left out".
A cell names its pages: "outer.right=6,7 outer.left=6" (readings of one page parted by commas; an
empty page name is the whole sheet); an empty cell was not read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from quirewell.stages.naming import place_words
from quirewell.stages.typed import Unreadable, number

Basis = Literal["changes", "after", "given"]
Cell = Mapping[str, tuple[Decimal, ...]]
MOST_PAIRS = 99


class VerdictError(ValueError):
    """A line, number or name that the verdict cannot be made of."""


@dataclass(frozen=True, slots=True)
class PairLine:
    """A pair: four cells (first before, after; second before, after), and why it is out."""

    pair: str
    cells: tuple[Cell, Cell, Cell, Cell]
    out: str = ""


def cell_text(cell: Cell) -> str:
    """A cell as the text that :func:`read_lines` takes.

    >>> cell_text({"outer.right": (Decimal("6"), Decimal("7")), "": (Decimal("6"),)})
    'outer.right=6,7 =6'
    """
    return " ".join(
        f"{page}={','.join(str(one) for one in values)}" for page, values in cell.items()
    )


def line_text(line: PairLine) -> str:
    """A pair as one line."""
    return " | ".join((line.pair, *(cell_text(cell) for cell in line.cells), line.out)).rstrip()


def read_lines(text: str) -> tuple[PairLine, ...]:
    """Lines of pairs.

    Raises:
        VerdictError: a line without its six parts, a value that is no number, too many pairs.
    """
    lines = tuple(_line(line) for line in text.splitlines() if line.strip())
    if len(lines) > MOST_PAIRS:
        raise VerdictError(f"a trial has {MOST_PAIRS} pairs at the most, got {len(lines)}")
    return lines


def _line(text: str) -> PairLine:
    parts = [part.strip() for part in text.split("|")]
    parts += [""] * (6 - len(parts))
    if len(parts) != 6 or len(parts[0].split()) != 2:
        raise VerdictError(
            f"a pair is a line as w01 w02 | =9 | =6 | =9 | =7 | why left out, got {text[:60]!r}"
        )
    one, two, three, four = (_cell(part) for part in parts[1:5])
    return PairLine(parts[0], (one, two, three, four), parts[5])


def _cell(text: str) -> Cell:
    cell: dict[str, tuple[Decimal, ...]] = {}
    for entry in text.split():
        page, sign, values = entry.partition("=")
        try:
            if not sign:
                raise Unreadable(f"{entry[:40]!r} does not name its page")
            cell[page] = tuple(number(one) for one in values.split(","))
        except Unreadable as error:
            raise VerdictError(f"what was read is written as outer.right=6,7: {error}") from error
    return cell


def differences(
    lines: Sequence[PairLine], given: bool
) -> tuple[Basis, list[tuple[PairLine, Decimal]], list[tuple[str, str]]]:
    """On what the pairs are compared, the difference of each (first less second), and those that
    lack a reading with what they lack.

    Change is set against change where every pair that was read afterwards was read beforehand
    too; otherwise what was read afterwards: never one with the other.
    """
    whole, gone = [], []
    for line in lines:
        sides = zip(line.pair.split(), line.cells[1::2], strict=True)
        lacks = [place_words(sheet) for sheet, cell in sides if not cell]
        if lacks:
            gone.append((line.pair, f"not read after treatment: {', '.join(lacks)}"))
        else:
            whole.append(line)
    changed = [_less(line, "changes") for line in whole]
    basis: Basis = "given" if given else "after"
    if not given and whole and None not in changed:
        basis = "changes"
    used = [(line, value) for line in whole if (value := _less(line, basis)) is not None]
    return basis, used, gone


def sheet_mean(cell: Cell) -> Decimal | None:
    """The readings of each page averaged, then the pages; None where nothing was read."""
    pages = [mean(values) for values in cell.values()]
    return mean(pages) if pages else None


def mean(values: Sequence[Decimal]) -> Decimal:
    """Mean of one value or more."""
    return sum(values, Decimal(0)) / len(values)


def sides(line: PairLine, basis: Basis) -> tuple[Decimal, Decimal] | None:
    """What is compared of both sheets of a pair; None where it was not read."""
    if basis == "changes":
        one, two = _change(*line.cells[:2]), _change(*line.cells[2:])
    else:
        one, two = sheet_mean(line.cells[1]), sheet_mean(line.cells[3])
    return None if one is None or two is None else (one, two)


def _less(line: PairLine, basis: Basis) -> Decimal | None:
    both = sides(line, basis)
    return None if both is None else both[0] - both[1]


def _change(before: Cell, after: Cell) -> Decimal | None:
    """Change of a sheet over the pages that were read at both moments; None where none was."""
    pages = [page for page in after if page in before]
    return mean([mean(after[page]) - mean(before[page]) for page in pages]) if pages else None
