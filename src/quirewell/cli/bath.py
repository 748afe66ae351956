"""``quirewell bath``: what a bath holds before a leaf goes into it."""

from __future__ import annotations

import json
import textwrap
from typing import Any

import click

from quirewell.cli.options import JSON, ask, text_options
from quirewell.cli.output import paragraphs, print_json
from quirewell.science.bath.recipe import RecipeError
from quirewell.stages import typed
from quirewell.stages.bathing import METHOD, as_json, reserve_digits
from quirewell.stages.dosing import METHOD as DOSE
from quirewell.stages.dosing import as_json as dose_json
from quirewell.stages.ledgering import METHOD as LEDGER
from quirewell.stages.ledgering import as_json as ledger_json
from quirewell.stages.methods import run_method
from quirewell.stages.watering import METHOD as WATER
from quirewell.stages.watering import as_json as water_json


@click.group()
def bath() -> None:
    """Baths: what they hold, and what a leaf takes from them."""


@bath.command()
@click.option(
    "--temperature-c", required=True, metavar="T", help="Bath temperature in C (0 to 40)."
)
@click.option(
    "--strength",
    default="saturated",
    show_default=True,
    metavar="saturated|FRACTION",
    help="Share of saturated lime water: saturated, 0.5, 50% or 1:1 (lime water : water).",
)
@click.option("--litres", default="1", show_default=True, metavar="L", help="Volume in litres.")
@click.option(
    "--leaf",
    type=click.Choice(["blotted", "drained"]),
    default="blotted",
    show_default=True,
    help="How a leaf leaves the bath, where its pick-up was not weighed.",
)
@click.option(
    "--pickup",
    "pickup_g_per_g",
    default="",
    metavar="G/G",
    help="Pick-up you weighed: (wet - dry) / dry, in g/g. Narrows the reserve most.",
)
@JSON
def mix(
    temperature_c: str,
    strength: str,
    litres: str,
    leaf: str,
    pickup_g_per_g: str,
    wants_json: bool,
) -> None:
    """Lime water: concentration, pH, grams of alkali and expected reserve per leaf.

    \b
    Examples:
      quirewell bath mix --temperature-c 20
      quirewell bath mix --temperature-c 18.5 --strength 1:1 --litres 4
      quirewell bath mix --temperature-c 20 --strength 0.5 --pickup 1.8 --json

    The numbers hold for a fresh, covered bath between 0 and 40 °C. The reserve is what one
    immersion leaves in a leaf; it is a band, because leaves differ in how much they carry.
    """
    params = {
        "strength": _read("strength", strength, typed.strength),
        "temperature_c": _read("temperature-c", temperature_c, typed.temperature_c),
        "litres": _read("litres", litres, typed.number),
        "leaf": leaf,
    }
    if pickup_g_per_g:
        params["pickup_g_per_g"] = _read("pickup", pickup_g_per_g, typed.number)
    try:
        card = as_json(run_method(METHOD, "item", {}, params=params))
    except RecipeError as error:
        raise click.ClickException(str(error)) from error
    click.echo(json.dumps(card, indent=2) if wants_json else _card(card))


_LEDGER = (
    ("--litres", "L", "Volume in litres.", "4"),
    ("--strength", "saturated|FRACTION", "Share of saturated lime water.", "0.5"),
    ("--temperature-c", "T", "Bath temperature in C (0 to 40).", "20"),
    ("--wraps --leaves", "N", "How many wraps go through it, one after another.", "10"),
    ("--wrap-mass-g --leaf-mass-g", "G", "Dry mass of a wrap in grams.", "4.7"),
    ("--minutes-per-wrap --minutes-per-leaf", "MIN", "Minutes each.", "15"),
    ("--pickup pickup_g_per_g", "G/G", "Pick-up you weighed: (wet - dry) / dry, in g/g."),
    ("--water-in water_in_g_per_g", "G/G", "Water a wrap brings in; 0 goes in dry.", "1.8"),
    ("--tray-area-m2", "M2", "Surface of the tray.", "0.2"),
    ("--change-at", "SHARE", "Change at this share of the first reserve.", "0.5"),
)


