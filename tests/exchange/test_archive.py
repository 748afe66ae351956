"""An archive: what goes in comes out, hash for hash; what was withheld is nowhere in it."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from archive_case import (
    AWKWARD,
    CLIENT_NOTE,
    OWNER,
    PRICE,
    archive_studio,
    files_under,
    journal_rows,
)
from postgres_studios import PostgresStudios
from quirewell.exchange import tables
from quirewell.exchange.look_over import check_archive
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.studio.check import check
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

NO_TILES = Wish(tiles=False)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("home") / "larkmoor"
    archive_studio(folder).close()
    return folder


@pytest.fixture(scope="module")
def bag(home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("bag") / "whole"
    make(home, target, NO_TILES)
    return target


def test_a_shared_studio_comes_back_the_same(
    home: Path, tmp_path: Path, on_postgres: PostgresStudios
) -> None:
    shared = tmp_path / "shared"
    archive_studio(shared).close()
    assert journal_rows(shared) == journal_rows(home)
    made = make(shared, tmp_path / "whole", NO_TILES)
    assert check_archive(tmp_path / "whole").troubles == []
    assert read_archive(tmp_path / "whole", tmp_path / "again").head == made.head
    assert journal_rows(tmp_path / "again") == journal_rows(home)


@pytest.mark.parametrize("name", ["whole", "whole.zip"])
def test_a_studio_comes_back_entry_for_entry_and_byte_for_byte(
    home: Path, tmp_path: Path, name: str
) -> None:
    made = make(home, tmp_path / name, NO_TILES)
    assert (made.withheld, made.items) == (0, 2)
    assert check_archive(tmp_path / name).troubles == []
    result = read_archive(tmp_path / name, tmp_path / "again")
    assert result.ok and result.head == made.head
    assert journal_rows(tmp_path / "again") == journal_rows(home)
    for part in ("originals", "reports"):
        assert files_under(tmp_path / "again" / part) == files_under(home / part)
    with Studio.open(home) as old, Studio.open(tmp_path / "again") as new:
        assert old.settings.name == new.settings.name
        assert [old.state(one.id) for one in old.items()] == [
            new.state(one.id) for one in old.items()
        ]
    assert check(tmp_path / "again", head=made.head).ok
    assert [place.name for place in tmp_path.iterdir() if place.name.startswith(".")] == []


def test_a_zip_file_holds_the_bag_as_its_one_folder(home: Path, tmp_path: Path) -> None:
    """RFC 8493, section 4.1."""
    make(home, tmp_path / "kept.zip", NO_TILES)
    with zipfile.ZipFile(tmp_path / "kept.zip") as container:
        names = container.namelist()
    assert {name.split("/")[0] for name in names} == {"kept"}
    assert "kept/bagit.txt" in names


def test_the_same_moment_is_the_same_payload(home: Path, bag: Path, tmp_path: Path) -> None:
    make(home, tmp_path / "second", NO_TILES)
    one, other = files_under(bag / "data"), files_under(tmp_path / "second" / "data")
    timed = {"archive.json", "ro-crate-metadata.json"}  # these say when they were made
    assert {k: v for k, v in one.items() if k not in timed} == {
        k: v for k, v in other.items() if k not in timed
    }


def test_the_page_of_plain_words_checks_the_chain_by_itself(bag: Path) -> None:
    text = (bag / "data" / "README.txt").read_text("utf-8")
    program = "\n".join(line[4:] for line in text.splitlines() if line.startswith("    "))
    program = program[program.index("import hashlib") :]
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=bag / "data", capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    head = json.loads((bag / "data" / "archive.json").read_text())["head"]
    assert ran.stdout.split()[-1] == head


def test_tables_read_back_exactly(home: Path, bag: Path) -> None:
    """Every cell is the record's own text, whatever it begins with and whatever is in it."""
    with Studio.open(home) as studio:
        state = studio.state("annual")
    for name in ("readings", "captures"):
        table = tables.schema()[name]
        columns = {column.name: column for column in table.columns}
        with (bag / "data" / "tables" / f"{name}.csv").open("rb") as stream:
            rows = {
                row["record_id"]: {k: tables.value_of(columns[k], v) for k, v in row.items()}
                for row in tables.read_rows(stream) if row["item"] == "annual"
            }  # fmt: skip
        nouns = getattr(state, name)
        assert list(rows) == list(nouns)
        for key, noun in nouns.items():
            for column in columns.values():
                if column.name not in ("item", "record_id", "place_in_order"):
                    kept, was = rows[key][column.name], getattr(noun, column.name)
                    if column.datatype == "json":
                        assert list(kept) == [str(one) for one in was]
                    elif column.datatype == "string":
                        assert kept == was or (kept == "" and was is None)
                    else:
                        assert (kept is None and was is None) or kept == str(was)
    assert {noun.note for noun in state.readings.values()} == set(AWKWARD[1:])
    with (bag / "data" / "tables" / "captures.csv").open("rb") as stream:
        scanners = {row["record_id"]: row["scanner"] for row in tables.read_rows(stream)}
    assert scanners["cb"] == "\\N" and scanners["p8"] == "\\\\N"


