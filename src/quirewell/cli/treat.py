"""``quirewell treat``: the steps there are, and what was done to an item."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import K95
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.treat_view import kind_row, view


@click.group()
def treat() -> None:
    """Treatment: the steps there are, and what was done to an item."""


@treat.command()
@click.argument("kind", required=False, metavar="[KIND]")
@JSON
def kinds(kind: str | None, wants_json: bool) -> None:
    """The table of steps: how wet, how permanent, what each takes away, and its cautions.

    \b
    Examples:
      quirewell treat kinds
      quirewell treat kinds lime-bath
    """
    if kind is not None and kind not in STEP_KINDS:
        raise click.ClickException(f"no kind of step {kind!r}; there are {', '.join(STEP_KINDS)}.")
    rows = [kind_row(row) for row in STEP_KINDS.values() if kind in (None, row.key)]
    if wants_json:
        click.echo(json.dumps({"kinds": rows}, indent=2))
    elif kind is None:
        click.echo("\n".join(_kind_line(row) for row in rows))
    else:
        click.echo(_kind_card(rows[0]))


@treat.command()
@click.argument("item", required=False, metavar="[ITEM]")
@click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False), help="The studio's folder.",
)  # fmt: skip
@JSON
def show(item: str | None, folder: Path, wants_json: bool) -> None:
    """What was done to an item: steps, ink tests, readings, baths.

    ITEM is an id or a title; it may be left out where the studio holds one item.

    \b
    Example:
      quirewell treat show --studio demo-studio --json
    """
    seen = view(_state(folder, item))
    if wants_json:
        omitted = ("kinds", "quantities", "ph_methods")
        out = {key: value for key, value in seen.items() if key not in omitted}
        click.echo(json.dumps(out, indent=2))
    else:
        click.echo(_course(seen))


def _state(folder: Path, item: str | None) -> ItemState:
    from quirewell.cli.options import item_meant
    from quirewell.studio.faults import StudioError
    from quirewell.studio.studio import Studio

    try:
        with Studio.open(folder) as studio:
            found, known = item_meant(studio, item)
            if found is None:
                asked = f"no item {item!r}" if item else "say which item"
                raise click.ClickException(f"{asked}; this studio holds {known}.")
            return studio.state(found)
    except StudioError as error:
        raise click.ClickException(str(error)) from error


def _kind_line(row: dict[str, Any]) -> str:
    asks = "ink test first" if row["aqueous"] else ""
    return (
        f"{row['key']:<16}{row['name']:<26}{row['permanence']:<14}{row['wets']:<8}{asks}".rstrip()
    )


def _kind_card(row: dict[str, Any]) -> str:
    lines = [row["name"].upper(), "", "Before it begins"]
    lines += [_item(f"[{entry['to']}] {entry['says']}") for entry in row["cautions"]]
    lines += [_item(says) for says in row["protective"]]
    lines += ["", "The step", _item(row["does"]), _item(f"{row['permanence_says']}.")]
    if row["evidence"]:
        lines.append(_item(f"It takes away: {row['evidence']}."))
    lines += [_item(f"Usual materials: {', '.join(row['materials'])}."), ""]
    return "\n".join([*lines, f"Standing: {row['standing']}{_source(row)}."])


def _source(row: dict[str, Any]) -> str:
    return f" ({row['source']})" if row["source"] else ""


def _course(seen: dict[str, Any]) -> str:
    lines = ["Steps"]
    for row in seen["steps"]:
        when = row["done_at"] or row["started_at"]
        minutes = "" if row["minutes"] is None else f", {row['minutes']:g} min"
        lines.append(
            _item(f"{row['name']} ({row['where']}): {row['state_says']}{minutes} {when}".rstrip())
        )
        lines.append(f"      {row['permanence']}")
        lines += [_item(f"before it starts: {says}") for says in row["before"]]
    lines += ["", "Ink tests"]
    lines += [
        _item(f"{row['colour']} on {row['where']} in {row['liquid']}: {row['result']}")
        for row in seen["spot_tests"]
    ]
    lines += ["", "Readings"]
    lines += [_item(_reading_words(row)) for row in seen["readings"]]
    if seen["wet_now"]:
        lines += ["", f"Wet by this record: {', '.join(seen['wet_now'])}"]
    return "\n".join([*lines, "", _item(seen["cheap_tool"])])


def _reading_words(row: dict[str, Any]) -> str:
    spread = "" if row["u"] is None else f" (\u00b1 {K95 * row['u']:.2g})"
    heat = "" if row["temperature_c"] is None else f" at {row['temperature_c']:g} °C"
    how = f", {row['method']}" if row["method"] else ""
    return f"{row['name']} of {row['where']}: {row['said']}{spread}{heat}{how} {row['moment']}"


def _item(says: str) -> str:
    return textwrap.fill(says, 88, initial_indent="  - ", subsequent_indent="    ")
