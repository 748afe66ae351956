"""Items to be weighed as a file (TOML): ``[all]`` holds for every item, each ``[[item]]`` has a
``name`` and the parameters of :mod:`.weighing`; ``[[item.option]]`` are own options, a key a column
of the table of options. Tables are files named in it."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.stages.options_table import COLUMNS
from quirewell.stages.weighing import KNOWN

FILES = ("defects", "rules", "scale", "returns", "sales", "rates", "options", "disclosures")
MOST_ITEMS = 200


class WeighFileError(ValueError):
    """A file that holds no items to weigh; the message says what to write."""


def read_items(text: str, file_of: Callable[[str], str]) -> tuple[tuple[str, dict[str, str]], ...]:
    """Names and parameters of the items; ``file_of`` gives the text of a file that it names.

    Raises:
        WeighFileError: in a sentence.
    """
    try:
        data = toml_data(text)
    except BadData as error:
        raise WeighFileError(f"it cannot be read as TOML: {error}") from error
    for table in data:
        if table not in ("all", "item"):
            raise WeighFileError(f"there is no table [{table[:40]}]; they are all and item")
    items, common = data.get("item", []), data.get("all", {})
    if not isinstance(items, list) or not all(isinstance(one, dict) for one in items) or not items:
        raise WeighFileError("write each item under its own heading [[item]], one at least")
    if not isinstance(common, dict):
        raise WeighFileError("what holds for every item stands under [all]")
    if len(items) > MOST_ITEMS:
        raise WeighFileError(f"at most {MOST_ITEMS} items are weighed at once, got {len(items)}")
    out = []
    for at, item in enumerate(items, 1):
        name = str(item.get("name", "")).strip() or f"item {at}"
        held = {**common, **{key: value for key, value in item.items() if key != "name"}}
        out.append((name, _params(held, name, file_of)))
    names = [name for name, _ in out]
    for name in names:
        if names.count(name) > 1:
            raise WeighFileError(f"two items are called {name[:60]!r}: give each its own name")
    return tuple(out)


def _params(held: Mapping[str, Any], name: str, file_of: Callable[[str], str]) -> dict[str, str]:
    out: dict[str, str] = {}
    for key, value in held.items():
        if key == "option":
            if "options" in held:
                raise WeighFileError(f"{name}: give options in a file or as [[item.option]]")
            out["options"] = _options(value, name)
        elif key not in KNOWN:
            raise WeighFileError(
                f"{name}: there is no {key[:40]!r}; there are name, option, {', '.join(KNOWN)}"
            )
        else:
            said = _text(value, f"{name}: {key}")
            out[key] = file_of(said) if key in FILES and said else said
    return out


def _options(rows: Any, name: str) -> str:
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise WeighFileError(f"{name}: write each option under its own heading [[item.option]]")
    used = [column for column in COLUMNS if any(column in row for row in rows)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(used)
    for row in rows:
        for key in row:
            if key not in COLUMNS:
                raise WeighFileError(
                    f"{name}: an option has no {key[:40]!r}; it has {', '.join(COLUMNS)}"
                )
        writer.writerow([_text(row.get(column, ""), f"{name}: {column}") for column in used])
    return out.getvalue()


def _text(value: Any, what: str) -> str:
    if isinstance(value, list):
        return "/".join(_text(one, what) for one in value)
    if isinstance(value, dict | bool):
        raise WeighFileError(f"{what} is a number or a text, got {str(value)[:40]}")
    return str(value)
