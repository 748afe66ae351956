"""Check: each kind of damage is found and named."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from picture_files import picture_bytes
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.check import check
from quirewell.studio.database import engine_of, is_sqlite
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

pytestmark = pytest.mark.usefixtures("either_engine")


@pytest.fixture
def folder(tmp_path: Path, either_engine: str) -> Iterator[Path]:
    with studio_with_item(tmp_path / "studio") as made:
        take_in(made, ITEM, [Source("item-front-before.png", io.BytesIO(picture_bytes()))])
        made.append(ITEM, None, [defect(), defect("defect-2")])
    yield tmp_path / "studio"


def codes(folder: Path, head: str = "") -> set[str]:
    return {trouble.code for trouble in check(folder, head).troubles}


def change(folder: Path, *statements: str) -> None:
    """Change the tables as somebody with another program would."""
    engine = engine_of(folder)
    with engine.begin() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    engine.dispose()


def force(folder: Path, statement: str) -> None:
    """Take the journal's guards away, then change it."""
    engine = engine_of(folder)
    on = "" if is_sqlite(engine) else " ON journal"
    engine.dispose()
    drop = [f"DROP TRIGGER journal_no_{name}{on}" for name in ("UPDATE", "DELETE")]
    change(folder, *drop, statement)


def original(folder: Path) -> Path:
    return next((folder / "originals").glob("??/*"))


def test_whole_studio_is_well(folder: Path) -> None:
    result = check(folder)
    assert result.ok and result.notes == ()
    assert (result.events, result.items, result.originals) == (6, 1, 1)
    assert result.as_json()["journal_head"] == result.head


def test_altered_original_is_found(folder: Path) -> None:
    original(folder).chmod(0o644)
    original(folder).write_bytes(b"touched up")
    assert codes(folder) == {"altered"}


def test_missing_original_is_found(folder: Path) -> None:
    original(folder).unlink()
    assert codes(folder) == {"missing"}


def test_changed_entry_breaks_the_chain(folder: Path) -> None:
    force(folder, "UPDATE journal SET body=replace(body,'tideline','foxing') WHERE seq=5")
    assert codes(folder) == {"chain", "database"}
    assert "entry 5" in check(folder).troubles[1].says


def test_entry_changed_in_spacing_only_is_found(folder: Path) -> None:
    force(folder, "UPDATE journal SET body=replace(body,',',', ') WHERE seq=5")
    assert codes(folder) == {"chain", "database"}


def test_removed_entry_breaks_the_chain(folder: Path) -> None:
    force(folder, "DELETE FROM journal WHERE seq=5")
    assert any("entries are missing" in entry.says for entry in check(folder).troubles)


def test_cut_off_end_is_found_by_a_head_noted_elsewhere(folder: Path) -> None:
    head = check(folder).head
    assert codes(folder, head) == set()
    force(folder, "DELETE FROM journal WHERE seq=6")
    assert codes(folder, head) == {"head", "tables", "database"}


def test_missing_guards_are_found(folder: Path) -> None:
    force(folder, "SELECT 1")
    assert "guards" in check(folder).troubles[0].says


def test_tables_that_differ_from_the_journal_are_found(folder: Path) -> None:
    change(folder, "DELETE FROM item_document WHERE key='defect-2'")
    assert codes(folder) == {"tables"}
    with Studio.open(folder) as studio:
        studio.rebuild()
    assert check(folder).ok


def test_stray_files_are_noted(folder: Path) -> None:
    (folder / "letter.txt").write_text("mine")
    extra = "0" * 64
    (folder / "originals" / "00").mkdir()
    (folder / "originals" / "00" / "notes.txt").write_text("mine")
    with Studio.open(folder) as studio:
        studio.blobs.put(io.BytesIO(b"belongs to nothing"))
    result = check(folder)
    assert result.ok and extra not in result.notes
    assert any("letter.txt" in note for note in result.notes)
    assert any("belong to no record" in note for note in result.notes)
    assert any("notes.txt" in note for note in result.notes)


@pytest.mark.parametrize("either_engine", ["sqlite"], indirect=True)
def test_spoiled_database_is_said(folder: Path) -> None:
    (folder / "studio.db").write_bytes(b"not a database at all, not at all" * 40)
    with pytest.raises(StudioError, match="restore the newest backup"):
        check(folder)
