"""``quirewell books``: own sales, a collection, wants, stock, and what the bench learned."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, open_studio, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.books import Sale
from quirewell.record.finding import Run
from quirewell.stages import item_entry, sale_entry
from quirewell.stages.all_items import COSTS, materials_used
from quirewell.stages.books import wanted_states, wants_view
from quirewell.stages.column_match import table_text, told_columns
from quirewell.stages.memory import memory_run, memory_told
from quirewell.stages.own_sales import plain, rates_of, sales_of, sales_table
from quirewell.stages.plain_table import TableError
from quirewell.stages.stock import stock_view
from quirewell.studio.studio import STUDIO, Studio

_STUDIO = click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False), help="The studio's folder.",
)  # fmt: skip
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.group()
def books() -> None:
    """The books of the practice: sales, a collection, wants, stock, memory.

    \b
    Examples:
      quirewell books import sales.csv --studio larkmoor
      quirewell books memory --studio larkmoor --json
    """


@books.command("list")
@_STUDIO
@click.option("--title", default="", metavar="TITLE", help="Only sales of this title.")
@click.option("--table", is_flag=True, help="As the table that `quirewell worth` reads.")
@JSON
def list_sales(folder: Path, title: str, table: bool, wants_json: bool) -> None:
    """The sales in the books, oldest first.

    \b
    Example:
      quirewell books list --studio larkmoor --title "Copperbeck Garden Annual"
    """
    with open_studio(folder, wants_json) as studio:
        bench = studio.bench()
    held = sales_of(bench, title)
    if wants_json:
        rates = rates_of(bench)
        numbers = ("hour", "overhead_pct", "sale_fee_pct")
        print_json({
            "sales": [_sale_json(one) for one in held],
            "rates": {"currency": rates.currency} | {
                name: None if getattr(rates, name) is None else float(getattr(rates, name))
                for name in numbers
            },
        })  # fmt: skip
    elif table:
        click.echo(sales_table(bench, title).rstrip())
    elif not held:
        click.echo("No sale is in the books." if not title else f"No sale is of {title!r}.")
    else:
        click.echo("\n".join(_sale_line(one) for one in held))


def _sale_json(one: Sale) -> dict[str, Any]:
    return {
        "id": one.id, "title": one.title, "price": float(one.price), "price_text": plain(one.price),
        "currency": one.currency, "grade": None if one.grade is None else float(one.grade),
        "on": one.on or None, "fees": None if one.fees is None else float(one.fees),
        "treated": one.treated, "own": one.own, "item": one.item or None, "note": one.note,
        "came": one.came or None,
    }  # fmt: skip


def _sale_line(one: Sale) -> str:
    grade = "-" if one.grade is None else plain(one.grade)
    money = f"{plain(one.price)} {one.currency}".strip()
    return f"  {one.on or 'no day':<12}{grade:>5}  {money:>14}  {one.title}"


@books.command("import")
@click.argument("file", type=_FILE)
@_STUDIO
@click.option("--collection", is_flag=True, help="The table is of items, not of sales.")
@click.option("--columns", default="", metavar="TEXT",
              help="Which column is which, as in 'item=What, price=3, fee=none'.")  # fmt: skip
@click.option("--decimal", type=click.Choice(["point", "comma"]), default=None,
              help="How decimals are written, where it cannot be told.")  # fmt: skip
@click.option("--day-first", "days", flag_value="dmy", help="Dates have the day first.")
@click.option("--month-first", "days", flag_value="mdy", help="Dates have the month first.")
@click.option("--currency", default="", metavar="NAME", help="Where the table names none.")
@click.option("--title", default="", metavar="TITLE", help="All the sales are of this title.")
@click.option("--again", is_flag=True,
              help="Items the studio has already are second copies: open them.")  # fmt: skip
@click.option("--yes", is_flag=True, help="Keep it; without this it is only shown.")
@JSON
def import_table(
    file: Path, folder: Path, collection: bool, columns: str, yes: bool, wants_json: bool,
    **given: Any,
) -> None:  # fmt: skip
    """Look at a CSV table, and with --yes keep what is new in it.

    Rows that cannot be read are named with the reason, rows that are there already are known
    again; nothing is saved before --yes.

    \b
    Examples:
      quirewell books import sales.csv --studio larkmoor
      quirewell books import sales.csv --studio larkmoor --columns "price=Hammer" --yes
      quirewell books import shelf.csv --collection --studio larkmoor --yes
    """
    form = {name: value for name, value in given.items() if isinstance(value, str)}
    form |= {"again": "yes"} if given.get("again") else {}
    with open_studio(folder, wants_json) as studio:
        try:
            text = table_text(file.read_bytes())
            look = _looker(studio, text, collection)
            seen = look(form)
            if columns:
                fields = item_entry.FIELDS if collection else sale_entry.FIELDS
                names = [key for key, _ in fields]
                form |= told_columns(seen.matched, columns, names)
                seen = look(form)
        except TableError as error:
            fail(f"{file.name}: {sentence(error)}", wants_json)
        kept = _keep(studio, seen, file.name, collection) if yes and _able(seen) else 0
    if wants_json:
        print_json(_seen_json(seen, kept))
        return
    click.echo("\n".join(_seen_lines(seen, kept, yes, "item" if collection else "sale")))


def _looker(studio: Studio, text: str, collection: bool) -> Callable[[dict[str, str]], Any]:
    if collection:
        there = studio.states(*COSTS)
        return lambda form: item_entry.look_items(text, form, there, date.today())
    bench = studio.bench()
    return lambda form: sale_entry.look(bench, text, form, date.today())


def _able(seen: Any) -> bool:
    return bool(seen.taken) and not seen.matched.problems


def _keep(studio: Studio, seen: Any, name: str, collection: bool) -> int:
    if not collection:
        return len(studio.append(STUDIO, None, sale_entry.keep_table(studio.bench(), seen, name)))
    for _, row in seen.taken:
        key = studio.new_id(row.title)
        studio.append(key, 0, item_entry.drafts_of(key, row))
    return len(seen.taken)


def _seen_json(seen: Any, kept: int) -> dict[str, Any]:
    return {
        "columns": {one.name: one.field or None for one in seen.matched.columns},
        "problems": [one.says for one in seen.matched.problems],
        "new": len(seen.taken),
        "set_aside": [{"line": one.line, "says": one.says} for one in seen.aside],
        "there_already": [{"line": one.line, "says": one.says} for one in seen.doubled],
        "kept": kept,
    }


def _seen_lines(seen: Any, kept: int, yes: bool, what: str) -> list[str]:
    lines = ["Columns"]
    lines += [
        f"  {one.name[:28]:<30}{one.field or 'not used':<12}{one.why}"
        for one in seen.matched.columns
    ]
    lines += paragraphs("To set right first", [one.says for one in seen.matched.problems])
    lines += paragraphs("Set aside", [f"line {one.line}: {one.says}" for one in seen.aside])
    lines += paragraphs("There already", [f"line {one.line}: {one.says}" for one in seen.doubled])
    count = f"{len(seen.taken)} new {what}{'' if len(seen.taken) == 1 else 's'}"
    if kept:
        said = f"{count}, kept."
    elif yes or seen.matched.problems:
        said = f"{count}; nothing was kept."
    else:
        said = f"{count}. Nothing is kept yet: say --yes to keep."
    return [*lines, "", said]


@books.command()
@_STUDIO
@JSON
def stock(folder: Path, wants_json: bool) -> None:
    """Lots on the shelf: what is left, until when they keep, what to mind.

    \b
    Example:
      quirewell books stock --studio larkmoor
    """
    with open_studio(folder, wants_json) as studio:
        lots, mind = stock_view(studio.bench(), materials_used(studio), date.today())
    if wants_json:
        print_json({
            "lots": [
                {"material": one.lot.material, "lot": one.lot.lot or None, "left": one.left_says,
                 "keeps_until": one.last_day or None, "gone": one.lot.gone}
                for one in lots
            ],
            "mind": list(mind),
        })  # fmt: skip
        return
    rows = [
        f"  {one.lot.material[:30]:<32}{one.lot.lot:<10}{one.left_says:<22}"
        f"{'gone' if one.lot.gone else one.last_day or ''}".rstrip()
        for one in lots
    ]
    click.echo("\n".join([*(rows or ["Nothing is on the shelf."]), *paragraphs("To mind", mind)]))


@books.command()
@_STUDIO
@JSON
def wants(folder: Path, wants_json: bool) -> None:
    """What is looked for, the copies that stand in, and better ones that came in.

    \b
    Example:
      quirewell books wants --studio larkmoor
    """
    with open_studio(folder, wants_json) as studio:
        rows = wants_view(studio.bench(), wanted_states(studio))
    if wants_json:
        print_json({"wants": [
            {"id": one.want.id, "title": one.want.title, "says": one.says, "met": one.want.met,
             "stands_in": one.stands.item if one.stands else None,
             "copies": [copy.item for copy in one.others], "better": one.better or None}
            for one in rows
        ]})  # fmt: skip
        return
    lines = []
    for one in rows:
        lines.append(f"  {one.want.title}{', met' if one.want.met else ''}  {one.says}".rstrip())
        if one.stands:
            lines.append(f"    standing in: {one.stands.item} ({one.stands.says})")
        lines += [f"    {one.better}"] if one.better else []
    click.echo("\n".join(lines or ["Nothing is looked for."]))


@books.command()
@_STUDIO
@JSON
def memory(folder: Path, wants_json: bool) -> None:
    """What this bench has learned from its own items, with bands and how many they rest on.

    \b
    Example:
      quirewell books memory --studio larkmoor
    """
    with open_studio(folder, wants_json) as studio:
        run = memory_run(studio)
    if wants_json:
        print_json(_memory_json(run))
        return
    lines = [
        "  " + "; ".join(filter(None, (f"{one.what}: {one.says}",
                                       f"90 % band {one.band}" if one.band else "", one.rests)))
        for one in memory_told(run)
    ]  # fmt: skip
    told = lines or ["Nothing is remembered yet; it fills from time, readings, mishaps and sales."]
    click.echo("\n".join([*told, *paragraphs("What it assumes", run.warnings)]))


def _memory_json(run: Run) -> dict[str, Any]:
    rows = [
        {"subject": one.subject, "quantity": one.quantity}
        | (one.measured().as_json() if one.value is not None
           else {"value": None, "u": None, "unit": one.unit})
        | {"says": one.text or one.note}
        for one in run.findings
    ]  # fmt: skip
    return {"memory": rows, "warnings": list(run.warnings), "method": f"{run.method}@{run.version}"}
