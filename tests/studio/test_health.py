"""A look at a studio: every fault that is planted is found, named and answered with what to do."""

from __future__ import annotations

import io
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from lan_studio import HandClock, lan_studio
from picture_files import picture_bytes
from quirewell.cli.main import main
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio import health_machine, health_places, log
from quirewell.studio.health import Health, examine
from quirewell.studio.health_row import Row
from quirewell.studio.keep_make import keep_now
from quirewell.studio.keep_setup import set_up
from quirewell.studio.keys import keys_folder, write_private
from studio_help import ITEM, studio_with_item


@pytest.fixture
def clock() -> HandClock:
    made = HandClock()
    made.move(days=40)  # after the steady clock by which the studio was written
    return made


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("TZ", "Europe/London")
    monkeypatch.setattr(health_machine, "clock_is_held", lambda: True)
    monkeypatch.setattr(health_machine, "libraries_differ", lambda locked: iter(()))
    with studio_with_item(tmp_path / "studio") as made:
        pictures = [(f"w0{n}-outer-left-before.png", picture_bytes(n)) for n in (1, 2)]
        take_in(made, ITEM, [Source(name, io.BytesIO(data)) for name, data in pictures])
    (tmp_path / "studio").chmod(0o755)
    yield tmp_path / "studio"


def row(health: Health, code: str) -> Row:
    found = [one for one in health.rows if one.code == code]
    assert found, f"{code} is not among {[one.code for one in health.rows]}"
    return found[0]


def test_a_studio_that_is_well(
    folder: Path, clock: HandClock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health_places, "same_disk", lambda one, other: False)
    monkeypatch.setattr("quirewell.studio.keep_make.same_disk", lambda one, other: False)
    set_up(folder, tmp_path / "disk")
    keep_now(folder, clock)
    health = examine(folder, clock, whole=True)
    assert [one for one in health.rows if one.level != "fine"] == []
    assert (health.level, health.says) == (0, "All is well.")
    codes = {one.code for one in health.rows}
    assert {
        "database", "chain", "tables", "revision", "originals", "originals-read", "backups", "disk",
        "disk-backups", "clock", "zone", "folder", "leftovers", "log", "certificate", "program",
        "libraries", "clock-source",
    } <= codes  # fmt: skip
    assert all(one.says.endswith((".", ")")) for one in health.rows)


def test_backups_that_are_old_or_were_never_made(
    folder: Path, clock: HandClock, tmp_path: Path
) -> None:
    assert row(examine(folder, clock), "backups").says == "There is no backup of this studio."
    place = set_up(folder, tmp_path / "disk").folder
    keep_now(folder, clock)
    assert row(examine(folder, clock), "disk-same").level == "look"
    clock.move(days=12)
    from quirewell.studio.studio import Studio
    from studio_help import defect

    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect()])
    found = row(examine(folder, clock), "backups")
    assert found.level == "look"
    assert found.says == "The last backup that was checked is 12 days old."
    place.rename(tmp_path / "away")
    health = examine(folder, clock)
    assert row(health, "backups").level == "look"
    assert "disk-backups" not in {one.code for one in health.rows}


def test_a_damaged_journal_and_tables_that_differ(folder: Path, clock: HandClock) -> None:
    with closing(sqlite3.connect(folder / "studio.db")) as opened:
        opened.execute("UPDATE item_summary SET version = 99")
        opened.commit()
    found = row(examine(folder, clock), "tables")
    assert found.level == "wrong" and "check DIR --rebuild" in found.advice
    with closing(sqlite3.connect(folder / "studio.db")) as opened:
        for (name,) in opened.execute(
            "SELECT name FROM sqlite_master WHERE type='trigger' AND tbl_name='journal'"
        ).fetchall():
            opened.execute(f"DROP TRIGGER {name}")
        opened.execute("UPDATE journal SET body = replace(body, '1936', '1937')")
        opened.commit()
    health = examine(folder, clock)
    assert row(health, "chain").level == row(health, "database").level == "wrong"
    assert "restore" in row(health, "chain").advice and health.level == 2


def test_a_studio_that_cannot_be_opened_is_a_line_among_the_others(
    folder: Path, clock: HandClock
) -> None:
    (folder / "studio.db").write_bytes(b"no database at all" * 400)
    health = examine(folder, clock)
    assert row(health, "studio").level == "wrong" and row(health, "program").level == "fine"
    assert row(health, "backups").says == "There is no backup of this studio."


def test_originals_that_are_missing_altered_or_can_be_written(
    folder: Path, clock: HandClock
) -> None:
    first, second = sorted(path for path in (folder / "originals").rglob("*") if path.is_file())
    first.chmod(0o644)
    assert row(examine(folder, clock), "originals-writable").level == "look"
    first.write_bytes(b"x" * first.stat().st_size)
    assert row(examine(folder, clock), "originals").level == "fine"
    found = row(examine(folder, clock, whole=True), "originals-read")
    assert found.level == "wrong" and first.name[:12] in found.says
    second.unlink()
    found = row(examine(folder, clock), "originals")
    assert found.level == "wrong" and second.name[:12] in found.says


