"""``quirewell find``: words in every record of a studio."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import print_json
from quirewell.stages.search_view import HitItemView, SearchView, search_view
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False), help="The studio's folder.",
)  # fmt: skip
@click.option("--item", default="", metavar="ITEM", help="Look in this item only (id or title).")
@click.option(
    "--page", default=1, show_default=True, type=click.IntRange(1, 1_000_000),
    help="Page of what was found, twenty items each.",
)  # fmt: skip
@JSON
def find(words: tuple[str, ...], folder: Path, item: str, page: int, wants_json: bool) -> None:
    """Find WORDS in titles, years, notes, readings, defects, steps, file names, clients, recipes.

    The beginning of a word is enough; capitals and accents do not matter. A record is found when
    every word begins a word in it; the words of an item's title count for each of its records.
    Names and prices are found too: what is printed is for the bench.

    \b
    Examples:
      quirewell find tideline --studio larkmoor
      quirewell find copperbeck 1936 --studio larkmoor --json
    """
    try:
        with Studio.open(folder) as studio:
            only = (studio.find(item) or "") if item else ""
            if item and not only:
                studio.state(item)
            seen = search_view(studio, " ".join(words), private=True, page=page, item=only)
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    if wants_json:
        print_json(_json(seen))
        return
    click.echo(seen.says)
    for one in seen.items:
        click.echo(_lines(one))
    if seen.pages > 1:
        click.echo(f"Page {seen.page} of {seen.pages}; another with --page.")


def _json(seen: SearchView) -> dict[str, object]:
    made = asdict(seen)
    for item in made["items"]:
        for hit in item["hits"]:
            hit["text"] = "".join(text for text, _ in hit["parts"])
            hit["marked"] = [text for text, is_hit in hit.pop("parts") if is_hit]
    return made


def _lines(item: HitItemView) -> str:
    lines = ["", f"{item.title}{f', {item.year}' if item.year else ''}  ({item.id})"]
    for hit in item.hits:
        text = "".join(f"[{part}]" if is_hit else part for part, is_hit in hit.parts)
        where = f", {hit.where}" if hit.where else ""
        lines.append(f"  {hit.what}{where}: {text}")
    if item.more:
        lines.append(f"  and {item.more} more")
    return "\n".join(lines)
