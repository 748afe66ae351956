"""The wheel: the same bytes whoever builds it, and whole where there is nothing but Python.

Reproducible as https://reproducible-builds.org/docs/definition/ puts it: the same source, the
same built pages and the same tools give the same file, bit for bit.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import urllib.request
import zipfile
from pathlib import Path

import pytest

import report_case

ROOT = Path(__file__).parents[1]
BUILT = Path("src/quirewell/web/static/built")
NEEDED = (
    "src", "references.bib", "pyproject.toml", "README.md", "LICENSE", "requirements/runtime.txt",
)  # fmt: skip
NODE = shutil.which("node")


def copied(folder: Path) -> Path:
    """The source as a builder elsewhere has it: another path, other times and modes."""
    for name in NEEDED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(source, folder / name)
    return folder


def build(source: Path, out: Path, **more: str) -> Path:
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)],
        cwd=source, capture_output=True, text=True, env={**os.environ, **more},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    (wheel,) = out.glob("*.whl")
    return wheel


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    return build(copied(folder / "one"), folder / "out")


def test_two_builders_get_the_same_bytes(wheel: Path, tmp_path: Path) -> None:
    source = copied(tmp_path / "another place")
    for at, path in enumerate(sorted(source.rglob("*"))):
        os.utime(path, (1_000_000_000 + at, 1_000_000_000 + at))
        if path.is_file():
            path.chmod(0o664 if at % 2 else 0o600)
    again = build(source, tmp_path / "out", TZ="Pacific/Auckland", LC_ALL="C", PYTHONHASHSEED="7")
    assert hash_of(again) == hash_of(wheel)


@pytest.mark.skipif(NODE is None, reason="the pages' scripts are built by node, not here")
def test_the_built_pages_are_the_same_bytes_built_again(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "islands", tmp_path / "islands")
    (tmp_path / "src/quirewell/web/static").mkdir(parents=True)
    for name in ("package.json", "package-lock.json"):
        shutil.copy(ROOT / name, tmp_path / name)
    shutil.copytree(ROOT / "node_modules", tmp_path / "node_modules", symlinks=True)
    subprocess.run([str(NODE), "islands/build.mjs"], cwd=tmp_path, check=True, capture_output=True)
    ours, again = ROOT / BUILT, tmp_path / BUILT
    names = sorted(path.name for path in ours.iterdir())
    assert names == sorted(path.name for path in again.iterdir()) and "islands.js" in names
    for name in names:
        assert hash_of(ours / name) == hash_of(again / name), name


def test_it_holds_the_package_the_pages_and_the_sources_and_nothing_else(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as opened:
        names = opened.namelist()
    assert not [name for name in names if not name.startswith(("quirewell/", "quirewell-"))]
    assert not [name for name in names if name.endswith((".pyc", ".ts", ".map", ".part"))]
    kept = {f"quirewell/{p.relative_to(ROOT / 'src/quirewell')}" for p in every_file()}
    kept |= {"quirewell/references.bib", "quirewell/libraries.txt"}
    assert kept == {name for name in names if name.startswith("quirewell/")}
    assert "quirewell/web/static/built/islands.js" in kept


def every_file() -> list[Path]:
    """Each file of the package as it stands in the tree."""
    found = (ROOT / "src/quirewell").rglob("*")
    return [path for path in found if path.is_file() and "__pycache__" not in path.parts]


def hash_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.slow
def test_it_does_the_main_job_where_there_is_nothing_but_python(
    wheel: Path, tmp_path: Path
) -> None:
    own = tmp_path / "venv"
    subprocess.run([sys.executable, "-m", "venv", str(own)], check=True)
    pip = [str(own / "bin/python"), "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    lock = ROOT / "requirements/runtime.txt"
    subprocess.run(
        [*pip, "--no-compile", "--require-hashes", "-r", str(lock)], check=True, capture_output=True
    )
    subprocess.run([*pip, "--no-deps", "--no-index", str(wheel)], check=True, capture_output=True)
    env = {"PATH": str(own / "bin"), "HOME": str(tmp_path), "LANG": "C.UTF-8"}
    assert shutil.which("node", path=env["PATH"]) is None

    def run(*args: str) -> str:
        done = subprocess.run(
            [str(own / "bin/quirewell"), *args], cwd=tmp_path, env=env, capture_output=True,
            text=True, timeout=900,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-3000:]
        return done.stdout

    assert run("--version").strip().endswith(version_of(wheel))
    report_case.report_studio(tmp_path / "small", pairs=1).close()
    (tmp_path / "scan.png").write_bytes(report_case.scan_bytes(0, 0))
    said = json.loads(run("studio", "check", "small", "--json"))
    assert said["ok"] and said["items"] == 1
    run("measure", "scan.png", "--json")
    run("report", "annual", "--studio", "small", "-o", "report.pdf")
    assert (tmp_path / "report.pdf").read_bytes()[:5] == b"%PDF-"
    served(own, tmp_path, env)


def version_of(wheel: Path) -> str:
    return wheel.name.split("-")[1]


def served(own: Path, place: Path, env: dict[str, str]) -> None:
    """The pages and every script and style they name come from the wheel itself."""
    server = subprocess.Popen(
        [str(own / "bin/quirewell"), "serve", "--studio", "small", "--port", "0"],
        cwd=place, env=env, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert server.stderr is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", server.stderr.readline())
        assert found is not None
        direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        for page in ("/", "/item/annual/examine"):
            with direct.open(found[0] + page, timeout=60) as answer:
                text = answer.read().decode()
            asked = re.findall(r'(?:src|href)="(/static/[^"]+)"', text)
            assert any("built/islands.js" in one for one in asked)
            for one in dict.fromkeys(asked):
                with direct.open(found[0] + one, timeout=60) as answer:
                    assert answer.status == 200 and answer.read(), one
        server.send_signal(signal.SIGTERM)
        server.communicate(timeout=30)
    finally:
        server.kill()
    assert server.returncode == 0
