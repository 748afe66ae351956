"""``quirewell fold``, ``order``: where a fold may lie, and whether the gathering is in order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.creep import read_text, value_line
from quirewell.cli.options import JSON, sentence, text_options
from quirewell.cli.options import ask as ask_method
from quirewell.cli.output import PLUS_MINUS_SAYS, fail, paragraphs, print_json
from quirewell.stages import folding, ordering
from quirewell.stages.methods import run_method
from quirewell.stages.naming import sheet_words
from quirewell.studio.images import ImageError

_FOLD = (
    ("--front-now-mm", "MM", "Front overhang of the first fold: + the cover stands out."),
    ("--back-now-mm", "MM", "Back overhang of it."),
    ("--flat-cover-mm", "MM", "The cover flat and whole, instead of a first fold or beside it."),
    ("--block-mm", "MM", "The outermost wrap, from its fold to its reading edge."),
    ("--crease-mm", "MM", "The old crease, from the cover's front edge (the middle)."),
    ("--u-mm", "MM", "Standard uncertainty of a reading (0.25)."),
    ("--choice", "keep|even|asked|roll", "Which way to fold (what is advised)."),
    ("--ask-front-mm", "MM", "Front overhang you would like."),
    ("--ask-back-mm", "MM", "Back overhang you would like."),
    ("--tolerance-mm", "MM", "How far leaves may stand out beyond the cover (0)."),
    ("--roll-mm", "MM", "The block's front reading edge beyond its back one."),
    ("--bevel-mm", "MM", "The same as a bevel across the fore-edge; with thickness or leaves."),
    ("--thickness-mm", "MM", "The closed block's thickness."),
    ("--leaves", "N", "Or its leaves, cover left out."),
    ("--leaf-mm", "MM", "A leaf's thickness (0.085, unsure)."),
    ("--cover-mm", "MM", "The cover's thickness, 0 for none (0.12)."),
    ("--fore-edge", "left|right", "Where the fore-edge lies in the photograph (right)."),
    ("--front-up", "yes|no", "Whether the front cover is up in it (yes)."),
    ("--front-after-mm", "MM", "Front overhang after folding, to check it."),
    ("--back-after-mm", "MM", "Back overhang after folding."),
    ("--roll-after-mm", "MM", "The block's front beyond its back after folding, to check it."),
)
_ROWS = (
    ("front_mm", "front overhang"),
    ("back_mm", "back overhang"),
    ("shift_mm", "fold moves, front gains (+)"),
    ("crease_mm", "old crease from the new fold"),
    ("total_mm", "front and back together"),
    ("allowance_mm", "goes round the spine"),
    ("roll_deg", "roll, front stands out (+)"),
    ("lead_mm", "block's front beyond its back"),
    ("off_mm", "fold off where it was meant"),
    ("lead_after_mm", "block's front beyond, after"),
    ("roll_change_mm", "change of the roll"),
    ("roll_seen_mm", "least change surely seen"),
)
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.option("--widths", type=_FILE, help="A table of half widths: how far each fold is worked.")
@click.option("--head", type=_FILE, help="A photograph of the head of the closed pamphlet.")
@text_options(_FOLD)
@JSON
def fold(widths: Path | None, head: Path | None, wants_json: bool, **texts: str) -> None:
    """Where the cover's fold may lie, spine roll, and how far each fold is worked.

    Front and back overhang together stay the same wherever the fold lies. Give what you have:
    overhangs of a first fold, or the flat sizes; half widths of each sheet (columns wrap, left_mm,
    right_mm); a bevel, or a photograph of the head on a ground of another tone.

    \b
    Examples:
      quirewell fold --front-now-mm 1.4 --back-now-mm 0.2
      quirewell fold --bevel-mm 1.4 --leaves 18 --roll-after-mm 0.2
      quirewell fold --flat-cover-mm 370.5 --block-mm 184 --leaves 28 --bevel-mm 0.9
      quirewell fold --widths examples/rejoin/widths.csv --json
      quirewell fold --head head.jpg --fore-edge left --thickness-mm 2.6
    """
    given = {name: text for name, text in texts.items() if text}
    if widths is not None:
        given["widths"] = read_text(widths, wants_json)
    try:
        run = run_method(folding.METHOD, "item", {"head": head} if head else {}, params=given)
    except (ImageError, ValueError) as error:
        fail(sentence(error), wants_json)
    out = folding.as_json(run)
    if wants_json:
        print_json(out)
        return
    lines = ["FOLD", *paragraphs("Before you begin", out["cautions"])]
    lines += [*paragraphs("In a sentence", [out["says"]] if "says" in out else []), ""]
    lines += [value_line(name, out[key]) for key, name in _ROWS if key in out]
    if "choices" in out:
        lines += ["", f"  {'choice':<22}{'front':>10}{'back':>10}{'fold moves':>12}"]
        for one in out["choices"]:
            mark = "*" if one["chosen"] else " "
            cells = [f"{one[key]['value']:+.2f}" for key in ("front_mm", "back_mm", "shift_mm")]
            lines.append(f"{mark} {one['name']:<22}{cells[0]:>10}{cells[1]:>10}{cells[2]:>12}")
        lines.append(f"  In mm; * chosen; {PLUS_MINUS_SAYS}.")
        looks = [f"{one['name'].capitalize()}: {one['looks']}." for one in out["choices"]]
        lines += paragraphs("What each looks like", looks)
    each = [f"{sheet_words(row['name'])}: {row['says']}." for row in out["wraps"]]
    lines += paragraphs("Each fold", each)
    checked = [out[key]["says"] for key in ("off_mm", "roll_change_mm") if key in out]
    lines += paragraphs("After folding", checked)
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


def _leaf_line(leaf: dict[str, Any]) -> str:
    pages = ", ".join(map(str, leaf["pages"])) or "no numbers"
    counted = {True: "counted", False: "not counted"}.get(leaf["counted"], "perhaps counted")
    place = "" if leaf["after"] is None else f", behind page {leaf['after']}"
    return f"  {leaf['name']}: {pages} ({counted}{place})"


@click.command()
@click.argument("pages", type=_FILE)
@text_options(
    (
        ("--wraps", "N", "Wraps the gathering should have (as many as there are rows)."),
        ("--first-page", "N", "Number on the first page inside (1)."),
        ("--unseen", "N", "Wraps that may be there and were not looked at (0)."),
    )
)
@JSON
def order(pages: Path, wants_json: bool, **texts: str) -> None:
    """Whether the sheets are all there, in order and the right way round, by their page numbers.

    PAGES is a table (CSV), a row to each wrap as it was found, with the columns wrap (w01 and so
    on), position (1 = outermost), outer_left, outer_right, inner_left, inner_right: a number, "-"
    where none is printed, "?" where it cannot be read. A single leaf has a row named s01 and so on:
    its front and back as outer_left and outer_right, as position the page it lay behind, or empty.

    \b
    Examples:
      quirewell order examples/rejoin/pages-leaf.csv --wraps 9
      quirewell order examples/rejoin/pages.csv --wraps 9
    """
    texts["pages"] = read_text(pages, wants_json)
    out = ordering.as_json(ask_method(ordering.METHOD, "item", texts, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["ORDER", *paragraphs("In a sentence", [out["says"]])]
    told = [f"{one['says'][0].upper()}{one['says'][1:]}." for one in out["told"]]
    lines += paragraphs("Look at these", told)
    lines += ["", f"  {'wrap':<6}{'outer left, right':>20}{'inner left, right':>20}"]
    for wrap, made in out["pairs"].items():
        pairs = f"{made[0]}, {made[1]}".rjust(20) + f"{made[2]}, {made[3]}".rjust(20)
        lines.append(f"  {wrap:<6}{pairs}")
    lines += [_leaf_line(one) for one in out["single_leaves"]]
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))
