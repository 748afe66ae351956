"""Backup and restore: what goes in comes out, and what was tampered with is found."""

from __future__ import annotations

import io
import json
import stat
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from picture_files import picture_bytes
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.backup import backup, restore
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

pytestmark = pytest.mark.usefixtures("either_engine")


@pytest.fixture
def studio(tmp_path: Path, either_engine: str) -> Iterator[Studio]:
    with studio_with_item(tmp_path / "studio") as made:
        pictures = [(f"w0{n}-outer-left-before.png", picture_bytes(n)) for n in (1, 2, 3)]
        take_in(made, ITEM, [Source(name, io.BytesIO(data)) for name, data in pictures])
        yield made


@pytest.mark.parametrize("name", ["copy.zip", "copy"])
def test_backup_and_restore_give_the_same_studio(studio: Studio, tmp_path: Path, name: str) -> None:
    manifest = backup(studio.folder, tmp_path / name)
    assert manifest.head == studio.head() and len(manifest.files) == 4
    studio.append(ITEM, None, [defect()])
    result = restore(tmp_path / name, tmp_path / "again")
    assert result.ok and result.head == manifest.head and result.originals == 3
    with Studio.open(tmp_path / "again") as again:
        assert again.events() == studio.events()[:-1]
        assert again.state(ITEM).captures == studio.state(ITEM).captures
        original = next(again.blobs.all())
        assert again.blobs.path(original).stat().st_mode & 0o777 == 0o444
        assert again.blobs.path(original).read_bytes() == studio.blobs.path(original).read_bytes()
    assert sorted(entry.name for entry in tmp_path.iterdir()) == sorted(["again", name, "studio"])


def test_backup_goes_on_while_somebody_writes(studio: Studio, tmp_path: Path) -> None:
    def write(done: int, total: int) -> None:
        studio.append(ITEM, None, [defect(f"defect-{done}")])

    backup(studio.folder, tmp_path / "copy.zip", write)
    assert restore(tmp_path / "copy.zip", tmp_path / "again").ok
    assert len(studio.state(ITEM).defects) == 3


def test_backup_never_overwrites(studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "copy.zip").write_text("mine")
    with pytest.raises(StudioError, match="never overwrites"):
        backup(studio.folder, tmp_path / "copy.zip")
    with pytest.raises(StudioError, match="cannot lie in"):
        backup(studio.folder, studio.folder / "originals" / "copy.zip")
    with pytest.raises(StudioError, match="no folder"):
        backup(studio.folder, tmp_path / "nowhere" / "copy.zip")


def test_restore_only_into_an_empty_folder(studio: Studio, tmp_path: Path) -> None:
    backup(studio.folder, tmp_path / "copy.zip")
    with pytest.raises(StudioError, match="not empty"):
        restore(tmp_path / "copy.zip", studio.folder)
    with pytest.raises(StudioError, match="no backup"):
        restore(tmp_path / "nothing.zip", tmp_path / "again")


def _altered(archive: Path, target: Path, change: dict[str, bytes], link: str = "") -> Path:
    with zipfile.ZipFile(archive) as source, zipfile.ZipFile(target, "w") as out:
        for info in source.infolist():
            data = change.get(info.filename, source.read(info))
            made = zipfile.ZipInfo(info.filename)
            if info.filename == link:
                made.external_attr = (stat.S_IFLNK | 0o777) << 16
            out.writestr(made, data)
    return target


def _manifest(archive: Path) -> dict[str, object]:
    with zipfile.ZipFile(archive) as source:
        return dict(json.loads(source.read("manifest.json")))


def test_tampered_backup_is_found(studio: Studio, tmp_path: Path) -> None:
    archive = tmp_path / "copy.zip"
    manifest = backup(studio.folder, archive)
    name = manifest.files[1].path
    database = manifest.files[0]
    wrong = {
        "altered": {name: b"x" * manifest.files[1].bytes},
        "larger": {name: b"x" * (manifest.files[1].bytes + 1)},
        "not a database": {"studio.db": b"x" * database.bytes},
        "no manifest": {"manifest.json": b"{"},
    }
    for words, change in wrong.items():
        target = _altered(archive, tmp_path / f"{words}.zip", change)
        with pytest.raises(StudioError, match=r"damaged|no backup"):
            restore(target, tmp_path / "again")
        assert not (tmp_path / "again").exists(), words
    with pytest.raises(StudioError, match="is a link"):
        restore(_altered(archive, tmp_path / "link.zip", {}, link=name), tmp_path / "again")
    (tmp_path / "short.zip").write_bytes(archive.read_bytes()[:-40])
    with pytest.raises(StudioError, match="cut short"):
        restore(tmp_path / "short.zip", tmp_path / "again")


@pytest.mark.parametrize("name", ["../evil", "/etc/evil", "originals/aa/../../evil", "derived/x"])
def test_names_that_lead_elsewhere_are_refused(studio: Studio, tmp_path: Path, name: str) -> None:
    archive = tmp_path / "copy.zip"
    backup(studio.folder, archive)
    said = _manifest(archive)
    assert isinstance(said["files"], list)
    said["files"][1]["path"] = name
    change = {"manifest.json": json.dumps(said).encode()}
    with pytest.raises(StudioError, match="which no studio holds"):
        restore(_altered(archive, tmp_path / "evil.zip", change), tmp_path / "again")


def test_backup_whose_head_was_cut_off_is_found(studio: Studio, tmp_path: Path) -> None:
    archive = tmp_path / "copy.zip"
    backup(studio.folder, archive)
    said = {**_manifest(archive), "head": "f" * 64}
    change = {"manifest.json": json.dumps(said).encode()}
    with pytest.raises(StudioError, match="does not contain"):
        restore(_altered(archive, tmp_path / "cut.zip", change), tmp_path / "again")


def test_damaged_original_is_never_backed_up_silently(studio: Studio, tmp_path: Path) -> None:
    original = studio.blobs.path(next(studio.blobs.all()))
    original.chmod(0o644)
    original.write_bytes(b"spoiled")
    with pytest.raises(StudioError, match="no longer the file"):
        backup(studio.folder, tmp_path / "copy.zip")
    assert not list(tmp_path.glob("*copy*"))
