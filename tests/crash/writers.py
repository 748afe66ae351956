"""Every place in the program that writes a file, found by reading its source."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import quirewell

ROOT = Path(quirewell.__file__).parent
BY_ATTRIBUTE = frozenset({
    "write_bytes", "write_text", "rename", "touch", "symlink_to", "hardlink_to", "imwrite",
    "savez", "savez_compressed", "tofile", "to_csv", "to_parquet", "write_table",
})  # fmt: skip
BY_MODULE = {
    "os": {"open", "fdopen", "replace", "rename", "link", "symlink", "mkfifo", "truncate"},
    "shutil": {"copy", "copy2", "copyfile", "copytree", "move"},
    "tempfile": {"NamedTemporaryFile", "TemporaryFile", "SpooledTemporaryFile", "mkstemp",
                 "mkdtemp", "TemporaryDirectory"},
    "sqlite3": {"connect"}, "tarfile": {"open"}, "pq": {"write_table", "ParquetWriter"},
}  # fmt: skip
BY_NAME = frozenset({"placed", "scratch", "write_whole", "write_private", "open_writer",
                     "TemporaryDirectory"})  # fmt: skip
THEIRS = frozenset({"quirewell.studio.durable", "quirewell.studio.keys",
                    "quirewell.studio.archive", "tempfile"})  # fmt: skip


@cache
def found() -> dict[str, set[str]]:
    """For each module that writes files, by what calls."""
    names = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.py"))
    return {name: calls for name in names if (calls := found_in(name))}


def found_in(name: str) -> set[str]:
    """The calls by which a module writes files; none where there is no such module."""
    path = ROOT / name
    return calls_in(path.read_text(encoding="utf-8")) if path.is_file() else set()


def calls_in(source: str) -> set[str]:
    """The calls by which a text of Python writes files."""
    return set(_calls(ast.parse(source)))


def _calls(tree: ast.AST) -> Iterator[str]:
    known = {
        alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
        and node.module in THEIRS for alias in node.names if alias.name in BY_NAME
    }  # fmt: skip
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and (name := _name(node, known)):
            yield name


def _name(call: ast.Call, known: set[str]) -> str:
    function = call.func
    if isinstance(function, ast.Name):
        if function.id in known:
            return function.id
        return "open" if function.id == "open" and _writes(call, 1) else ""
    if not isinstance(function, ast.Attribute):
        return ""
    owner = function.value.id if isinstance(function.value, ast.Name) else ""
    if function.attr in BY_MODULE.get(owner, ()):
        return f"{owner}.{function.attr}"
    if function.attr in BY_ATTRIBUTE and not (function.attr == "touch" and call.args):
        return function.attr
    if function.attr == "open" and owner != "os" and _writes(call, 0):
        return "open"
    if function.attr == "ZipFile" and _writes(call, 1):
        return "ZipFile"
    if function.attr == "replace" and len(call.args) == 1 and not call.keywords:
        return "replace"  # of a path: that of a text has two, that of a record has names
    if function.attr == "save" and call.args and _is_picture_format(call):
        return "save"
    return ""


def _writes(call: ast.Call, at: int) -> bool:
    mode = call.args[at] if len(call.args) > at else None
    mode = next((one.value for one in call.keywords if one.arg == "mode"), mode)
    text = mode.value if isinstance(mode, ast.Constant) else ""
    return isinstance(text, str) and bool(set(text) & set("wax+")) and len(text) <= 3


def _is_picture_format(call: ast.Call) -> bool:
    words = [one.value for one in call.args if isinstance(one, ast.Constant)]
    words += [one.value.value for one in call.keywords
              if one.arg == "format" and isinstance(one.value, ast.Constant)]  # fmt: skip
    return any(isinstance(word, str) and word.isupper() for word in words)