@bath.command()
@text_options(_LEDGER)
@click.option("--open/--covered", "open_air", default=False, help="Open tray, or under a lid.")
@click.option(
    "--entries",
    default="",
    metavar="'LINE; LINE ..'",
    help="A real tray instead: 'wrap 4.7 g 15 min; top-up 0.5 L 1; fresh; ..'.",
)
@click.option(
    "--readings",
    default="",
    metavar="'after N: ..; ..'",
    help="What the tray read: 'after 0: pH 12.4 @ 20; after 3: 10 mL took 4.3 mL of 0.05; after 1: "
    "dry 4.7 g wet 13.8 g; bath 2: 12 drops of 1.8; ..'.",
)
@JSON
def ledger(open_air: bool, entries: str, readings: str, wants_json: bool, **numbers: str) -> None:
    """A bath over a series of wraps: pH, alkali, reserve of each, and when to change it.

    \b
    Examples:
      quirewell bath ledger
      quirewell bath ledger --litres 4 --strength 1:1 --wraps 12 --open --minutes-per-wrap 20
      quirewell bath ledger --entries "wrap 4.7 g 15 min; wrap 4.6 g 15 min; fresh; wrap 4.8 g"
        --json
      quirewell bath ledger --wraps 8 --open --readings "after 1: pickup 2.1; after 3: 10 mL
        took 3.9 mL of 0.05; after 3: 12 drops of 1.7"

    The bath is judged on its alkali, for pH hides what is used up. Every row is a band: pick-up,
    the paper's acids and the air are not known until they are weighed and titrated.
    """
    params = _read_all(numbers)
    params |= {"open": "yes"} if open_air else {}
    params |= {"entries": entries} if entries.strip() else {}
    params |= {"readings": readings} if readings.strip() else {}
    out = ledger_json(ask(LEDGER, "item", params, wants_json))
    if wants_json:
        print_json(out)
        return
    click.echo("\n".join(_ledger_card(out)))


def _ledger_card(card: dict[str, Any]) -> list[str]:
    lines = ["BATH LEDGER", "", textwrap.fill(card["says"], 88), ""]
    lines.append("  wrap   pH (90 %)                alkali mol/kg         reserve % CaCO3 (90 %)")
    for row in card["rows"]:
        ph, alkali, left = (
            row[key] for key in ("pH", "alkalinity_mol_per_kg", "reserve_pct_caco3")
        )
        lines.append(
            f"  {row['wrap']:>4}   {ph['value']:5.2f} ({ph['low90']:.2f} to {ph['high90']:.2f})"
            f"   {alkali['value']:.4f}   {left['value']:.3f} ({left['low90']:.3f} to "
            f"{left['high90']:.3f})"
        )
    lines += _bench(card["bench"])
    lines += paragraphs("What to know", card["warnings"])
    lines += ["", f"Books close to {card['balance_error_mol']:.0e} mol."]
    return lines


def _bench(bench: dict[str, Any]) -> list[str]:
    """Pick-up, acid and air as this tray's readings have them."""
    names = {
        "pickup_g_per_g": ("pick-up", 2),
        "acid_mol_per_kg": ("acid of the paper", 3),
        "air_uptake": ("taken by the air", 3),
    }
    if not bench:
        return []
    lines = ["", "This bench, by its readings"]
    return lines + [_line(name, bench[key], digits) for key, (name, digits) in names.items()]


