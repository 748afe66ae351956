"""What verbs that ask a method share: options from rows, ``--json``, a plain form, the asking."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from quirewell.cli.output import fail
from quirewell.record.finding import Input, Run
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

JSON = click.option(
    "--json", "wants_json", is_flag=True, help="JSON on standard output, nothing else."
)
# An option: its names (a parameter's own name last, where it is another), what stands for its
# value, what it is; its usual text, where the command line gives one.
Row = tuple[str, str, str] | tuple[str, str, str, str]


def text_options(rows: tuple[Row, ...]) -> Callable[[Any], Any]:
    """Options that take text, a row each."""

    def add(command: Any) -> Any:
        for names, metavar, says, *usual in reversed(rows):
            default = "".join(usual)
            command = click.option(
                *names.split(), default=default, show_default=bool(default), metavar=metavar,
                help=says,
            )(command)  # fmt: skip
        return command

    return add


def known_greys(command: Any) -> Any:
    """``--greys`` and ``--greys-u``: what an instrument read on the strip's grey steps."""
    for add in reversed((
        click.option(
            "--greys", default="", metavar="'L L L L L L'",
            help="Lightness L* of the strip's six grey steps, darkest first, as an instrument "
            "read them.",
        ),
        click.option(
            "--greys-u", type=click.FloatRange(0, 10, min_open=True), default=0.3,
            show_default=True, metavar="L", help="Standard uncertainty of each of them.",
        ),
    )):  # fmt: skip
        command = add(command)
    return command


class PlainFirst(click.Group):
    """A group whose plain form is one of its sub-verbs, ``plain``."""

    def __init__(self, *arguments: Any, plain: str, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self.plain = plain

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the plain sub-verb first where none is named."""
        if args and args[0] not in self.commands and args[0] not in ("--help", "-h"):
            args = [self.plain, *args]
        return super().parse_args(ctx, args)


def sentence(error: Exception) -> str:
    """What an error says, with one full stop, or its question mark."""
    says = f"{error}".rstrip(".")
    return says if says.endswith("?") else f"{says}."


def ask(
    method: str, subject: str, params: Mapping[str, str], wants_json: bool,
    files: Mapping[str, Path] | None = None, inputs: tuple[Input, ...] = (),
) -> Run:  # fmt: skip
    """Run a method on what was given (empty texts left out), or end with its sentence."""
    given = {name: text for name, text in params.items() if text}
    try:
        return run_method(method, subject, files or {}, inputs, given)
    except ValueError as error:
        fail(sentence(error), wants_json)


@contextmanager
def open_studio(folder: Path | str, wants_json: bool) -> Iterator[Studio]:
    """A studio to work in; its refusals end the verb with their sentence."""
    try:
        with Studio.open(Path(folder)) as studio:
            yield studio
    except (Refusal, StudioError) as error:
        fail(sentence(error), wants_json)


def item_meant(studio: Studio, words: str | None) -> tuple[str | None, str]:
    """Id of the item that is meant (the only one where none is named; None where it is not clear),
    and the first of those there are, in words."""
    ids = [line.id for line in studio.page(limit=13)]
    found = studio.find(words) if words else (ids[0] if len(ids) == 1 else None)
    known = ", ".join(ids[:12]) + (" and others" if len(ids) > 12 else "")
    return found, known or "no items yet"
