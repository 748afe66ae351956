"""``quirewell share``: a folder of before and after that can be shown to anybody."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import WIDTH, paragraphs
from quirewell.cli.report import STUDIO, item_of, opened
from quirewell.exchange.share import NotShared, Shared, refuse, write_share
from quirewell.exchange.share_film import NoFilm
from quirewell.exchange.share_page import size_words
from quirewell.exchange.share_plan import FILMS, READ_THEM, Plan, Wanted, make_plan, shots_of


@click.command()
@click.argument("item")
@STUDIO
@click.option(
    "-o",
    "--output",
    default="share",
    show_default=True,
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where the folder goes; a new one.",
)
@click.option("--one-file", is_flag=True, help="Also the page as one file that holds its pictures.")
@click.option(
    "--film",
    type=click.Choice(FILMS),
    default="webm",
    show_default=True,
    help="The wipe as a short film.",
)
@click.option(
    "--pictures",
    default="",
    metavar="KEYS",
    help="Which pictures, with commas between (see --dry-run), or all; else the usual ones.",
)
@click.option(
    "--title", default="", metavar="TEXT", help="A title to show instead of the record's."
)
@click.option(
    "--title-seen", is_flag=True, help="The title may stay although it holds a private name."
)
@click.option("--no-plates", is_flag=True, help="Leave the plates out.")
@click.option("--dry-run", is_flag=True, help="Show what would be in and what not; write nothing.")
@JSON
def share(
    item: str,
    folder: Path,
    output: Path,
    one_file: bool,
    film: Any,
    pictures: str,
    title: str,
    title_seen: bool,
    no_plates: bool,
    dry_run: bool,
    wants_json: bool,
) -> None:
    """Make a folder of ITEM before and after that can be put on any web host or shown at a talk.

    It holds a page that loads nothing from elsewhere, plates, a film of the wipe, captions with
    each change and what it could have missed, and a listing for a sale that discloses every step.
    Names, prices, places and camera data stay in the studio: a text that holds one of them stops
    the folder and is named.

    \b
    Examples:
      quirewell share annual --studio larkmoor --dry-run
      quirewell share annual --studio larkmoor -o to-show --one-file
      quirewell share annual --studio larkmoor -o talk --pictures photo.front,c.outer.right
    """  # fmt: skip
    with opened(folder) as studio:
        state, bench = item_of(studio, item), studio.bench()
        every = tuple(one.key for one in shots_of(state))
        wanted = Wanted(
            _keys(pictures, every), {}, title, film, not no_plates, one_file, title_seen
        )
        plan = make_plan(state, bench, wanted)
        if dry_run:
            click.echo(json.dumps(_plan_json(plan), indent=2, ensure_ascii=False) if wants_json
                       else "\n".join(_plan_lines(plan)))  # fmt: skip
            return
        try:
            refuse(plan)
            made = write_share(
                plan,
                state,
                bench,
                studio.blobs.path,
                output,
                lambda says: click.echo(f"{says} ...", err=True),
            )
        except (NotShared, NoFilm) as error:
            raise click.ClickException(str(error)) from error
    click.echo(json.dumps(_made_json(made), indent=2) if wants_json else _made(made))


def _keys(text: str, every: tuple[str, ...]) -> tuple[str, ...] | None:
    if text.strip() == "all":
        return every
    keys = tuple(part.strip() for part in text.split(",") if part.strip())
    return keys or None


def _plan_json(plan: Plan) -> dict[str, Any]:
    return {
        "title": plan.title, "year": plan.year,
        "pictures": [{"key": one.key, "name": one.name, "caption": one.caption,
                      "curtain": one.registered} for one in plan.shots],
        "not_in": [{"key": one.key, "name": one.name} for one in plan.more],
        "film_of": plan.film_of.key if plan.film_of else None,
        "listing": plan.listing,
        "left_out": [{"what": what, "why": why} for what, why in plan.left_out],
        "problems": list(plan.problems), "asks": list(plan.asks), "mind": READ_THEM,
    }  # fmt: skip


def _plan_lines(plan: Plan) -> list[str]:
    lines = [f"Would be in: {plan.title}{', ' + plan.year if plan.year else ''}"]
    for one in plan.shots:
        lines.append(f"  {one.key}: {one.name}{' (curtain)' if one.registered else ''}")
        lines.append(textwrap.fill(one.caption, WIDTH, initial_indent="    ",
                                   subsequent_indent="    "))  # fmt: skip
    if not plan.shots:
        lines.append("  no picture")
    lines.append(f"  film of: {plan.film_of.name}" if plan.film_of else "  no film")
    lines += ["", "The listing:", *(f"  {line}".rstrip() for line in plan.listing.splitlines())]
    if plan.more:
        lines += paragraphs("Not in, and could be:", [f"{x.key}: {x.name}" for x in plan.more])
    lines += paragraphs("Left out:", [f"{what}: {why}." for what, why in plan.left_out])
    lines += paragraphs("To be looked at:", [*plan.problems, *plan.asks, READ_THEM])
    return lines


def _made_json(made: Shared) -> dict[str, Any]:
    return {
        "folder": str(made.folder),
        "bytes": made.size,
        "one_file_px": made.one_file_px,
        "files": [{"name": name, "bytes": size} for name, size in made.files],
    }


def _made(made: Shared) -> str:
    lines = [f"{made.folder}: {len(made.files)} files, {size_words(made.size)}."]
    if made.one_file_px:
        size = dict(made.files)["one-page.html"]
        lines.append(f"one-page.html: {size_words(size)}, pictures of up to {made.one_file_px} px.")
    return "\n".join([*lines, READ_THEM])
