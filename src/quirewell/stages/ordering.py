"""The order of a gathering, checked from what is printed on its sheets, as a registered method.

Parameters are text: ``wraps``, ``first_page`` (1), ``unseen`` (0; wraps of which nothing was read
and that may be there), and ``pages``, a table with a line to each wrap
as it was found: ``wrap`` (w01 and so on), ``position`` (1 = outermost), ``outer_left``,
``outer_right``, ``inner_left``, ``inner_right`` (a number, "-" where none is printed, "?" where it
cannot be read). A line that begins with # is a remark.

A single leaf has a line of its own, ``wrap`` s01 and so on (or "w05 leaf", found in the place of a
wrap): front and back as ``outer_left`` and ``outer_right``, the inner ones empty; ``position`` is
the number of the page it lay behind, or empty. A line whose two outer pages are the two sides of
one leaf, with nothing on the inner ones, is one too: no wrap can carry them so.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.science.booklet.order import Found, Order, check_order
from quirewell.science.booklet.order_told import NO_FAULT
from quirewell.science.booklet.single_leaf import Leaf, LeafPlace, Printed
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import sheet_words
from quirewell.stages.typed_params import refuse_unknown, whole

METHOD = "order.check"
COLUMNS = ("wrap", "position", "outer_left", "outer_right", "inner_left", "inner_right")
RULE = (
    "Nested wraps carry pages by one rule, two on a side adding up to the same (common practice of "
    "saddle stitching, no source); a publication numbered otherwise cannot be checked so."
)
LEFT_OUT = "A sheet on which nothing could be read is not checked; the cover carries no numbers."
_MOST_CHARACTERS = 100_000
_LEAF = re.compile(r"s0?[1-9]|w\d{1,2} leaf")


@method(METHOD, 2, "exact")
def order_check(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Which wraps are missing, doubled, turned, out of order or of another copy."""
    refuse_unknown(
        params, ("wraps", "first_page", "unseen", "pages"), f"{METHOD} knows no parameter"
    )
    first = whole(params, "first_page", 1)
    lines = read_pages(params.get("pages", ""), first)
    found = [one for one in lines if isinstance(one, Found)]
    leaves = [one for one in lines if isinstance(one, Leaf)]
    wraps = whole(params, "wraps", len(found))
    order = check_order(found, wraps, first, whole(params, "unseen", 0), leaves)
    told = "\n".join(f"{one.kind}: {one.says}" for one in order.told)
    return Outcome(
        (
            Finding("", "order.read", "item", order.read, 0.0, "",
                    note="wraps whose place their page numbers say"),
            Finding("", "order.faults", "item", _faults(order), 0.0, "",
                    note="wraps missing, doubled, turned, out of order or foreign"),
            *((Finding("", "order.told", "item", text=told),) if told else ()),
            Finding("", "order.says", "item", text=_sentence(order, wraps),
                    standing="common practice"),
        ),
        (RULE, LEFT_OUT, *_no_wraps(leaves, order)),
        {
            "places": " ".join(f"{one.name}:{one.wrap or '?'}" for one in order.places),
            "pairs": " ".join(f"{wrap}:{','.join(map(str, made))}" for wrap, made in order.pairs),
            **({"leaves": "\n".join(map(_leaf_line, order.leaves))} if order.leaves else {}),
        },
    )  # fmt: skip


def _no_wraps(leaves: Sequence[Leaf], order: Order) -> list[str]:
    """Leaves found in the place of a wrap that are not one's half."""
    halves = " ".join(one.says for one in order.told if one.kind == "half")
    return [
        f"{one.name} is a single leaf and no half of a wrap: where it was tipped or laid in, count "
        "one wrap fewer and say it among the single leaves."
        for one in leaves
        if not one.insert and one.name not in halves
    ]


def _leaf_line(leaf: LeafPlace) -> str:
    counted = {True: "counted", False: "not counted", None: "unsure"}[leaf.counted]
    front = "" if leaf.recto is None else str(leaf.recto)
    after = "" if leaf.after is None else str(leaf.after)
    return f"{counted}|{front}|{after}|{leaf.name}"


def _faults(order: Order) -> int:
    return sum(one.kind not in NO_FAULT for one in order.told)


def _sentence(order: Order, wraps: int) -> str:
    faults = _faults(order)
    if not order.read:
        return "No page number could be read; the order is not checked."
    checked = f"{order.read} of {wraps} wraps say by their page numbers where they belong"
    counted = sum(one.counted is True for one in order.leaves)
    if counted:
        leaves = f"{counted} single {'leaf' if counted == 1 else 'leaves'}"
        checked += f" (with {leaves} counted in the numbers)"
    if not faults:
        return f"{checked}, and nothing speaks against the order."
    return f"{checked}; {faults} thing{'s' * (faults != 1)} to look at before it is put together."


