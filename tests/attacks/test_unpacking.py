"""Containers from outside, made to lead elsewhere, to fill the disk or to say a thing twice; and no
path that somebody typed is ever one of ours."""

from __future__ import annotations

import ast
import io
import stat
import zipfile
from pathlib import Path

import pytest

import quirewell
from attack_tally import Tally
from quirewell.exchange.bag_read import BagError, fixity, open_bag
from quirewell.stages.overview import open_item
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.backup import backup, restore
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from report_case import scan_bytes

SOURCE = Path(quirewell.__file__).parent
ELSEWHERE = (
    "../outside", "../../outside", "/outside-of-quirewell", "a/../../outside", "..\\outside",
    "C:\\outside", "C:outside", "\\\\host\\share\\outside", "./../outside", "data/../../outside",
    "data//../../outside", "\u2025/outside", "outside\x00.txt", "nul", "data/a\nb", "~/outside",
)  # fmt: skip


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept")
    with Studio.create(folder / "studio", "Larkmoor paper bench") as studio:
        studio.append("annual", 0, open_item("annual", {"title": "Annual", "wraps": "2"}))
        take_in(studio, "annual", [Source("w01-outer-left-before.png", io.BytesIO(scan_bytes(1)))])
    backup(folder / "studio", folder / "kept.zip")
    return folder / "kept.zip"


def rewritten(kept: Path, target: Path, more: dict[str, bytes], link: str = "") -> None:
    """The container with further entries, and one of its own as a link."""
    with zipfile.ZipFile(kept) as old, zipfile.ZipFile(target, "w") as new:
        for entry in old.infolist():
            about = zipfile.ZipInfo(entry.filename)
            about.external_attr = (stat.S_IFLNK | 0o777) << 16 if entry.filename == link else 0
            data = b"/etc/passwd" if entry.filename == link else old.read(entry)
            new.writestr(about, data)
        for name, data in more.items():
            new.writestr(zipfile.ZipInfo(name), data)


def everything(folder: Path) -> set[str]:
    return {one.relative_to(folder).as_posix() for one in folder.rglob("*")}


@pytest.mark.parametrize("name", ELSEWHERE)
def test_a_backup_never_writes_where_a_name_leads(
    kept: Path, tmp_path: Path, tally: Tally, name: str
) -> None:
    """What the manifest does not name is not unpacked; what it names cannot lead away."""
    home = tmp_path / "deep" / "er"
    home.mkdir(parents=True)
    rewritten(kept, home / "b.zip", {name: b"planted"})
    try:
        restore(home / "b.zip", home / "again")
    except StudioError:
        assert not (home / "again" / "studio.db").exists()
    found = {one for one in everything(tmp_path) if "outside" in one}
    planted = [
        one for one in tmp_path.rglob("*") if one.is_file() and one.read_bytes() == b"planted"
    ]
    tally.count("unpacking", not found and not planted, (name, found, planted))
    assert not Path("/outside-of-quirewell").exists()


@pytest.mark.parametrize("name", ELSEWHERE)
def test_a_manifest_that_names_another_place_restores_nothing(
    kept: Path, tmp_path: Path, tally: Tally, name: str
) -> None:
    with zipfile.ZipFile(kept) as old:
        listing = next(one for one in old.namelist() if one.endswith(".json"))
        original = next(one for one in old.namelist() if "originals" in one)
        manifest = (
            old.read(listing)
            .decode()
            .replace(
                original, name.replace("\\", "\\\\").replace("\x00", "\\u0000").replace("\n", "\\n")
            )
        )
        with zipfile.ZipFile(tmp_path / "b.zip", "w") as new:
            for entry in old.infolist():
                data = manifest.encode() if entry.filename == listing else old.read(entry)
                new.writestr(name if entry.filename == original else entry.filename, data)
    with pytest.raises(StudioError):
        restore(tmp_path / "b.zip", tmp_path / "again")
    left = [one for one in everything(tmp_path) if "outside" in one or "studio.db" in one]
    tally.count("unpacking", not left, (name, left))


def test_a_link_in_a_backup_is_not_followed(kept: Path, tmp_path: Path, tally: Tally) -> None:
    with zipfile.ZipFile(kept) as old:
        names = old.namelist()
    for n, link in enumerate(names):
        rewritten(kept, tmp_path / f"b{n}.zip", {}, link=link)
        with pytest.raises(StudioError):
            restore(tmp_path / f"b{n}.zip", tmp_path / f"again{n}")
        tally.count("unpacking", True, link)


