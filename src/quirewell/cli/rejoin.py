"""``quirewell rejoin``: all sheets laid on one another by their staple holes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, ask, text_options
from quirewell.cli.output import PLUS_MINUS_SAYS, fail, paragraphs, print_json
from quirewell.record.measured import Measured
from quirewell.stages import aligning
from quirewell.stages.hole_table import MOST_CHARACTERS
from quirewell.stages.naming import sheet_words

_OPTIONS = (
    ("--wire-mm", "MM", "The staple's wire (0.5): a wider hole has slack round it."),
    ("--edge-mm head_tail_mm", "MM", "Head and tail corners off the cover's, at most (0.25)."),
    ("--fold-mm", "MM", "The fold off the cover's, at most (0.5)."),
    ("--beyond-mm", "MM", "A reading edge beyond the cover's, at most (0.5)."),
    ("--turn-mrad", "MRAD", "A turn against the cover, at most (2)."),
    ("--trim-u-mm", "MM", "How far edges of sheets trimmed in one cut scatter (0.3)."),
)


@click.command()
@click.argument("holes", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@text_options(_OPTIONS)
@JSON
def rejoin(holes: Path, wants_json: bool, **texts: str) -> None:
    """Shift and turn each sheet so that its staple holes lie on one pattern; the cover stays.

    HOLES is a table (CSV), a row to each hole, with the columns wrap (c, or w01 and so on from
    the outside), hole (1.. from the head), x_mm (from the fold to the right), y_mm (from the head
    edge down), and if known u_mm, hole_mm (its size) and state (clean, torn, rusted, plugged,
    missing). Where edges are measured too (left_mm, right_mm, head_mm, tail_mm) they limit how a
    sheet may lie.

    \b
    Examples:
      quirewell rejoin examples/rejoin/holes.csv
      quirewell rejoin holes.csv --wire-mm 0.55 --edge-mm 0.4 --json
    """
    texts["holes"] = _text(holes, wants_json)
    out = aligning.as_json(ask(aligning.METHOD, "item", texts, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["REJOIN", *paragraphs("In a sentence", [out["says"]]), ""]
    lines.append(f"  {'sheet':<10}{'right':>16}{'down':>16}{'turn, mrad':>16}{'worst hole':>13}")
    lines += [_row(row, row["name"] == out["reference"]) for row in out["wraps"]]
    lines.append(f"  In mm, outer side up, head away; {PLUS_MINUS_SAYS}.")
    minds = [f"{sheet_words(row['name'])}: {says}" for row in out["wraps"] for says in row["flags"]]
    lines += paragraphs("Look at these", minds)
    lines += paragraphs("What the edges cost", filter(None, map(_costs, out["wraps"])))
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


def _text(path: Path, wants_json: bool) -> str:
    if path.stat().st_size > 4 * MOST_CHARACTERS:
        fail(f"{path.name} is too large for a table of holes. Is it the right file?", wants_json)
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        fail(f"{path.name} is no text in UTF-8; save the table as CSV.", wants_json)


def _row(row: dict[str, Any], stays: bool) -> str:
    off = [one for one in row["residual_mm"] if one is not None]
    worst = f"{max(off):.2f}" if off else "-"
    cells = "".join(
        f"{_said(row[key], places):>16}"
        for key, places in (("dx_mm", 2), ("dy_mm", 2), ("turn_mrad", 1))
    )
    if stays:
        cells = f"{'stays':>16}{'':32}"
    return f"  {sheet_words(row['name']):<10}{cells}{worst:>13}"


def _said(one: dict[str, Any], places: int) -> str:
    if one["value"] is None:
        return "not known"
    said = f"{round(one['value'], places) + 0.0:+.{places}f}"
    if one["u"] is None:
        return said
    held = Measured(one["value"], one["u"], one["unit"])
    return f"{said} ± {2 * (held.u or 0.0):.{places}f}"


def _costs(row: dict[str, Any]) -> str:
    parts = [f"{name} {cost:.2f} mm" for name, cost in row["costs"].items() if cost >= 0.005]
    if not parts:
        return ""
    return (
        f"{sheet_words(row['name'])} is held back by its edges; its holes would lie closer "
        f"without: {', '.join(parts)} (rms)."
    )
