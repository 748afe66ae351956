"""``quirewell weigh``: what to do with an item, or whether to leave it alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.creep import read_text
from quirewell.cli.options import JSON, open_studio, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages import weighing
from quirewell.stages.asking import unit_text
from quirewell.stages.methods import run_method
from quirewell.stages.weigh_begin import weigh_begins
from quirewell.stages.weigh_file import read_items
from quirewell.stages.weigh_view import gain_words, grades, life
from quirewell.stages.weighed_told import share
from quirewell.stages.working import newest
from quirewell.stages.working_rows import PLAN, WORKINGS
from quirewell.studio.studio import Studio

_CONDITION = ("defects", "rules", "scale", "returns", "adding")
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("items", nargs=-1, metavar="[ITEM]...")
@click.option(
    "--studio", "folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False),
    help="The studio's folder.",
)  # fmt: skip
@click.option("--table", type=_FILE, help="Items in a file (TOML) instead of a studio.")
@click.option("--aim", type=click.Choice(["gain", "permanence", "both"]), help="What is sought.")
@JSON
def weigh(
    items: tuple[str, ...], folder: Path | None, table: Path | None, aim: str | None,
    wants_json: bool,
) -> None:  # fmt: skip
    """Weigh leaving alone, pressing, a partial and a full treatment, and your own options.

    ITEMs are ids or titles of a studio (all of it where none is named): what record and books know
    is weighed, and nothing is saved. Or --table FILE with items, damage, prices and own options.
    Several items give a table, one item its whole card.

    \b
    Examples:
      quirewell weigh --studio demo-studio
      quirewell weigh --table examples/weigh/annual.toml
      quirewell weigh --table examples/weigh/shelf.toml --json
    """
    if (folder is None) == (table is None):
        fail("Give --studio DIR with ITEMs, or --table FILE; one of them.", wants_json)
    if table is not None:
        if items:
            fail("ITEMs are of a studio; a file's items are all weighed.", wants_json)
        asked = _from_file(table, wants_json)
    else:
        assert folder is not None
        with open_studio(folder, wants_json) as studio:
            asked = _from_studio(studio, items, wants_json)
    out = []
    for name, params in asked:
        try:
            run = run_method(
                weighing.METHOD, PLAN, {}, (),
                {key: text for key, text in ({**params, "aim": aim} if aim else params).items()
                 if text},
            )  # fmt: skip
        except ValueError as error:
            fail(f"{name}: {sentence(error)}", wants_json)
        out.append({"item": name, **_data(run)})
    if wants_json:
        print_json({"items": out})
        return
    click.echo("\n".join(_card(out[0]) if len(out) == 1 else _table(out)))


def _data(run: Run) -> dict[str, Any]:
    return weighing.as_json(run)


def _from_file(path: Path, wants_json: bool) -> list[tuple[str, dict[str, str]]]:
    def text_of(name: str) -> str:
        held = path.parent / name
        if not held.is_file():
            fail(f"{path.name} names {name}, which is not beside it.", wants_json)
        return read_text(held, wants_json)

    try:
        return list(read_items(read_text(path, wants_json), text_of))
    except ValueError as error:
        fail(f"{path.name}: {sentence(error)}", wants_json)


def _from_studio(
    studio: Studio, names: tuple[str, ...], wants_json: bool
) -> list[tuple[str, dict[str, str]]]:
    lines = studio.items()
    chosen = []
    for name in names:
        mine = [one for one in lines if name.casefold() in (one.id, one.title.casefold())]
        if len(mine) != 1:
            there = ", ".join(one.id for one in lines[:20]) or "none"
            fail(f"No one item is called {name!r}; there are {there}.", wants_json)
        chosen += mine
    bench = studio.bench()
    every = (studio.state(line.id) for line in chosen or lines)
    found = [(_named(one), _params(one, weigh_begins(one, bench))) for one in every]
    if not found:
        fail("This studio holds no item yet.", wants_json)
    return found


def _named(state: ItemState) -> str:
    return " ".join(part for part in (state.item.title, state.item.year) if part)


def _params(state: ItemState, begun: dict[str, str]) -> dict[str, str]:
    """What was typed at the last weighing, over what record and books know; damage, sales and the
    like as they are known now."""
    run = newest(state, WORKINGS["weigh"])
    typed = {} if run is None else run.params
    now = {name: begun[name] for name in (*_CONDITION, "sales", "item")
           if begun.get(name)}  # fmt: skip
    return {
        name: text for name, text in {**begun, **typed, **now}.items() if name in weighing.KNOWN
    }


def _gain(one: dict[str, Any], unit: str) -> str:
    gain = one["net_gain"]
    if gain["value"] is None:
        return "no price known"
    if one["kind"] == "leave":
        return "0"
    return f"{gain_words(gain)} {unit}".strip()


def _loss(one: dict[str, Any]) -> str:
    if one["chance_of_loss"] is None:
        return ""
    return "none" if one["kind"] == "leave" else share(one["chance_of_loss"])


def _hours(one: dict[str, Any]) -> str:
    hours = one["hours"]
    return "0" if not hours["value"] else f"{hours['low90']:.3g} to {hours['high90']:.3g}"


def _table(items: list[dict[str, Any]]) -> list[str]:
    """Several items: a row each, then why."""
    wide = min(max(len(one["item"]) for one in items), 32) + 2
    lines = [f"{'item':<{wide}}{'best':<20}{'gain (90 %)':<30}{'loss':<11}hours"]
    for one in items:
        best = next(row for row in one["options"] if row["name"] == one["best"])
        money = one["aim"] != "permanence"
        lines.append(
            f"{one['item'][: wide - 2]:<{wide}}{best['name'][:18]:<20}"
            f"{_gain(best, unit_text(one['unit'])) if money else '':<30}"
            f"{_loss(best) if money else '':<11}{_hours(best)}"
        )
    return [*lines, *paragraphs("Why", [f"{one['item']}: {one['says']}" for one in items])]


def _not_yet(says: list[str], told: set[str]) -> list[str]:
    """Risks not yet told of an option above; how many of those there are, in a line."""
    new = [line for line in says if line not in told]
    told.update(new)
    again = len(says) - len(new)
    return [*new, *([f"and {again} told above"] if again else [])]


def _card(one: dict[str, Any]) -> list[str]:
    """One item: every option, and how its number comes about."""
    unit, money = unit_text(one["unit"]), one["aim"] != "permanence"
    lines = ["OPTIONS", *paragraphs(one["item"], [one["says"]]), ""]
    head = f"{'gain (90 %)':<30}{'loss':<11}" if money else ""
    lines.append(f"  {'option':<22}{head}{'hours':<12}lasts")
    for row in one["options"]:
        middle = f"{_gain(row, unit):<30}{_loss(row):<11}" if money else ""
        lasts = "as it is" if row["kind"] == "leave" else life(row["life_ratio"])
        lines.append(f"  {row['name'][:20]:<22}{middle}{_hours(row):<12}{lasts}")
    told: set[str] = set()
    for row in one["options"]:
        if row["kind"] == "leave":
            continue
        lines += ["", f"{row['name']}{', flagged' if row['flag'] else ''}"]
        if money and row["net_gain"]["value"] is not None:
            lines += [f"  {line['name']:<38}{line['amount']:>12.2f}" for line in row["lines"]]
            lines.append(f"  {'net gain':<38}{row['net_gain']['value']:>12.2f} {unit}".rstrip())
        after = f"Grade afterwards: {grades(row['grades'])}." if row["grades"] else ""
        said = [row["flag"], row["mind"], after]
        lines += paragraphs("To mind", [part for part in said if part])
        lines += paragraphs("It may hurt the object", _not_yet(row["risks_object"], told))
        lines += paragraphs("It may hurt you", _not_yet(row["risks_worker"], told))
        lines += paragraphs("A buyer must be told", row["tell_buyer"])
    lines += paragraphs("What would change this", [part["says"] for part in one["sensitivity"]])
    lines += paragraphs("To narrow it", [one["narrows"]] if one["narrows"] else [])
    return lines + paragraphs("What to know", one["warnings"])