def test_a_backup_that_swells_is_stopped_at_what_it_says(
    kept: Path, tmp_path: Path, tally: Tally
) -> None:
    """A hundred thousand times its size when unpacked: read to the stated size and no further."""
    with zipfile.ZipFile(kept) as old:
        original = next(one for one in old.namelist() if "originals" in one)
        with zipfile.ZipFile(tmp_path / "b.zip", "w", zipfile.ZIP_DEFLATED, compresslevel=9) as new:
            for entry in old.infolist():
                data = bytes(80 << 20) if entry.filename == original else old.read(entry)
                new.writestr(entry.filename, data)
    with pytest.raises(StudioError, match="larger than"):
        restore(tmp_path / "b.zip", tmp_path / "again")
    left = sum(one.stat().st_size for one in tmp_path.rglob("*") if one.is_file())
    tally.count("unpacking", left < 20 << 20, left)


def bag(target: Path, entries: list[tuple[str, bytes, int]]) -> Path:
    with zipfile.ZipFile(target, "w") as made:
        for name, data, mode in [("b/bagit.txt", b"BagIt-Version: 1.0\n", 0), *entries]:
            about = zipfile.ZipInfo(name)
            about.external_attr = mode << 16
            made.writestr(about, data)
    return target


@pytest.mark.parametrize("name", ["b/../x", "b/data/../../x", "b/data/a\\..\\..\\x", "b/~x",
                                  "b/data/nul\n", "b/data/./x"])  # fmt: skip
def test_an_archive_that_names_another_place_is_told_and_not_read(
    tmp_path: Path, tally: Tally, name: str
) -> None:
    with open_bag(bag(tmp_path / "b.zip", [(name, b"x", 0)])) as opened:
        kinds = {one.code for one in opened.troubles}
    tally.count("unpacking", "path" in kinds, (name, kinds))


def test_an_archive_with_a_link_a_double_or_a_name_in_two_cases_is_told(
    tmp_path: Path, tally: Tally
) -> None:
    link = [("b/data/x", b"/etc/passwd", stat.S_IFLNK | 0o777)]
    case = [("b/data/Leaf.json", b"1", 0), ("b/data/leaf.json", b"2", 0)]
    forms = [("b/data/\u00e9", b"1", 0), ("b/data/e\u0301", b"2", 0)]
    for entries, kind in ((link, "link"), (case, "twice"), (forms, "twice")):
        with open_bag(bag(tmp_path / "b.zip", entries)) as opened:
            kinds = {one.code for one in opened.troubles}
        tally.count("unpacking", kind in kinds, (entries, kinds))
    with pytest.raises(BagError), open_bag(bag(tmp_path / "b.zip", link)) as opened:
        list(fixity(opened))
    tally.count("unpacking", True)


# Where a path is made of something that came with a request or out of a file, and why it may be.
PATHS_OF_OTHERS = {
    "web/routes/kept.py": "where backups go; typed on the machine itself only",
    "web/routes/bench.py": "a name of ours in a temporary folder (scan0, scan1)",
    "web/routes/press_bench.py": "the last part of a file's name, in a temporary folder",
}


def test_no_page_makes_a_path_of_what_was_sent() -> None:
    """A call of Path(...) in the routes must be in the list above, with a reason."""
    found = set()
    for path in sorted((SOURCE / "web" / "routes").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            made = isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("Path", "open")
            if made and not all(isinstance(one, ast.Constant) for one in node.args):
                found.add(path.relative_to(SOURCE).as_posix())
    assert found <= set(PATHS_OF_OTHERS), found - set(PATHS_OF_OTHERS)


def test_nothing_fetches_and_nothing_reads_xml_or_yaml_from_outside() -> None:
    """No parser that follows entities or makes objects, and no client that asks for an address."""
    forbidden = {
        "xml.etree", "xml.dom", "lxml", "yaml", "pickle", "marshal", "shelve", "requests",
        "httpx", "urllib.request", "urllib3", "aiohttp", "http.client", "ftplib"
    }  # fmt: skip
    found = []
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [one.name for one in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            found += [
                (path.relative_to(SOURCE).as_posix(), name)
                for name in names
                if any(name == one or name.startswith(f"{one}.") for one in forbidden)
            ]
    # Between our own processes, and read back by a reader that makes plain records only.
    assert found == [("jobs/limited.py", "pickle")]
    assert "find_class" in (SOURCE / "jobs/limited.py").read_text("utf-8")
