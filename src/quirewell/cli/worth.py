"""``quirewell worth``: what an item is worth at a grade, from a table of one's own sales."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, ask, sentence, text_options
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.stages import worthing
from quirewell.stages.asking import band_text
from quirewell.stages.plain_table import MOST_CHARACTERS
from quirewell.stages.sale_columns import decode, propose, read_sheet

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_OPTIONS = (
    ("--grade", "G", "The grade asked for, above 0 and up to 10."),
    ("--item", "NAME", "One of the items in the table: its own level of price."),
    ("--low", "MONEY", "Typed by hand: the least it would fetch."),
    ("--likely", "MONEY", "Typed by hand: the likeliest."),
    ("--high", "MONEY", "Typed by hand: the most."),
    ("--currency", "NAME", "The currency that rates lead to."),
    ("--today", "DATE", "The day asked for, as 2026-03-31 (today)."),
    ("--columns", "TEXT", "Which column is which, as in 'date=Sold on, price=3, fee=none'."),
    ("--decimal", "point|comma", "How decimals are written, where it cannot be told."),
    ("--cost", "MONEY", "For an account: what was paid for it."),
    ("--materials", "MONEY", "What went into it."),
    ("--hours", "H", "Own hours spent on it."),
    ("--hourly", "MONEY", "What an hour is to count."),
    ("--fee", "MONEY", "What the sale costs, a fixed sum."),
    ("--fee-pct", "PCT", "What the sale costs, per cent of the price."),
    ("--sold-for", "MONEY", "What it sold for, where it is sold."),
)


@click.command()
@click.argument("sales", type=_FILE, required=False)
@click.option("--rates", type=_FILE, help="Rates of exchange: currency, rate, date (CSV).")
@click.option("--day-first", "order", flag_value="yes", help="3/4/2026 is the third of April.")
@click.option("--month-first", "order", flag_value="no", help="3/4/2026 is the fourth of March.")
@click.option("--show-columns", is_flag=True, help="Only say which column is taken for which.")
@text_options(_OPTIONS)
@JSON
def worth(
    sales: Path | None, rates: Path | None, order: str | None, show_columns: bool,
    wants_json: bool, **texts: str,
) -> None:  # fmt: skip
    """What an item is worth at a grade, from your own sales, with a band and what it rests on.

    SALES is your own table (CSV) with a column of grades and one of prices, and if there are any of
    dates, currencies, fees, notes and items; its columns may have other names. With few sales or
    none, low, likely and high are typed by hand, and sales move them.

    \b
    Examples:
      quirewell worth examples/worth/sales.csv --grade 6 --json
      quirewell worth examples/worth/old-spreadsheet.csv --show-columns
      quirewell worth --grade 6 --low 60 --likely 90 --high 160
      quirewell worth sales.csv --grade 7.5 --cost 40 --hours 6 --fee-pct 12
    """
    for name, path in (("sales", sales), ("rates", rates)):
        if path is not None:
            texts[name] = _text(path, wants_json)
            if not texts[name].strip():
                fail(f"{path.name} is empty; it is the table of {name}.", wants_json)
    if show_columns:
        _columns(sales, texts.get("sales", ""), wants_json)
        return
    texts["today"] = texts["today"] or date.today().isoformat()
    out = worthing.as_json(
        ask(worthing.METHOD, "item", texts | {"day_first": order or ""}, wants_json)
    )
    if wants_json:
        print_json(out)
        return
    click.echo("\n".join(_card(out)))


def _text(path: Path, wants_json: bool) -> str:
    """A table's text, or the sentence that says why it is none."""
    if path.stat().st_size > 4 * MOST_CHARACTERS:
        fail(f"{path.name} is too large for a table. Is it the right file?", wants_json)
    try:
        return decode(path.read_bytes())
    except ValueError as error:
        fail(f"{path.name}: {sentence(error)}", wants_json)


