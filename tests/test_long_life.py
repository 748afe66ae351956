"""Rules that keep old records good: moved numbers are told, what will go says so first."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from quirewell import __version__
from quirewell.stages.methods import METHODS, find_method

ROOT = Path(__file__).parents[1]
CHANGELOG = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
_GONE = re.compile(r"gone in (\d+)\.(\d+)")


def under(heading: str, text: str) -> str:
    """What stands under every heading of that name."""
    parts = re.split(r"^### (.+)$", text, flags=re.M)
    told = zip(parts[1::2], parts[2::2], strict=True)
    return "\n".join(body.split("\n## ")[0] for name, body in told if name == heading)


def test_every_version_of_a_method_after_its_first_is_told_with_its_numbers() -> None:
    with pytest.raises(KeyError):
        find_method("no.such.method")  # asking for one that is not there loads all there are
    told = " ".join(under("Numbers that changed", CHANGELOG).split())
    missing = [
        f"`{one.id}` version {version}"
        for one in METHODS.values()
        for version in range(2, one.version + 1)
        if f"`{one.id}` version {version}" not in told
    ]
    assert not missing, f"say in CHANGELOG.md, Numbers that changed, what moved: {missing}"
    assert sum(one.version - 1 for one in METHODS.values()) >= 10


def deprecated(text: str) -> list[tuple[int, str]]:
    """(line, what it says) of each thing a source marks as going."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.keyword) and node.arg == "deprecated":
            found.append((node.value.lineno, ast.unparse(node.value)))
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("deprecated"):
            found.append((node.lineno, ", ".join(map(ast.unparse, node.args))))
        if isinstance(node, ast.Name) and node.id == "DeprecationWarning":
            found.append((node.lineno, "DeprecationWarning"))
    return found


def faults(text: str, changelog: str, version: str) -> list[str]:
    """What is wrong with how a source announces what will go."""
    now = tuple(map(int, version.split(".")[:2]))
    told = under("Deprecated", changelog)
    said = []
    for line, words in deprecated(text):
        gone = _GONE.search(words)
        if gone is None:
            said.append(f"line {line}: {words} does not say 'use ...; gone in X.Y'")
        elif (int(gone[1]), int(gone[2])) <= now:
            said.append(f"line {line}: {words}: its edition has come, take it away")
        elif "use " not in words:
            said.append(f"line {line}: {words} does not name what to use instead")
        elif words.strip("'\"") not in " ".join(told.split()):
            said.append(f"line {line}: {words} does not stand under Deprecated in CHANGELOG.md")
    return said


def test_what_will_go_names_its_edition_and_what_to_use() -> None:
    for path in sorted((ROOT / "src").rglob("*.py")):
        found = faults(path.read_text(encoding="utf-8"), CHANGELOG, __version__)
        assert not found, f"{path.relative_to(ROOT)}: {found}"


@pytest.mark.parametrize(
    ("source", "wrong"),
    [
        ('click.option("--old", deprecated=True)', "does not say"),
        ('click.option("--old", deprecated="use --new; gone in 0.1")', "its edition has come"),
        ('click.option("--old", deprecated="gone in 0.9")', "does not name"),
        ('click.option("--old", deprecated="use --new; gone in 0.8")', "does not stand under"),
        ('@deprecated("use new(); gone in 0.1")\ndef old() -> None: ...', "its edition has come"),
        ('warnings.warn("old", DeprecationWarning)', "does not say"),
    ],
)
def test_a_thing_that_goes_without_a_word_is_found(source: str, wrong: str) -> None:
    (said,) = faults(source, CHANGELOG, "0.1.0")
    assert wrong in said


def test_a_thing_that_is_announced_as_it_should_be_passes() -> None:
    changelog = "## 0.2.0\n### Deprecated\n- `--old`: use --new; gone in 0.9\n## 0.1.0\n"
    assert not faults('option("--old", deprecated="use --new; gone in 0.9")', changelog, "0.2.0")
