"""``quirewell chamber``, ``dry``: hours in a humidity chamber, and a washed wrap until dry."""

from __future__ import annotations

from typing import Any

import click

from quirewell.cli.options import JSON, ask, text_options
from quirewell.cli.output import paragraphs, print_json
from quirewell.stages import damping, drying

_CHAMBER = (
    ("--rh-pct", "%", "Humidity it is held at (95)."),
    ("--salt", "NAME", "The salt that holds it, such as NaCl, instead."),
    ("--temperature-c", "C", "Its temperature (20 °C)."),
    ("--start-rh-pct", "%", "Humidity in the paper before (50)."),
    ("--wraps", "N", "Wraps (14)."),
    ("--leaf-g-m2", "G/M2", "A leaf's weight (52.7)."),
    ("--leaf-mm", "MM", "A leaf's thickness (0.085)."),
    ("--cover-mm", "MM", "The cover's thickness, 0 for none (0.12)."),
    ("--width-mm", "MM", "A page's width (184)."),
    ("--height-mm", "MM", "A page's height (260)."),
    ("--litres", "L", "The chamber's volume (60)."),
    ("--wet-m2", "M2", "Wet area that feeds it (0.1)."),
    ("--room-c", "C", "The room (20 °C)."),
    ("--room-rh-pct", "%", "The room's humidity (50)."),
)
_DRY = (
    ("--wet-g-g", "G/G", "Water in the wet sheet by its dry mass (1.9)."),
    ("--sheet-g-m2", "G/M2", "The sheet's weight (52.7)."),
    ("--temperature-c", "C", "The room (20 °C)."),
    ("--rh-pct", "%", "Its humidity (50)."),
    ("--faces", "1|2", "Faces that dry (2)."),
    ("--fan", "yes", "A fan blows over it."),
    ("--air-m-s", "M/S", "Speed of the air over it, where you can measure it."),
    ("--press-c", "C", "A warm press instead: its platens, at most 65 °C."),
    ("--blotter-g-m2", "G/M2", "A blotter's weight (300)."),
    ("--blotter-g-g", "G/G", "Water in a dry blotter (0.07)."),
    ("--width-mm", "MM", "A page's width (184)."),
    ("--height-mm", "MM", "A page's height (260)."),
)


def _line(name: str, one: dict[str, Any]) -> str:
    return (
        f"  {name:<34} {one['value']:>8.3g} ({one['low90']:.3g} to {one['high90']:.3g}) "
        f"{one['unit']}".rstrip(" 1")
    )


@click.command()
@text_options(_CHAMBER)
@JSON
def chamber(wants_json: bool, **texts: str) -> None:
    """Hours and grams for an item in a humidity chamber, open, fanned or closed.

    \b
    Examples:
      quirewell chamber
      quirewell chamber --salt NaCl --temperature-c 21 --start-rh-pct 45 --json
    """
    out = damping.as_json(ask(damping.METHOD, "plan", texts, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["CHAMBER", *paragraphs("Before you begin", out["cautions"]), ""]
    lines += [*paragraphs("In a sentence", [out["says"]])[1:], ""]
    for row in out["ways"]:
        lines.append(_line(f"{row['way']}: half the way", row["half_h"]))
        lines.append(_line(f"{row['way']}: nine tenths", row["most_h"]))
    for key, name in (
        ("flat_h", "first flat or fanned"), ("folded_h", "then gently folded"),
        ("water_g", "water into the paper"), ("supply_h", "the wet area needs"),
        ("mould_h", "mould might begin after"), ("margin_k", "a wall drips when cooler by"),
        ("lid_min", "lid opened once costs"),
    ):  # fmt: skip
        lines.append(_line(name, out[key]))
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


@click.command()
@text_options(_DRY)
@JSON
def dry(wants_json: bool, **texts: str) -> None:
    """A washed wrap: minutes until it must be under restraint, blotters to change, hours to dry.

    \b
    Examples:
      quirewell dry
      quirewell dry --wet-g-g 2.1 --rh-pct 62 --fan yes --json
    """
    out = drying.as_json(ask(drying.METHOD, "plan", texts, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["DRY", *paragraphs("Before you begin", out["cautions"]), ""]
    lines += [*paragraphs("In a sentence", [out["says"]])[1:], ""]
    for key, name in (
        ("restrain_min", "under restraint within"), ("rack_min", "dry on the rack"),
        ("rate_g_m2_h", "drying from each face"), ("surface_c", "its surface"),
        ("changes", "sets of dry blotters"),
    ):  # fmt: skip
        lines.append(_line(name, out[key]))
    lines += [_line(f"  after {row['set']}, water", row["sheet_pct"]) for row in out["blotters"]]
    lines += [_line(f"  in the {row['way']}", row) for row in out["press"]]
    lines += [
        _line(f"  {row['what'].split('_')[0]}, dried {row['dried']}", row) for row in out["size"]
    ]
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))
