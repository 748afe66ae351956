"""``quirewell studio originals``: where the originals lie, and moving them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.studio.faults import StudioError
from quirewell.studio.moving_originals import (
    Moved,
    Standing,
    move_originals,
    remove_old,
    standing,
)
from quirewell.studio.originals_address import HERE
from quirewell.studio.studio import Studio


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--to",
    default="",
    metavar="PLACE",
    help="Move them: a new folder (also on a mounted network share), s3://BUCKET/PREFIX, or here "
    "for the studio's own folder.",
)
@click.option(
    "--remove-old",
    is_flag=True,
    help="Remove the copies a move left on this machine, each after its twin was read again.",
)
@JSON
def originals(folder: Path, to: str, remove_old: bool, wants_json: bool) -> None:
    """Say where the originals of the studio DIR lie, or move them to another place.

    Every original is copied, read back there and compared by its hash; only then does the studio
    use the new place. A move that was cut short goes on when begun again. The old copies stay until
    --remove-old. A shared folder or store is never emptied by this command: other machines may
    read it.

    For an S3-compatible store the credentials, the region and the address of the server come from
    the environment (AWS_PROFILE, AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, AWS_ENDPOINT_URL) or
    from the S3 client's own files; none of it is written into the studio.

    \b
    Examples:
      quirewell studio originals larkmoor
      quirewell studio originals larkmoor --to /mnt/share/larkmoor-originals
      quirewell studio originals larkmoor --to s3://larkmoor/originals
      quirewell studio originals larkmoor --to here
    """
    if to and remove_old:
        raise click.UsageError("Give --to or --remove-old, one after the other.")
    try:
        with Studio.open(folder) as studio:
            if to:
                moved = move_originals(studio.blobs, to, _bar("copied and compared"))
                said, words = moved.as_json(), _moved_words(moved, folder)
            elif remove_old:
                said, words = _remove(studio)
            else:
                stands = standing(studio.blobs)
                said, words = stands.as_json(), _standing_words(stands)
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    click.echo(json.dumps(said, indent=2, ensure_ascii=False) if wants_json else words)


def _remove(studio: Studio) -> tuple[dict[str, Any], str]:
    files, size = remove_old(studio.blobs, _bar("read again and removed"))
    words = f"{files} copies were removed from this machine, {size / 1e6:.1f} MB."
    return {"removed": files, "bytes": size}, words


def _moved_words(moved: Moved, folder: Path) -> str:
    count = f"{moved.originals} originals, {moved.bytes / 1e6:.1f} MB"
    if moved.at == moved.before:
        return f"The originals lie there already: {_named(moved.at)} ({count})."
    old = (
        f"The old copies are still in {folder / 'originals'}; look over everything with: quirewell "
        f"studio check {folder}. Then remove them with: quirewell studio originals {folder} "
        "--remove-old"
        if moved.before == HERE
        else f"The old copies are still in {moved.before}; no machine that shares them loses them"
    )
    return (
        f"The originals lie in {_named(moved.at)} now: {count}, each read back and compared; "
        f"{moved.copied} were not there before.\n{old}."
    )


def _standing_words(stands: Standing) -> str:
    place, size = _named(stands.at), stands.bytes / 1e6
    lines = [f"The originals lie in {place}: {stands.originals}, {size:.1f} MB."]
    if stands.old:
        lines.append(
            f"Old copies in the studio's own folder: {stands.old}, {stands.old_bytes / 1e6:.1f} MB "
            "(--remove-old removes them)."
        )
    if stands.at != HERE:
        lines.append(
            f"Copies fetched to this machine: {stands.cached}, {stands.cached_bytes / 1e6:.1f} MB."
        )
    if stands.abandoned:
        lines.append(f"Uploads begun days ago and never finished, now removed: {stands.abandoned}.")
    return "\n".join(lines)


def _named(place: str) -> str:
    return "the studio's own folder" if place == HERE else place


def _bar(words: str) -> Any:
    def show(done: int, total: int) -> None:
        if done == total or done % 20 == 0:
            click.echo(f"{words} {done} of {total}", err=True)

    return show