def test_before_stands_beside_after(bag: Path) -> None:
    with (bag / "data" / "tables" / "before_after.csv").open("rb") as stream:
        rows = {(row["subject"], row["quantity"]): row for row in tables.read_rows(stream)}
    row = rows["w01.outer.left", "leaf.width_mm"]
    assert (row["before_value"], row["after_value"], row["unit"]) == ("168.02", "168.04", "mm")
    assert (row["before_run"], row["after_run"]) == ("rm-cb", "rm-ca")


# --- one item ---------------------------------------------------------------------------


def _everything(bag: Path) -> bytes:
    return b"\n".join(name.encode() + b"\n" + data for name, data in files_under(bag).items())


def test_of_one_item_no_owner_no_money_and_nothing_of_another_goes_out(
    home: Path, tmp_path: Path
) -> None:
    made = make(home, tmp_path / "one", Wish("annual", tiles=False))
    held = _everything(tmp_path / "one")
    for secret in (OWNER, CLIENT_NOTE, PRICE, "Dunmarrow", "Almanac", "almanac"):
        assert secret.encode() not in held
    whole = make(home, tmp_path / "all", NO_TILES)
    for secret in (OWNER, CLIENT_NOTE, PRICE, "Dunmarrow"):
        assert secret.encode() in _everything(tmp_path / "all")
    # item.opened in part; custody, cost and the cost's setting aside whole
    assert made.withheld == 4
    assert made.originals == whole.originals - 1
    assert check_archive(tmp_path / "one").troubles == []


def test_one_item_comes_back_as_the_same_record(home: Path, tmp_path: Path) -> None:
    made = make(home, tmp_path / "one", Wish("annual", tiles=False, with_private=True))
    assert made.withheld == 0 and OWNER.encode() in _everything(tmp_path / "one")
    read_archive(tmp_path / "one", tmp_path / "again")
    with Studio.open(home) as old, Studio.open(tmp_path / "again") as new:
        assert new.state("annual") == old.state("annual")
        assert [one.id for one in new.items()] == ["annual"]
        said = [(event.kind, event.at, event.version) for event in new.events("annual")]
        assert said == [(event.kind, event.at, event.version) for event in old.events("annual")]
        assert "entry 2 of Larkmoor paper bench" in new.events("annual")[0].actor
    assert check(tmp_path / "again").ok


def test_one_item_with_entries_withheld_comes_back_without_them(home: Path, tmp_path: Path) -> None:
    make(home, tmp_path / "one", Wish("annual", tiles=False))
    read_archive(tmp_path / "one", tmp_path / "again")
    with Studio.open(home) as old, Studio.open(tmp_path / "again") as new:
        was, now = old.state("annual"), new.state("annual")
    for name in ("captures", "readings", "defects", "steps", "runs", "remaining"):
        assert getattr(was, name) == getattr(now, name)
    assert (now.item.owner, now.custodies, now.costs) == ("", {}, {})


# --- saying no --------------------------------------------------------------------------


def test_nothing_is_overwritten_and_nothing_half_is_left(home: Path, tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    with pytest.raises(StudioError, match="exists already"):
        make(home, tmp_path / "there", NO_TILES)
    with pytest.raises(StudioError, match="no item 'nothing'"):
        make(home, tmp_path / "none", Wish("nothing"))
    with pytest.raises(StudioError, match="cannot lie in"):
        make(home, home / "inside", NO_TILES)
    with pytest.raises(ValueError, match="base address"):
        make(home, tmp_path / "none", Wish(base="ftp://x/"))
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "thing").write_text("mine")
    make(home, tmp_path / "bag", NO_TILES)
    with pytest.raises(StudioError, match="is not empty"):
        read_archive(tmp_path / "bag", tmp_path / "full")
    assert sorted(place.name for place in tmp_path.iterdir()) == ["bag", "full", "there"]


def test_a_missing_or_altered_original_stops_the_making(tmp_path: Path) -> None:
    with archive_studio(tmp_path / "home") as studio:
        place = studio.blobs.path(studio.state("annual").captures["cb"].sha256)
    data = place.read_bytes()
    place.chmod(0o644)
    place.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    with pytest.raises(StudioError, match="no longer the file that was taken in"):
        make(tmp_path / "home", tmp_path / "bag", NO_TILES)
    place.unlink()
    with pytest.raises(StudioError, match=r"cb\.png in annual .* is missing"):
        make(tmp_path / "home", tmp_path / "bag", NO_TILES)
    assert [place.name for place in tmp_path.iterdir()] == ["home"]


def test_no_table_has_two_columns_of_one_name() -> None:
    for table in tables.schema().values():
        names = [column.name for column in table.columns]
        assert len(names) == len(set(names)), table.name
