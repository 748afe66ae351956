"""Every kind of journal entry and its fields: ``python -m quirewell.record.reference``."""

from __future__ import annotations

import dataclasses
import re
import sys
import types
import typing
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, Literal, Union, get_args, get_origin

from quirewell.record.apply import KINDS, Kind

INTRO = """# Kinds of journal entries

Written from the code that reads them; `make docs` refuses a stale copy. An entry's frame (number,
stream, hash) and how the chain is made stand in [formats](formats.md). Here are the fields of each
entry's `body`. Numbers are decimal text. A field with something under *if left out* may be missing:
entries from before that field was known have none, and are read so.
"""
_NUMBERS = {int: "whole number", float: "number", Decimal: "number", str: "text", bool: "yes or no"}


def reference() -> str:
    """The whole reference as Markdown."""
    parts: dict[str, type] = {}
    lines = [INTRO]
    for where, title in (("item", "Of an item"), ("studio", "Of the studio: bench and books")):
        lines.append(f"## {title}\n")
        for name, kind in KINDS.items():
            if kind.of == where:
                lines += [_entry(name, kind), *_fields(kind.body, parts)]
    lines.append("## Parts that stand inside bodies\n")
    done: set[str] = set()
    while left := sorted(set(parts) - done):
        for name in left:
            done.add(name)
            lines += [f"### {name}\n\n{_says(parts[name])}\n", *_fields(parts[name], parts)]
    return "\n".join(lines)


def _entry(name: str, kind: Kind) -> str:
    undo = "Can be undone." if kind.undoable else "Cannot be undone; it can be corrected."
    return f"### `{name}`\n\n{_says(kind.body)} {undo}\n"


def _says(noun: type) -> str:
    """The first paragraph of a docstring, without the marks of another markup."""
    text = " ".join((noun.__doc__ or "").strip().split("\n\n")[0].split())
    return re.sub(r":\w+:`~?([\w.]+)`", r"`\1`", text.replace("``", "`"))


def _fields(noun: type, parts: dict[str, type]) -> Iterator[str]:
    hints = typing.get_type_hints(noun)
    yield "| field | is | if left out |\n|---|---|---|"
    for field in dataclasses.fields(noun):
        yield f"| `{field.name}` | {_words(hints[field.name], parts)} | {_default(field)} |"
    yield ""


def _default(field: dataclasses.Field[Any]) -> str:
    if field.default is not dataclasses.MISSING:
        value = field.default
    elif field.default_factory is not dataclasses.MISSING:
        value = field.default_factory()
    else:
        return ""
    if value is None or value in ("", (), {}):
        return "nothing"
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else f"{value}"


def _words(hint: Any, parts: dict[str, type]) -> str:
    origin, inside = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return " or ".join(_words(one, parts) for one in inside if one is not type(None))
    if origin is Literal:
        return "one of " + ", ".join(f"`{one}`" for one in inside)
    if origin in (tuple, list):
        return "list of " + _words(inside[0], parts)
    if origin is not None and issubclass(origin, Mapping):
        return f"names to {_words(inside[1], parts)}"
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        parts[hint.__name__] = hint
        return f"[{hint.__name__}](#{hint.__name__.lower()})"
    return _NUMBERS.get(hint, "anything")


if __name__ == "__main__":
    sys.stdout.write(reference())
