"""``quirewell studio links``: the links by which owners read the report on their item."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import print_json
from quirewell.cli.serve import PORT
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

if TYPE_CHECKING:
    from quirewell.web.links import Link, Links


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--make", "item", default="", metavar="ITEM", help="Make a link to this item.")
@click.option("--days", type=int, metavar="N", help="With --make: days until it ends, 1 to 90; 14.")
@click.option("--for", "whom", default="", metavar="WORDS",
              help="With --make: for whom, for this list only.")  # fmt: skip
@click.option("--take-back", default="", metavar="ID", help="End the link of this id at once.")
@click.option("--port", type=click.IntRange(1, 65535), metavar="PORT",
              help=f"With --make: as given to `serve --lan`; {PORT}.")  # fmt: skip
@click.option("--name", default="", metavar="NAME", help="With --make: as given to `serve --lan`.")
@click.option("--address", "addresses", multiple=True, metavar="IP",
              help="With --make: as given to `serve --lan`.")  # fmt: skip
@JSON
def links(
    folder: Path, item: str, days: int | None, whom: str, take_back: str, port: int | None,
    name: str, addresses: tuple[str, ...], wants_json: bool,
) -> None:  # fmt: skip
    """List the links for owners of the studio DIR; make one, or take one back.

    Whoever opens a link reads the report of its one item and fetches it as a PDF, without names and
    prices, until the link ends. It opens while the studio is served with --lan. Its address is
    shown this once; kept is its hash. This works while the studio is served, and at once.

    \b
    Examples:
      quirewell studio links larkmoor
      quirewell studio links larkmoor --make copperbeck-garden-annual --days 30 --json
      quirewell studio links larkmoor --take-back 1f6f0a9c2b7d4e58
    """
    _fit(item, take_back, days, whom, port, name, addresses)
    said: dict[str, Any] = {}
    lines: list[str] = []
    try:
        with Studio.open(folder) as studio:
            held = _links(studio.folder.absolute())
            if item:
                url, made = _make(studio, held, item, days, whom, port or PORT, name, addresses)
                said |= {"made": _told(made, held), "address": url}
                lines += [
                    url,
                    "It is shown this once; the studio keeps its hash. It ends on "
                    f"{made.until:%-d %B %Y}.",
                    "Whoever has it can open it while the studio is served with --lan.",
                ]
            if take_back:
                found = held.take_back(take_back.strip())
                if found is None:
                    raise StudioError(
                        f"there is no link {take_back!r}; this command without --take-back lists "
                        "all with their ids"
                    )
                said |= {"taken_back": found.id}
                lines.append(f"The link {found.id} to {found.item} opens nothing any more.")
            every = held.all()
            titles = studio.titles([one.item for one in every])
            said |= {"links": [_told(one, held) for one in every]}
            if not lines:
                lines = [_line(one, held, titles) for one in every] or ["There is no link."]
    except StudioError as error:
        raise click.ClickException(f"{str(error).rstrip('.')}.") from error
    if wants_json:
        print_json(said)
    else:
        click.echo("\n".join(lines))


def _fit(
    item: str, take_back: str, days: int | None, whom: str, port: int | None, name: str,
    addresses: tuple[str, ...],
) -> None:  # fmt: skip
    """Refuse what does not go together."""
    if item and take_back:
        raise click.UsageError("Give --make or --take-back, one after the other.")
    if not item and (days is not None or whom or port or name or addresses):
        raise click.UsageError("--days, --for, --port, --name and --address belong to --make.")


def _links(folder: Path) -> Links:
    from quirewell.web.links import Links

    return Links(folder)


def _make(
    studio: Studio, held: Links, item: str, days: int | None, whom: str, port: int, name: str,
    addresses: tuple[str, ...],
) -> tuple[str, Link]:  # fmt: skip
    """The address of a new link, and the link."""
    from quirewell.web.addresses import BadAddress, find_reach
    from quirewell.web.links import DAYS, BadLink

    id = studio.find(item)
    if id is None:
        raise StudioError(f"there is no item {item!r}; give its title or its id")
    try:
        reach = find_reach(name, addresses)
        token, made = held.make(id, str(DAYS if days is None else days), whom)
    except (BadAddress, BadLink) as error:
        raise StudioError(str(error)) from error
    return f"{reach.urls(port)[0]}seen/{token}", made


def _told(one: Link, held: Links) -> dict[str, Any]:
    """A link as plain data; its hash is told to nobody."""
    told = asdict(one)
    del told["token"]
    return told | {"stands": held.stands(one)}


def _line(one: Link, held: Links, titles: dict[str, tuple[str, str]]) -> str:
    title = titles.get(one.item, (one.item, ""))[0]
    ends = f"ends {one.ends[:10]}" if held.stands(one) else "ended"
    used = f"last used {one.used[:16].replace('T', ' ')} UTC" if one.used else "never used"
    whom = f", for {one.name}" if one.name else ""
    return f"{one.id}  {title}{whom}: made {one.made[:10]}, {ends}, {used}"
