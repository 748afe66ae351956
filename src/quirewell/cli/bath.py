"""``quirewell bath``: what a bath holds before a leaf goes into it."""

from __future__ import annotations

import json
import textwrap
from typing import Any

import click

from quirewell.cli.output import fail, paragraphs, print_json
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
@click.option("--json", "wants_json", is_flag=True, help="JSON on standard output, nothing else.")
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

    The numbers hold for a fresh, covered bath between 0 and 40 C. The reserve is what one
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
    ("--litres", "litres", "4", "L", "Volume in litres."),
    ("--strength", "strength", "0.5", "saturated|FRACTION", "Share of saturated lime water."),
    ("--temperature-c", "temperature_c", "20", "T", "Bath temperature in C (0 to 40)."),
    ("--wraps --leaves", "wraps", "10", "N", "How many wraps go through it, one after another."),
    ("--wrap-mass-g --leaf-mass-g", "wrap_mass_g", "4.7", "G", "Dry mass of a wrap in grams."),
    ("--minutes-per-wrap --minutes-per-leaf", "minutes_per_wrap", "15", "MIN", "Minutes each."),
    ("--pickup", "pickup_g_per_g", "", "G/G", "Pick-up you weighed: (wet - dry) / dry, in g/g."),
    ("--water-in", "water_in_g_per_g", "1.8", "G/G", "Water a wrap brings in; 0 goes in dry."),
    ("--tray-area-m2", "tray_area_m2", "0.2", "M2", "Surface of the tray."),
    ("--change-at", "change_at", "0.5", "SHARE", "Change at this share of the first reserve."),
)


def _options(command: Any) -> Any:
    for names, param, usual, metavar, says in reversed(_LEDGER):
        command = click.option(
            *names.split(), param, default=usual, show_default=bool(usual), metavar=metavar,
            help=says,
        )(command)  # fmt: skip
    return command


@bath.command()
@_options
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
@click.option("--json", "wants_json", is_flag=True, help="JSON on standard output, nothing else.")
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
    readers = {"temperature_c": typed.temperature_c, "strength": typed.strength}
    params = {
        name: _read(name.replace("_", "-"), text, readers.get(name, typed.number))
        for name, text in numbers.items()
        if text
    }
    params |= {"open": "yes"} if open_air else {}
    params |= {"entries": entries} if entries.strip() else {}
    params |= {"readings": readings} if readings.strip() else {}
    try:
        run = run_method(LEDGER, "item", {}, params=params)
    except ValueError as error:
        fail(f"{error}".rstrip(".") + ".", wants_json)
    if wants_json:
        print_json(ledger_json(run))
        return
    click.echo("\n".join(_ledger_card(ledger_json(run))))


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
@click.option(
    "--wanted",
    "wanted_mol_per_kg",
    default="",
    metavar="MOL/KG",
    help="Another reserve than the aim's, in mol acid/kg; above 0.1 only with permanent.",
)
@click.option(
    "--temperature-c",
    "temperature_c",
    default="20",
    show_default=True,
    metavar="T",
    help="Bath temperature in C (0 to 40).",
)
@click.option(
    "--leaf",
    type=click.Choice(["blotted", "drained"]),
    default="drained",
    show_default=True,
    help="How a wrap leaves the bath, where its pick-up was not weighed.",
)
@click.option("--pickup", "pickup_g_per_g", default="", metavar="G/G", help="Pick-up you weighed.")
@click.option(
    "--acid",
    "acid_mol_per_kg",
    default="",
    metavar="MOL/KG",
    help="Acid of the paper, if you titrated like paper; usually 0.12, from memory.",
)
@click.option("--litres", default="4", show_default=True, metavar="L", help="Each bath's volume.")
@click.option(
    "--wrap-mass-g",
    "--leaf-mass-g",
    "wrap_mass_g",
    default="4.7",
    show_default=True,
    metavar="G",
    help="Dry paper that goes in at once.",
)
@click.option(
    "--water-in",
    "water_in_g_per_g",
    default="1.8",
    show_default=True,
    metavar="G/G",
    help="Water the paper brings in; 0 goes in dry.",
)
@click.option(
    "--minutes-per-wrap",
    default="15",
    show_default=True,
    metavar="MIN",
    help="Minutes each.",
)
@click.option("--json", "wants_json", is_flag=True, help="JSON on standard output, nothing else.")
def dose(aim: str, leaf: str, wants_json: bool, **numbers: str) -> None:
    """Which bath, and how many, for a reserve: lime water and hydrogen carbonates side by side.

    \b
    Examples:
      quirewell bath dose
      quirewell bath dose --pickup 1.7 --temperature-c 18 --json
      quirewell bath dose --acid 0.15 --litres 2 --wrap-mass-g 18.8
      quirewell bath dose --aim permanent
    """
    readers = {"temperature_c": typed.temperature_c}
    params = {
        name: _read(name.replace("_", "-"), text, readers.get(name, typed.number))
        for name, text in numbers.items()
        if text
    }
    try:
        run = run_method(DOSE, "item", {}, params={**params, "aim": aim, "leaf": leaf})
    except ValueError as error:
        fail(f"{error}".rstrip(".") + ".", wants_json)
    out = dose_json(run)
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
@click.option(
    "--temperature-c",
    "temperature_c",
    default="20",
    show_default=True,
    metavar="T",
    help="Water temperature in C (0 to 40).",
)
@click.option(
    "--gas",
    default="air",
    show_default=True,
    metavar="air|none|ATM",
    help="Carbon dioxide: room air, kept from air, or its pressure in atm (1 = under the gas).",
)
@click.option(
    "--magnesium",
    "mg_mol_per_kg",
    default="",
    metavar="MOL/KG",
    help="Magnesium hydroxide dissolved, instead of chalk (0 to 0.2).",
)
@click.option(
    "--leaf",
    type=click.Choice(["blotted", "drained"]),
    default="drained",
    show_default=True,
    help="How a wrap leaves the bath, where its pick-up was not weighed.",
)
@click.option("--pickup", "pickup_g_per_g", default="", metavar="G/G", help="Pick-up you weighed.")
@click.option("--json", "wants_json", is_flag=True, help="JSON on standard output, nothing else.")
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
    readers = {"temperature_c": typed.temperature_c}
    params = {
        name: _read(name.replace("_", "-"), text, readers.get(name, typed.number))
        for name, text in numbers.items()
        if text
    }
    params["gas"] = gas if gas in ("air", "none") else _read("gas", gas, typed.number)
    try:
        out = water_json(run_method(WATER, "item", {}, params={**params, "leaf": leaf}))
    except ValueError as error:
        fail(f"{error}".rstrip(".") + ".", wants_json)
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
        f"  {card['litres']:g} L at {card['temperature_c']:g} C, "
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
