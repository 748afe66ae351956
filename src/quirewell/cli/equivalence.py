"""``quirewell equivalence``: whether paired readings show "unchanged", against a margin."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.creep import read_text
from quirewell.cli.options import JSON, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.stages.equivalence_table import read_pairs, work_out
from quirewell.stages.typed import number

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("pairs", type=_FILE)
@click.option("--margin", required=True, metavar="SIZE",
              help="Largest change that does not matter, fixed before measuring.")  # fmt: skip
@click.option("--resolution", default="", metavar="STEP",
              help="Step the instrument is read to; else the last digit typed.")  # fmt: skip
@click.option("--item", default="", metavar="NAME", help="Which item, where the table has several.")
@click.option("--log", "log", is_flag=True, help="Judge ratios; the margin is one, such as 1.25.")
@click.option("--unit", default="", metavar="UNIT", help="Unit of the readings, for the words.")
@JSON
def equivalence(
    pairs: Path, margin: str, resolution: str, item: str, log: bool, unit: str, wants_json: bool
) -> None:
    """Whether paired readings show "unchanged", "changed", or cannot tell.

    PAIRS is a table (CSV) with the columns before and after, and leaf and item where there are
    such. Several rows of one leaf are averaged: a reading is not a leaf. Leaves of two items are
    never pooled. Other columns are passed over.

    \b
    Examples:
      quirewell equivalence examples/evidence/pairs.csv --margin 0.25 --unit mm
      quirewell equivalence pairs.csv --margin 0.5 --resolution 0.5 --json
      quirewell equivalence pairs.csv --log --margin 1.25
    """
    text = read_text(pairs, wants_json)
    if not text.strip():
        fail(f"{pairs.name} is empty; it is a table with the columns before and after.", wants_json)
    if len(unit) > 20 or not unit.isprintable():
        fail("--unit is a short word, such as mm.", wants_json)
    limit = _typed(margin, "--margin", wants_json)
    step = _typed(resolution, "--resolution", wants_json) if resolution else None
    try:
        out = work_out(read_pairs(text, item), limit, step, log, unit)
    except ValueError as error:
        fail(sentence(error), wants_json)
    if wants_json:
        print_json(out)
        return
    click.echo("\n".join(_card(out)))


def _typed(text: str, name: str, wants_json: bool) -> Any:
    if len(text) > 40:
        fail(f"{name} has more than 40 characters; write a number such as 0.25.", wants_json)
    try:
        return number(text)
    except ValueError as error:
        fail(f"{name}: {sentence(error)}", wants_json)


def _card(out: dict[str, Any]) -> list[str]:
    """The answer as a card to read."""
    head = f"BEFORE AND AFTER{', ' + out['item'] if out['item'] else ''}: {out['verdict'].upper()}"
    lines = [head, *paragraphs("What is said", [out["says"]])[1:]]
    lines += ["", f"  {'p (two one-sided tests)':<42}{out['p']:.4g}"]
    lines += [f"  {'leaves, readings':<42}{out['pairs']}, {out['readings']}"]
    what = "of logarithms" if out["log"] else "of changes"
    rows = [(f"standard deviation {what}, by leaf", out["sd"])]
    if out["scatter"]:
        rows += [("  of it from leaf to leaf", out["scatter"]["leaf"]),
                 ("  and of single readings", out["scatter"]["reading"])]  # fmt: skip
    lines += [f"  {name:<42}{size:.3g}" for name, size in rows]
    lines += paragraphs("What could be seen, what it would take", out["would_take"])
    return lines + paragraphs("What to know", out["warnings"])
