"""``quirewell creep``: flat widths held against one another, and the fore-edge to come."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, ask, text_options
from quirewell.cli.output import PLUS_MINUS_SAYS, fail, paragraphs, print_json
from quirewell.stages import creeping
from quirewell.stages.asking import say
from quirewell.stages.naming import sheet_words
from quirewell.stages.plain_table import MOST_CHARACTERS

_OPTIONS = (
    ("--leaf-mm", "MM", "A leaf's thickness: ten together, divided by ten (0.085, unsure)."),
    ("--leaf-u-mm", "MM", "Its standard uncertainty (0.005 where a thickness is given)."),
    ("--cover-mm", "MM", "The cover's thickness (0.12)."),
    ("--leaves", "N", "Leaves in all, cover left out, for --steps (two to a wrap)."),
)
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_ROWS = (
    ("kappa_t_mm", "creep from wrap to wrap"),
    ("kappa", "nesting factor"),
    ("width_mm", "outermost wrap, on the line"),
    ("scatter_mm", "a wrap scatters about it by"),
    ("roll_deg", "roll, by the fore-edge"),
    ("vee_mm", "creep left, from leaf to leaf"),
    ("step_mm", "fold off its place"),
    ("change_mm", "change of creep since before"),
)


@click.command()
@click.argument("widths", type=_FILE)
@click.option("--before", type=_FILE, help="A table of widths from before, to compare.")
@click.option("--steps", type=_FILE, help="A fore-edge's table: leaf, depth_mm.")
@text_options(_OPTIONS)
@JSON
def creep(
    widths: Path, before: Path | None, steps: Path | None, wants_json: bool, **texts: str
) -> None:
    """Creep from flat widths, wraps that do not belong, and the fore-edge once folded.

    WIDTHS is a table (CSV), a row to each sheet, with the columns wrap (c, or w01 and so on from
    the outside), width_mm, and if known u_mm, height_mm, left_mm and right_mm (from the fold to
    either edge, outer side up, head away). Four wraps or more; measured flat, at one humidity.

    \b
    Examples:
      quirewell creep examples/rejoin/widths.csv
      quirewell creep widths.csv --leaf-mm 0.083 --steps fore-edge.csv --json
    """
    texts["widths"] = read_text(widths, wants_json)
    for name, path in (("before", before), ("steps", steps)):
        if path is not None:
            texts[name] = read_text(path, wants_json)
    out = creeping.as_json(ask(creeping.METHOD, "item", texts, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["CREEP", *paragraphs("In a sentence", [out["says"]]), ""]
    lines += [value_line(name, out[key]) for key, name in _ROWS if key in out]
    lines += ["", f"  {'sheet':<10}{'off the line':>14}{'front edge':>18}{'back edge':>18}"]
    lines += [_row(row) for row in out["wraps"]]
    against = "the cover's" if out["against"] == "c" else "the outermost wrap's"
    lines.append(f"  In mm; edges beyond {against} (+) once folded; {PLUS_MINUS_SAYS}.")
    minds = [row["says"][0].upper() + row["says"][1:] + "." for row in out["outliers"]]
    lines += paragraphs("Look at these", minds)
    if "change_mm" in out:
        lines += paragraphs("Since before", [out["change_mm"]["says"]])
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


def read_text(path: Path, wants_json: bool) -> str:
    """A table's text, or the sentence that says why it is none."""
    if path.stat().st_size > 4 * MOST_CHARACTERS:
        fail(f"{path.name} is too large for a table. Is it the right file?", wants_json)
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        fail(f"{path.name} is no text in UTF-8; save the table as CSV.", wants_json)


def value_line(name: str, one: dict[str, Any]) -> str:
    """A row of the plain form."""
    unit = "" if one["unit"] == "1" else one["unit"]
    return f"  {name:<32}{say(one['value'], one['u'], unit)}"


def _row(row: dict[str, Any]) -> str:
    off = "" if row["off_mm"] is None else f"{row['off_mm']:+.2f}"
    cells = "".join(
        f"{row[key]['value'] + 0.0:+.2f} ± {2 * row[key]['u']:.2f}".rjust(18)
        for key in ("front_mm", "back_mm")
    )
    return f"  {sheet_words(row['name']):<10}{off:>14}{cells}"