def _columns(sales: Path | None, text: str, wants_json: bool) -> None:
    """Say the proposed matching, for a person to confirm."""
    if sales is None:
        fail("Give SALES, a table, to see which column is taken for which.", wants_json)
    try:
        sheet = read_sheet(text)
    except ValueError as error:
        fail(f"{sales.name}: {sentence(error)}", wants_json)
    found = propose(sheet)
    taken = {one.place for one in found}
    left = [name for place, name in enumerate(sheet.header) if place not in taken]
    if wants_json:
        matched = {
            one.field: {"column": sheet.header[one.place], "number": one.place + 1, "why": one.why}
            for one in found
        }
        print_json({"columns": matched, "left_out": left})
        return
    lines = ["COLUMNS, as proposed", f"  {'field':<10}{'column':<28}why"]
    lines += [f"  {one.field:<10}{sheet.header[one.place][:26]:<28}{one.why}" for one in found]
    lines += paragraphs("Left out", left)
    click.echo("\n".join([*lines, "", "Set it right with --columns 'field=NAME, field=NUMBER'."]))


def _card(out: dict[str, Any]) -> list[str]:
    unit, band = f" {out['currency']}".rstrip(), out["band"]
    lines = [f"WORTH, at grade {out['grade']:g}", *paragraphs("In a sentence", [out["says"]]), ""]
    if band is not None:
        middle, low, high = band_text(out["median"]["value"], band["low"], band["high"])
        source = "by the sales" if out["interval"] else "as typed"
        lines.append(f"  {'median':<26}{middle}{unit}: {out['median']['says']}")
        if out["mean"]["value"] is not None:
            mean = band_text(out["mean"]["value"], band["low"], band["high"])[0]
            lines.append(f"  {'mean':<26}{mean}{unit}: {out['mean']['says']}")
        name = f"next sale, {100 * band['level']:.0f} %"
        lines.append(f"  {name:<26}{low} to {high}{unit}, {source}")
    if out["median"]["low90"] is not None:
        one = out["median"]
        _, low, high = band_text(one["value"], one["low90"], one["high90"])
        lines.append(f"  {'median known to, 90 %':<26}{low} to {high}{unit}")
    lines.append(f"  {'sales used':<26}{out['n_used']}")
    if out["per_grade_pct"] is not None:
        lines.append(f"  {'a grade higher':<26}{out['per_grade_pct']['value']:+.0f} %")
    if out["trend"] is not None:
        one = out["trend"]
        lines.append(
            f"  {'a year':<26}{one['value']:+.0f} % ({one['low90']:+.0f} to {one['high90']:+.0f})"
        )
    if out["age_years"] is not None:
        ages = out["age_years"]
        lines.append(
            f"  {'age of the sales, years':<26}newest {ages['newest']:.1f}, middle "
            f"{ages['middle']:.1f}, oldest {ages['oldest']:.1f}"
        )
    if out["fee_pct"] is not None:
        lines.append(f"  {'fees, of the price':<26}{out['fee_pct']['value']:.0f} % "
                     "(the values above are before fees)")  # fmt: skip
    if out["account"] is not None:
        lines += _account(out["account"], unit)
    lines += paragraphs(
        "Why this", [out["model"], *([out["trend"]["says"]] if out["trend"] else [])]
    )
    if out["no_interval"] is not None and out["n_used"]:
        lines += paragraphs("No interval", [f"{out['no_interval']}."])
    lines += paragraphs("Set aside", [f"{one['says']}." for one in out["set_aside"]])
    return lines + paragraphs("What to know", out["warnings"])


def _account(one: dict[str, Any], unit: str) -> list[str]:
    lines = ["", "Account"]
    lines += [f"  {row['name']:<26}{row['amount']:>12}" for row in one["lines"]]
    profit = one["profit"]
    ends = (
        "" if profit["low90"] is None or profit["low90"] == profit["high90"]
        else f"  ({profit['low90']:.0f} to {profit['high90']:.0f})"
    )  # fmt: skip
    lines.append(f"  {'profit':<26}{profit['text']:>12}{unit}, {profit['says']}{ends}")
    lines.append(f"  {'own time not counted':<26}{one['profit_before_time']['text']:>12}")
    if "per_hour" in one:
        lines.append(f"  {'an hour earns':<26}{one['per_hour']['text']:>12}")
    lines.append(f"  {'least price without loss':<26}{one['break_even']['text']:>12}")
    return [*lines, f"  Rounded: {one['rounding']}."]
