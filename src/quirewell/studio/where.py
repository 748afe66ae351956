"""Where the parts of a studio lie when they do not lie in its own folder: ``studio.toml``.

::

    [originals]
    at = "s3://larkmoor/originals"     # or a folder; left out: the studio's own folder
    cache_gb = 20.0                    # room for copies on this machine

    [database]                         # read and written by the module that opens the database
    at = "..."

One table for each part; a part reads its own table with :func:`table` and writes it with
:func:`set_table`, which leaves every other table as it is. The file belongs to this machine and
goes into no backup. It never holds a password or a key: these come from the environment or from
the usual files of the client that needs them. Without the file everything is in the folder.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.studio.faults import StudioError
from quirewell.studio.keys import read_private, write_private

WHERE = "studio.toml"
Plain = str | int | float | bool
_HEAD = "# Where the parts of this studio lie. No passwords and no keys in here.\n"


def table(folder: Path, name: str) -> dict[str, Any]:
    """One table of the studio's ``studio.toml``; empty where there is none.

    Raises:
        StudioError: the file is damaged; says what to do.
    """
    found = _load(folder / WHERE).get(name, {})
    if not isinstance(found, dict):
        raise StudioError(_damaged(folder / WHERE, f"[{name}] is not a table"))
    return found


def set_table(folder: Path, name: str, values: Mapping[str, Plain]) -> None:
    """Put a table in place of the one of that name (an empty one takes it away), whole or not.

    Raises:
        StudioError: the file is damaged; it is left as it is.
        DiskFull: no room; what was there before stands.
    """
    said = _load(folder / WHERE)
    said.pop(name, None)
    if values:
        said[name] = dict(values)
    write_private(folder / WHERE, _text(said).encode())


def mark(folder: Path) -> tuple[int, int, int]:
    """What changes whenever the file is written; zeros where there is none."""
    try:
        found = (folder / WHERE).stat()
    except FileNotFoundError:
        return (0, 0, 0)
    return (found.st_ino, found.st_size, found.st_mtime_ns)


def _load(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads((read_private(path) or b"").decode())
    except (ValueError, UnicodeDecodeError) as error:
        raise StudioError(_damaged(path, str(error))) from error


def _text(said: Mapping[str, Any]) -> str:
    lines = [_HEAD]
    for name, values in said.items():
        lines.append(f"[{name}]")
        lines += [f"{key} = {_value(value)}" for key, value in values.items()]
        lines.append("")
    return "\n".join(lines)


def _value(value: Plain) -> str:
    """A value as TOML. JSON's strings are TOML's basic strings but for DEL, which no place has."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def _damaged(path: Path, why: str) -> str:
    return (
        f"{path} cannot be read ({why}); set it right with an editor, or take it away and say anew "
        "where the originals lie: quirewell studio originals DIR --to PLACE"
    )
