"""``quirewell outlook``: what a treatment or another store is worth, as a ratio with a band."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, PlainFirst, ask
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Input
from quirewell.stages.outlooking import CLIMATE, METHOD, YEARS, climate_json, ratio_json
from quirewell.stages.treating_heat import METHOD as HEAT
from quirewell.stages.treating_heat import as_json as heat_json


@click.group(cls=PlainFirst, plain="ratio")
def outlook() -> None:
    """What a treatment or another store is worth: a ratio of lives with a band, never years.

    \b
    Examples:
      quirewell outlook --ph-before 4.8 --ph-after 8.0
      quirewell outlook climate attic.csv
    """


@outlook.command()
@click.option("--ph-before", default="", metavar="[KIND] PH", help="pH of the paper before.")
@click.option("--ph-after", default="", metavar="[KIND] PH", help="pH of the paper after.")
@click.option("--store-before", default="", metavar="'C, %'", help="Where it was kept.")
@click.option("--store-after", default="", metavar="'C, %'", help="Where it will be kept.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1936, show_default=True)
@click.option("--years", is_flag=True, help="Asks for years, which are refused, with the reason.")
@JSON
def ratio(
    ph_before: str, ph_after: str, store_before: str, store_after: str, seed: int, years: bool,
    wants_json: bool,
) -> None:  # fmt: skip
    """Life after relative to life before, with a 90 % band.

    \b
    Examples:
      quirewell outlook --ph-before 4.8 --ph-after 8.0 --json
      quirewell outlook --ph-before "surface electrode 5.1 @ 21" --ph-after "cold extract 8"
      quirewell outlook --store-before "21 C, 55 %" --store-after "16 C, 45 %"

    A bare number counts as a cold extract. Two strips alone give words and no ratio.
    """
    if years:
        fail(YEARS, wants_json)
    given = {
        "ph_before": ph_before, "ph_after": ph_after, "store_before": store_before,
        "store_after": store_after, "seed": str(seed),
    }  # fmt: skip
    out = ratio_json(ask(METHOD, "item", given, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["OUTLOOK", "", *paragraphs("In a sentence", [out["says"]])[1:]]
    if out["ratio"]:
        band = out["ratio"]
        lines += [
            "",
            f"  life after by life before: {band['median']:.2g}, with 90 % between "
            f"{band['low90']:.2g} and {band['high90']:.2g} ({out['standing']})",
        ]
    lines += paragraphs("What it assumes, and what would narrow it", out["warnings"])
    click.echo("\n".join(lines))


@outlook.command("climate")
@click.argument("log", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--unit", default="", metavar="C|F", help="Where the file does not say.")
@click.option(
    "--columns", default="", metavar="TIME,TEMPERATURE,HUMIDITY",
    help="By name or number from 1, where they are not found.",
)  # fmt: skip
@click.option(
    "--day-first/--month-first", "day_first", default=None, help="Where 3/4 could be either."
)
@JSON
def climate_verb(
    log: Path, unit: str, columns: str, day_first: bool | None, wants_json: bool
) -> None:
    """Ageing in a store from its logger's CSV: the mean of the rates, and what swings cost.

    \b
    Examples:
      quirewell outlook climate attic.csv
      quirewell outlook climate attic.csv --unit F --month-first --json
    """
    params = {"unit": unit, "columns": columns}
    if day_first is not None:
        params["day_first"] = "yes" if day_first else "no"
    try:
        digest = hashlib.sha256(log.read_bytes()).hexdigest()
        inputs = (Input("log", log.name, digest),)
        run = ask(CLIMATE, "store", params, wants_json, {"log": log}, inputs)
    except OSError as error:
        fail(f"{log}: {error.strerror or 'cannot be read'}.", wants_json)
    out = climate_json(run)
    if wants_json:
        print_json(out)
        return
    click.echo("\n".join(_climate_card(out)))


@outlook.command("heat")
@click.argument("stays", nargs=-1, required=True, metavar="'T, [%,] MIN' ..")
@JSON
def heat_verb(stays: tuple[str, ...], wants_json: bool) -> None:
    """What press, iron and chamber cost a wrap, as days at 20 °C and 50 % RH: an order of
    magnitude.

    \b
    Examples:
      quirewell outlook heat "68 C, 50 %, 15 min: pressed"
      quirewell outlook heat "22 C, 95 %, 24 h" "52 C, 15 min: pressed" --json

    Leave the humidity out where nobody knows how damp the paper was (40 to 90 % is taken).
    """
    out = heat_json(ask(HEAT, "item", {"stays": "; ".join(stays)}, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = [
        "HEAT AND DAMP OF A TREATMENT",
        "",
        *paragraphs("In a sentence", [out["says"]])[1:],
        "",
    ]
    for row in out["stays"]:
        band = row["days"]
        lines.append(
            f"  {row['stay']:<36} {band['value']:.2g} d   ({band['low90']:.2g} to "
            f"{band['high90']:.2g} with 90 %)"
        )
    click.echo("\n".join(lines + paragraphs("What it assumes", out["warnings"])))


_ROWS = (
    ("rate_relative", "ageing against 20 °C and 50 %"),
    ("rate_at_mean", "the same at the mean climate"),
    ("penalty_of_swings", "what the swings cost"),
    ("two_cooler", "life if 2 °C cooler"),
    ("ten_drier", "life if 10 % RH drier"),
)


def _climate_card(out: dict[str, Any]) -> list[str]:
    days = out["hours"]["value"] / 24
    lines = [
        "A STORE BY ITS LOGGER", "",
        f"  {days:.0f} days from {out['start'][:10]}: mean {out['mean_c']['value']:.1f} °C, "
        f"{out['mean_rh_pct']['value']:.0f} % RH", "",
    ]  # fmt: skip
    for key, name in _ROWS:
        one = out[key]
        lines.append(
            f"  {name:<30} x {one['value']:.2f}   ({one['low90']:.2f} to {one['high90']:.2f})"
        )
    lines += ["", "  month   mean C   % RH   ageing"]
    lines += [
        f"  {row['month']:>5}   {row['mean_c']:6.1f}   {row['mean_rh_pct']:4.0f}   "
        f"x {row['rate']:.2f}"
        for row in out["months"]
    ]
    return lines + paragraphs("What to know", out["warnings"])