def test_a_clock_that_was_put_back(folder: Path, clock: HandClock) -> None:
    clock.move(days=-400)
    found = row(examine(folder, clock), "clock")
    assert found.level == "wrong" and "days before the journal's last entry" in found.says


def test_another_time_zone(folder: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    found = row(examine(folder, clock), "zone")
    assert found.level == "look" and "Asia/Tokyo" in found.says and "Europe/London" in found.says


@pytest.mark.parametrize(
    ("free", "level"), [(5_000_000_000, "fine"), (1_000_000_000, "look"), (1_000_000, "wrong")]
)
def test_a_disk_that_fills(
    folder: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch, free: int, level: str
) -> None:
    monkeypatch.setattr(health_places, "free_bytes", lambda place: free)
    found = row(examine(folder, clock), "disk")
    assert found.level == level and ("derived/" in found.advice) == (level != "fine")


def test_a_network_share(folder: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health_places, "file_system_of", lambda place: "nfs4")
    assert row(examine(folder, clock), "disk-kind").level == "wrong"


def test_who_may_read_and_write(folder: Path, clock: HandClock) -> None:
    write_private(keys_folder(folder) / "passphrase.json", b"{}")
    assert row(examine(folder, clock), "keys").level == "fine"
    (folder / "keys" / "passphrase.json").chmod(0o644)
    folder.chmod(0o777)
    health = examine(folder, clock)
    assert row(health, "keys").level == "wrong" and "chmod" in row(health, "keys").advice
    assert row(health, "folder").level == "look"
    folder.chmod(0o700)
    assert row(examine(folder, clock), "folder").says == "Read and written by its owner alone."


def test_leftovers_and_a_large_write_ahead_file(
    folder: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "backups" / ".copy-0123.db").write_bytes(b"x")
    found = row(examine(folder, clock), "leftovers")
    assert found.level == "look" and ".copy-0123.db" in found.says
    monkeypatch.setattr(health_places, "LARGE_WAL_BYTES", -1)
    assert row(examine(folder, clock), "wal").level == "look"


def test_faults_in_the_log_of_the_last_week(folder: Path) -> None:
    log.begin(folder, "serve")
    try:
        number = log.fault(ValueError("what somebody typed"))
    finally:
        log.end()
    found = row(examine(folder), "log")
    assert found.level == "look" and number in found.says
    later = HandClock()
    later.move(days=365 * 90)
    assert row(examine(folder, later), "log").level == "fine"


def test_certificates_that_end(folder: Path, clock: HandClock) -> None:
    lan_studio(folder, clock)
    assert row(examine(folder, clock), "certificate-server").level == "fine"
    assert row(examine(folder, clock), "sessions").says == "0 are remembered."
    clock.move(days=380)
    assert row(examine(folder, clock), "certificate-server").level == "look"
    clock.move(days=30)
    found = row(examine(folder, clock), "certificate-server")
    assert found.level == "wrong" and "renewed by itself" in found.advice
    (folder / "keys" / "sessions.json").write_text("{")
    (folder / "keys" / "sessions.json").chmod(0o600)
    assert row(examine(folder, clock), "sessions").level == "look"


def test_other_libraries_than_it_was_tried_with() -> None:
    locked = health_machine.locked_versions()
    assert len(locked) > 15
    assert list(health_machine.libraries_differ({"click": "0.0.1", "no-such-thing": "1"})) == [
        f"click {__import__('importlib.metadata').metadata.version('click')} (not 0.0.1)",
        "no-such-thing is missing (not 1)",
    ]
    assert health_machine.clock_is_held() in (True, False, None)


def test_one_look_that_fails_stops_no_other(
    folder: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(place: Path) -> int:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(health_places, "free_bytes", gone)
    health = examine(folder, clock)
    assert "Input/output error" in row(health, "look").says
    assert row(health, "program").level == "fine"


def test_the_command_says_it_in_lines_and_in_json(folder: Path) -> None:
    folder.chmod(0o777)
    said = CliRunner().invoke(main, ["studio", "doctor", str(folder)])
    assert said.exit_code == examine(folder).level > 0
    assert "LOOK   The studio's folder" in said.output and "chmod go-w" in said.output
    told = CliRunner().invoke(main, ["studio", "doctor", str(folder), "--json"])
    health = json.loads(told.output)
    assert health["level"] in ("look", "wrong") and health["rows"][0]["code"] == "database"
    nothing = CliRunner().invoke(main, ["studio", "doctor", str(folder / "nowhere")])
    assert nothing.exit_code == 2 and "there is no studio" in nothing.output


def test_nothing_is_changed_by_looking(folder: Path, clock: HandClock) -> None:
    def all_of(place: Path) -> dict[str, int]:
        return {
            str(path): path.stat().st_size for path in place.rglob("*")
            if path.is_file() and not path.name.endswith(("-wal", "-shm"))
        }  # fmt: skip

    examine(folder, clock)
    before = all_of(folder)
    clock.move(seconds=timedelta(days=1).total_seconds())
    examine(folder, clock, whole=True)
    assert all_of(folder) == before
