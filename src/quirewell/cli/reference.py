"""The command reference, from the help: ``python -m quirewell.cli.reference``."""

from __future__ import annotations

import sys
from collections.abc import Iterator

import click

from quirewell.cli.main import main

INTRO = """# Command reference

Written from the commands themselves; `make docs` refuses a stale copy.
"""


def sections(command: click.Command, path: tuple[str, ...]) -> Iterator[str]:
    """Heading and help text of a command and of all beneath it."""
    context = click.Context(command, info_name=" ".join(path), terminal_width=88)
    mark = "#" * min(len(path) + 1, 4)
    yield f"{mark} `{' '.join(path)}`\n\n```text\n{_clean(command.get_help(context))}\n```\n"
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            if child is not None and not child.hidden:
                yield from sections(child, (*path, name))


def _clean(text: str) -> str:
    return "\n".join(line.rstrip() for line in text.splitlines())


def reference() -> str:
    """The whole reference as Markdown."""
    return "\n".join([INTRO, *sections(main, ("quirewell",))])


if __name__ == "__main__":
    sys.stdout.write(reference())