@bath.command()
@click.option(
    "--aim",
    type=click.Choice(["small reserve", "permanent"]),
    default="small reserve",
    show_default=True,
    help="Neutral plus a small reserve; or the 0.4 mol/kg of new permanent paper, with its harm.",
)
@text_options((
    ("--wanted wanted_mol_per_kg", "MOL/KG",
     "Another reserve than the aim's, in mol acid/kg; above 0.1 only with permanent."),
    ("--temperature-c", "T", "Bath temperature in C (0 to 40).", "20"),
))  # fmt: skip
@click.option(
    "--leaf",
    type=click.Choice(["blotted", "drained"]),
    default="drained",
    show_default=True,
    help="How a wrap leaves the bath, where its pick-up was not weighed.",
)
@text_options((
    ("--pickup pickup_g_per_g", "G/G", "Pick-up you weighed."),
    ("--acid acid_mol_per_kg", "MOL/KG",
     "Acid of the paper, if you titrated like paper; usually 0.12, from memory."),
    ("--litres", "L", "Each bath's volume.", "4"),
    ("--wrap-mass-g --leaf-mass-g", "G", "Dry paper that goes in at once.", "4.7"),
    ("--water-in water_in_g_per_g", "G/G", "Water the paper brings in; 0 goes in dry.", "1.8"),
    ("--minutes-per-wrap", "MIN", "Minutes each.", "15"),
))  # fmt: skip
@JSON
def dose(aim: str, leaf: str, wants_json: bool, **numbers: str) -> None:
    """Which bath, and how many, for a reserve: lime water and hydrogen carbonates side by side.

    \b
    Examples:
      quirewell bath dose
      quirewell bath dose --pickup 1.7 --temperature-c 18 --json
      quirewell bath dose --acid 0.15 --litres 2 --wrap-mass-g 18.8
      quirewell bath dose --aim permanent
    """
    params = _read_all(numbers)
    out = dose_json(ask(DOSE, "item", {**params, "aim": aim, "leaf": leaf}, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["WHICH BATH", *paragraphs("Before anything is wetted", out["cautions"]), ""]
    lines += [textwrap.fill(out["says"], 88), ""]
    for row in out["options"]:
        one, baths = row["one_bath_pct"], row["baths"] or "more than the caps allow"
        lines.append(f"  {row['bath']}")
        lines.append(
            f"      pH {row['pH']['value']:.1f}; one leaves {one['value']:.2f} % CaCO3 "
            f"({one['low90']:.2f} to {one['high90']:.2f}); baths: {baths}; {row['to_mind']}"
        )
    click.echo("\n".join(lines))


@bath.command()
@text_options((
    ("--temperature-c", "T", "Water temperature in C (0 to 40).", "20"),
    ("--gas", "air|none|ATM",
     "Carbon dioxide: room air, kept from air, or its pressure in atm (1 = under the gas).", "air"),
    ("--magnesium mg_mol_per_kg", "MOL/KG",
     "Magnesium hydroxide dissolved, instead of chalk (0 to 0.2)."),
))  # fmt: skip
@click.option(
    "--leaf",
    type=click.Choice(["blotted", "drained"]),
    default="drained",
    show_default=True,
    help="How a wrap leaves the bath, where its pick-up was not weighed.",
)
@text_options((("--pickup pickup_g_per_g", "G/G", "Pick-up you weighed."),))
@JSON
def water(gas: str, leaf: str, wants_json: bool, **numbers: str) -> None:
    """Wash water over chalk, and hydrogen carbonate of calcium or magnesium.

    \b
    Examples:
      quirewell bath water
      quirewell bath water --gas none --temperature-c 18
      quirewell bath water --gas 1 --magnesium 0.02 --json

    Room air is taken as 420 ppm of carbon dioxide, 400 to 1200 with people in the room; the pH's
    band is mostly that.
    """
    params = _read_all(numbers)
    params["gas"] = gas if gas in ("air", "none") else _read("gas", gas, typed.number)
    out = water_json(ask(WATER, "item", {**params, "leaf": leaf}, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["WATER", *paragraphs("Before anything is wetted", out["warnings"]), ""]
    for key, name, digits in (
        ("pH", "pH", 2),
        ("caco3_mg_per_kg", "calcium, as chalk", 0),
        ("mg_mol_per_kg", "magnesium", 4),
        ("alkalinity_mol_per_kg", "alkalinity", 4),
        ("reserve_pct_caco3", "reserve left in one wrap", 3),
    ):
        if key in out:
            lines.append(_line(name, out[key], digits))
    click.echo("\n".join([*lines, "", f"  {out['effect']}."]))


_READERS = {"temperature_c": typed.temperature_c, "strength": typed.strength}


def _read_all(texts: dict[str, str]) -> dict[str, str]:
    return {
        name: _read(name.replace("_", "-"), text, _READERS.get(name, typed.number))
        for name, text in texts.items()
        if text
    }


def _read(option: str, text: str, parse: Any) -> str:
    try:
        return str(parse(text))
    except typed.Unreadable as error:
        raise click.ClickException(f"--{option}: {error}.") from error


def _card(card: dict[str, Any]) -> str:
    lines = ["LIME-WATER BATH", "", "Before anything is wetted"]
    lines += [_item(f"[{row['to']}] {row['says']}") for row in card["cautions"]]
    lines += [_item(card["local_codes"]), "", "The bath"]
    reserve = card["reserve_pct_caco3"]
    lines.append(
        f"  {card['litres']:g} L at {card['temperature_c']:g} °C, "
        f"{_strength_words(card['strength'])}"
    )
    for key, name, digits in (
        ("pH", "pH", 2),
        ("caoh2_g_per_kg", "calcium hydroxide", 2),
        ("caoh2_g", "dissolved in all", 1),
        ("ca_ppm", "calcium", 0),
        ("reserve_pct_caco3", "reserve left in one leaf", reserve_digits(reserve["u"])),
    ):
        lines.append(_line(name, card[key], digits))
    lines += ["", "How it is made", _item(card["how"])]
    lines += ["", "What to know"] + [_item(says) for says in card["warnings"]]
    lines += ["", f"Constants: database {card['database_sha256'][:12]}, {card['solver']}."]
    return "\n".join(lines)


def _strength_words(strength: float) -> str:
    if strength == 1:
        return "saturated"
    return f"{100 * strength:g} % of saturated (1 part lime water + {1 / strength - 1:.3g} water)"


def _line(name: str, entry: dict[str, Any], digits: int) -> str:
    unit = "" if entry["unit"] == "pH" else f" {entry['unit']}"
    return (
        f"  {name:<26}{entry['value']:.{digits}f}{unit}   "
        f"90 %: {entry['low90']:.{digits}f} to {entry['high90']:.{digits}f}"
    )


def _item(says: str) -> str:
    return textwrap.fill(says, 88, initial_indent="  - ", subsequent_indent="    ")