def read_pages(text: str, first_page: int = 1) -> list[Found | Leaf]:
    """Sheets and single leaves as they were found, from a table.

    Raises:
        ValueError: in a sentence with the number of the line.

    >>> read_pages("wrap,position,outer_left,outer_right,inner_left,inner_right\\nw01,1,4,1,2,3")
    [Found(name='Wrap 1', position=1, pages=(4, 1, 2, 3))]
    """
    if len(text) > _MOST_CHARACTERS:
        raise ValueError(f"a table of pages has at most {_MOST_CHARACTERS} characters; is it that?")
    lines = text.removeprefix("\ufeff").splitlines()
    told = (line for line in lines if line.strip() and not line.lstrip().startswith("#"))
    head = next(told, "")
    rows = csv.reader(io.StringIO("\n".join(lines)), delimiter=";" if ";" in head else ",")
    columns: list[str] = []
    out: list[Found | Leaf] = []
    for cells in rows:
        if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
            continue
        trimmed = [cell.strip() for cell in cells]
        if not columns:
            columns = [cell.lower() for cell in trimmed]
            missing = [name for name in COLUMNS if name not in columns]
            if missing:
                raise ValueError(
                    f"a table of pages has the columns {', '.join(COLUMNS)}; {missing[0]} is not "
                    "there"
                )
            continue
        if len(trimmed) != len(columns):
            raise ValueError(
                f"line {rows.line_num} has {len(trimmed)} cells, the header {len(columns)}"
            )
        out.append(_found(dict(zip(columns, trimmed, strict=True)), rows.line_num, first_page))
    if not out:
        raise ValueError("the table of pages is empty; say what is printed on at least one wrap")
    return out


def _found(row: Mapping[str, str], line: int, first_page: int) -> Found | Leaf:
    name, position = " ".join(row["wrap"].lower().split()), row["position"]
    pages = tuple(_page(row[column], line) for column in COLUMNS[2:])
    if _LEAF.fullmatch(name) or _one_leaf(pages, first_page):
        return _leaf(name, row["wrap"], position, pages, line)
    if not position.isascii() or not position.isdigit() or not 1 <= int(position[:4]) <= 99:
        raise ValueError(
            f"line {line}: a wrap's place from the outside is 1 to 99, got {position[:40]!r}"
        )
    known = name[:1] == "w" and name[1:].isascii() and name[1:].isdigit() and len(name) <= 3
    return Found(sheet_words(name) if known else row["wrap"][:60], int(position), pages)


def _one_leaf(pages: Sequence[Printed], first_page: int) -> bool:
    """Whether the outer pages are both sides of one leaf and the inner ones bear nothing."""
    one, two, *inner = pages
    if not isinstance(one, int) or not isinstance(two, int) or inner != [None, None]:
        return False
    return abs(one - two) == 1 and (min(one, two) - first_page) % 2 == 0


def _leaf(name: str, given: str, position: str, pages: Sequence[Printed], line: int) -> Leaf:
    if pages[2] is not None or pages[3] is not None:
        raise ValueError(
            f"line {line}: a single leaf has two pages, as outer_left (front) and outer_right "
            "(back); leave the inner ones empty"
        )
    own = name[:1] == "s"
    if position and not (position.isascii() and position.isdigit() and len(position) <= 4):
        raise ValueError(
            f"line {line}: a single leaf's position is the number of the page it lay behind, or "
            f"empty; got {position[:40]!r}"
        )
    after = int(position) if position and own else None
    known = bool(_LEAF.fullmatch(name)) or re.fullmatch(r"w\d{1,2}", name)
    words = sheet_words(name.split()[0]) if known else given[:60]
    return Leaf(words, (pages[0], pages[1]), after, own)


def _page(text: str, line: int) -> Printed:
    if text in ("", "-"):
        return None
    if text == "?":
        return "?"
    if not (text.isascii() and text.isdigit() and len(text) <= 4):
        raise ValueError(
            f'line {line}: a page is a number, "-" for none or "?" for unreadable; got '
            f"{text[:40]!r}"
        )
    return int(text)


def leaves_of(run: Run) -> list[dict[str, Any]]:
    """Single leaves of a check: name, its pages (none where nothing printed says), whether they
    are counted (null: cannot be told), and the page each belongs behind."""
    out = []
    for line in run.drawing.get("leaves", "").split("\n"):
        if not line:
            continue
        counted, front, after, name = line.split("|", 3)
        out.append(
            {
                "name": name,
                "pages": [int(front), int(front) + 1] if front else [],
                "counted": {"counted": True, "not counted": False}.get(counted),
                "after": int(after) if after else None,
            }
        )
    return out


def as_json(run: Run) -> dict[str, Any]:
    """A check as the command line's JSON."""
    by_name = {one.quantity: one for one in run.findings}
    told = by_name.get("order.told")
    lines = told.text.split("\n") if told else []
    return {
        "says": by_name["order.says"].text,
        "read": int(by_name["order.read"].value or 0),
        "faults": int(by_name["order.faults"].value or 0),
        "told": [
            {"kind": kind, "says": says} for kind, says in (line.split(": ", 1) for line in lines)
        ],
        "pairs": {
            wrap: [int(page) for page in pages.split(",")]
            for wrap, pages in (word.split(":") for word in run.drawing["pairs"].split())
        },
        "single_leaves": leaves_of(run),
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }
