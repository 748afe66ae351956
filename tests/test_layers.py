"""Arrows only go down: no module imports from a layer above its own."""

from __future__ import annotations

import ast
from pathlib import Path

import quirewell

ROOT = Path(quirewell.__file__).parent
ORDER = ("science", "record", "studio", "jobs", "stages", "report", "exchange")
FACES = ("web", "cli", "demo")
SCIENCE_MAY_IMPORT = {"numpy", "scipy", "cv2", "numba", "phreeqc", "ortools"}
STANDARD = {
    "__future__",
    "collections",
    "concurrent",
    "dataclasses",
    "decimal",
    "enum",
    "fractions",
    "functools",
    "hashlib",
    "importlib",
    "itertools",
    "math",
    "re",
    "typing",
    "types",
    "warnings",
    "contextlib",
    "threading",
}


def height(layer: str) -> int:
    return ORDER.index(layer) if layer in ORDER else len(ORDER)


def imports(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write the import in full"
            names.add(node.module or "")
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def modules() -> list[Path]:
    return sorted(path for path in ROOT.rglob("*.py") if path.parent != ROOT)


def test_no_module_imports_from_a_layer_above_its_own() -> None:
    broken = []
    for path in modules():
        layer = path.relative_to(ROOT).parts[0]
        for name in imports(path):
            parts = name.split(".")
            if parts[0] != "quirewell" or len(parts) < 2 or not (ROOT / parts[1]).is_dir():
                continue
            other = parts[1]
            allowed = height(other) < height(layer) or other == layer
            allowed = allowed or (layer == "cli" and other in FACES)
            if not allowed:
                broken.append(f"{path.relative_to(ROOT)} imports {name}")
    assert not broken, "\n".join(sorted(set(broken)))


def test_science_knows_only_numbers() -> None:
    broken = []
    for path in (ROOT / "science").rglob("*.py"):
        for name in imports(path):
            top = name.split(".")[0]
            if top not in SCIENCE_MAY_IMPORT | STANDARD | {"quirewell"}:
                broken.append(f"{path.relative_to(ROOT)} imports {name}")
    assert not broken, "\n".join(sorted(set(broken)))


def test_every_module_stays_readable_in_one_sitting() -> None:
    long = {
        str(path.relative_to(ROOT)): count
        for path in modules()
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > 600
    }
    assert not long


def test_the_layer_check_would_notice_an_arrow_upwards(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text("from quirewell.web.app import create_app\n", encoding="utf-8")
    assert "quirewell.web.app" in imports(wrong)
    assert height("web") > height("studio")
