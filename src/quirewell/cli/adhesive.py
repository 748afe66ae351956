"""``quirewell adhesive``: what to weigh for so many mends, and what they add to a leaf."""

from __future__ import annotations

import click

from quirewell.cli.options import JSON, ask, text_options
from quirewell.cli.output import paragraphs, print_json
from quirewell.stages.adhesives import KINDS, METHOD, as_json
from quirewell.stages.asking import band_text

_OPTIONS = (
    ("--strength-pct", "PCT", "Strength in per cent (2.5; paste 12.5)."),
    ("--mends", "N", "How many mends (10)."),
    ("--ml-each", "ML", "Paste one mend takes (0.5)."),
    ("--length-cm", "CM", "Length of a mend (5)."),
    ("--width-mm", "MM", "Width of its tissue (8)."),
    ("--tissue-g-m2", "G/M2", "Weight of the tissue (3.5)."),
    ("--leaf-g", "G", "Mass of the leaf (4.7)."),
    ("--wet-film-um", "UM", "Wet film laid on (100)."),
)


@click.command()
@click.option("--kind", type=click.Choice(KINDS), default=KINDS[0], show_default=True)
@click.option("--by", default="", metavar="w/w|w/v", help="Per cent of what: asked, never guessed.")
@click.option("--grade", default="", metavar="MPAS", help="Its mPa s at 2 %, as the jar says.")
@text_options(_OPTIONS)
@JSON
def adhesive(kind: str, by: str, grade: str, wants_json: bool, **numbers: str) -> None:
    """Grams and water for a number of mends, and what the mends add to the leaf.

    \b
    Examples:
      quirewell adhesive --by w/w --mends 40
      quirewell adhesive --by w/v --strength-pct 2 --grade 4000 --leaf-g 4.7 --json
      quirewell adhesive --kind "wheat starch paste" --by w/w --mends 12
    """
    given = {"kind": kind, "by": by, "grade": grade, **numbers}
    params = {name: text.replace(",", ".") for name, text in given.items()}
    out = as_json(ask(METHOD, "item", params, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["ADHESIVE", ""]
    for key, name in _ROWS:
        if key in out:
            one = out[key]
            middle, low, high = band_text(one["value"], one["low90"], one["high90"])
            lines.append(f"  {name:<20} {middle} {one['unit']}   90 %: {low} to {high}")
            lines.append(f"      {one['note']}")
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


_ROWS = (
    ("dry_g", "weigh, dry"),
    ("water_g", "water"),
    ("made_ml", "makes"),
    ("other_way_pct", "said the other way"),
    ("viscosity_mpas", "viscosity"),
    ("coated_g_m2", "on coated tissue"),
    ("load_pct", "added to the leaf"),
    ("water_mg_per_cm", "water brought"),
)
