"""Backups by themselves: each one checked, originals once, older ones rotated, nothing of others
touched; old, missing, altered, full and a clock that was put back."""

from __future__ import annotations

import io
import json
import multiprocessing
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from errno import ENOSPC
from pathlib import Path

import pytest

from lan_studio import HandClock
from picture_files import picture_bytes
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio import keep_make, keep_place, keep_pool
from quirewell.studio.faults import StudioError
from quirewell.studio.health import examine
from quirewell.studio.keep_make import BackupRunning, keep_now
from quirewell.studio.keep_place import MARK, PlaceMissing, pool_list, snapshots
from quirewell.studio.keep_restore import is_place, restore_from, try_restore
from quirewell.studio.keep_rotate import to_keep
from quirewell.studio.keep_setup import SAME_DISK, set_up, the_place
from quirewell.studio.keep_words import is_due, standing
from quirewell.studio.own_settings import Rotation, backup_settings, last_kept
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

QUIET = timedelta(hours=1)


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    with studio_with_item(tmp_path / "studio") as made:
        pictures = [(f"w0{n}-outer-left-before.png", picture_bytes(n)) for n in (1, 2, 3)]
        take_in(made, ITEM, [Source(name, io.BytesIO(data)) for name, data in pictures])
    yield tmp_path / "studio"


@pytest.fixture
def place(tmp_path: Path, folder: Path) -> Path:
    return set_up(folder, tmp_path / "disk").folder


def save(folder: Path, number: int) -> str:
    """One more entry; the journal's head."""
    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect(f"defect-{number}")])
        return studio.head()


def originals(place: Path) -> list[Path]:
    return sorted(path for path in (place / "originals").rglob("*") if path.is_file())


def names(place: Path) -> list[str]:
    return sorted(path.name for path in (place / "backups").iterdir())


def test_a_backup_is_made_checked_and_restores_to_the_same_studio(
    folder: Path, place: Path, clock: HandClock, tmp_path: Path
) -> None:
    done = keep_now(folder, clock)
    assert done.made and done.backups == 1 and done.good.events == 6
    assert len(originals(place)) == 3
    assert all(path.stat().st_mode & 0o222 == 0 for path in originals(place))
    assert last_kept(folder).good == done.good and not last_kept(folder).trouble
    one, result = restore_from(place, tmp_path / "again")
    assert result.ok and result.head == done.good.head and one.name == done.snapshot
    with Studio.open(folder) as before, Studio.open(tmp_path / "again") as after:
        assert before.events() == after.events()
        for name in before.blobs.all():
            assert before.blobs.path(name).read_bytes() == after.blobs.path(name).read_bytes()


def test_it_reads_without_the_program(folder: Path, place: Path, clock: HandClock) -> None:
    done = keep_now(folder, clock)
    copy = place / "backups" / done.snapshot / "studio.db"
    with closing(sqlite3.connect(copy)) as opened:
        kinds = [row[0] for row in opened.execute("select kind from journal order by seq")]
    assert kinds[:2] == ["studio.opened", "item.opened"]
    readme = (place / "README.txt").read_text()
    assert "originals/ab/HASH" in readme and "studio.db" in readme


def test_originals_are_kept_once_and_every_backup_restores(
    folder: Path, place: Path, clock: HandClock, tmp_path: Path
) -> None:
    heads = {}
    for day in range(4):
        heads[f"2031-03-0{2 + day}"] = save(folder, day)
        done = keep_now(folder, clock)
        assert (done.good.new_bytes > 0) == (day == 0)
        clock.move(days=1)
    assert len(originals(place)) == 3 and len(names(place)) == 4
    for day, head in heads.items():
        one, result = restore_from(place, tmp_path / day, at=day, zone="Europe/London")
        assert result.ok and result.head == head, day
        assert restore_from(place, tmp_path / one.name, at=one.name)[0] == one
    with pytest.raises(StudioError, match="no backup made on or before 2031-03-01"):
        restore_from(place, tmp_path / "x", at="2031-03-01")
    with pytest.raises(StudioError, match="neither a day"):
        restore_from(place, tmp_path / "x", at="yesterday")
    assert is_place(place) and not is_place(folder)


def test_nothing_saved_means_no_copy_but_another_look(
    folder: Path, place: Path, clock: HandClock
) -> None:
    first = keep_now(folder, clock)
    clock.move(days=3)
    again = keep_now(folder, clock)
    assert not again.made and again.snapshot == first.snapshot and len(names(place)) == 1
    assert again.good.checked_at > first.good.checked_at


def test_rotation_keeps_days_weeks_and_months_and_the_newest(
    folder: Path, place: Path, clock: HandClock
) -> None:
    set_up(folder, place, Rotation(daily=2, weekly=1, monthly=2))
    for number, days in enumerate((0, 20, 20, 1, 1, 1)):
        clock.move(days=days)
        save(folder, number)
        keep_now(folder, clock)
    days = [name[:10] for name in names(place)]
    assert days == ["2031-03-22", "2031-04-13", "2031-04-14"]


def test_a_clock_that_ran_wrong_makes_no_good_backup_go() -> None:
    made = [(f"d{day}", f"2031-03-0{day}T18:00:00.000Z") for day in range(1, 8)]
    ahead = ("ahead", "2099-01-01T00:00:00.000Z")
    stay = to_keep([*made, ahead], Rotation(3, 1, 1), "UTC")
    assert {"ahead", "d7", "d6"} <= stay and len(stay) == 3
    assert to_keep([*made], Rotation(0, 0, 0), "UTC") == {"d7"}
    assert to_keep([], Rotation(), "UTC") == set()


def test_clock_put_back_still_makes_backups_and_keeps_them(
    folder: Path, place: Path, clock: HandClock
) -> None:
    set_up(folder, place, Rotation(1, 0, 0))
    keep_now(folder, clock)
    clock.move(days=-400)
    head = save(folder, 1)
    assert is_due(folder, clock(), head, QUIET, True)
    done = keep_now(folder, clock)
    assert done.made and done.snapshot in names(place) and done.good.head == head
    clock.move(days=-2)
    said = standing(folder, clock())
    assert said.level == "look" and "still to come" in said.says and "clock" in said.advice


def test_only_own_files_are_deleted(folder: Path, place: Path, clock: HandClock) -> None:
    set_up(folder, place, Rotation(1, 0, 0))
    first = keep_now(folder, clock)
    (place / "holiday.jpg").write_text("mine")
    (place / "backups" / "2001-01-01-000000Z").mkdir()
    (place / "backups" / "2001-01-01-000000Z" / "note.txt").write_text("mine")
    (place / "backups" / first.snapshot / "note.txt").write_text("mine")
    (place / "originals" / "aa").mkdir(exist_ok=True)
    (place / "originals" / "aa" / ("a" * 64)).write_text("mine")
    (place / ".hidden.part").write_text("mine")
    (place / "backups" / ".other.0123abcd.part").write_text("mine")
    clock.move(days=1)
    save(folder, 1)
    keep_now(folder, clock)
    mine = [path for path in place.rglob("*") if path.is_file() and path.read_bytes() == b"mine"]
    assert len(mine) == 6


def test_an_original_goes_only_when_no_backup_names_it(
    folder: Path, place: Path, clock: HandClock
) -> None:
    set_up(folder, place, Rotation(2, 0, 0))
    with Studio.open(folder) as studio:
        loose = studio.blobs.put(io.BytesIO(b"kept by nobody"))
    keep_now(folder, clock)
    pooled = the_place(folder)[1].pooled(loose)
    (folder / "originals" / loose[:2] / loose).unlink()
    for number in range(3):
        assert pooled.exists() == (number < 2)
        clock.move(days=1)
        save(folder, number)
        keep_now(folder, clock)
    assert not pooled.exists() and len(originals(place)) == 3
    assert loose not in pool_list(the_place(folder)[1])


def test_a_backup_that_cannot_be_read_stops_the_clearing(
    folder: Path, place: Path, clock: HandClock
) -> None:
    set_up(folder, place, Rotation(1, 0, 0))
    with Studio.open(folder) as studio:
        loose = studio.blobs.put(io.BytesIO(b"named by the broken one"))
    first = keep_now(folder, clock)
    (place / "backups" / first.snapshot / "manifest.json").write_text("{")
    (folder / "originals" / loose[:2] / loose).unlink()
    clock.move(days=1)
    save(folder, 1)
    done = keep_now(folder, clock)
    assert any(first.snapshot in says for says in done.cautions)
    assert the_place(folder)[1].pooled(loose).exists()


def test_an_altered_original_is_found_and_written_again(
    folder: Path, place: Path, clock: HandClock
) -> None:
    keep_now(folder, clock)
    spoiled, gone = originals(place)[:2]
    spoiled.chmod(0o644)
    spoiled.write_bytes(b"x" * spoiled.stat().st_size)
    gone.unlink()
    clock.move(days=26)
    done = keep_now(folder, clock)
    assert any(says.startswith("2 originals had changed or were gone") for says in done.cautions)
    assert keep_pool.hash_from_disk(spoiled)[0] == spoiled.name and gone.is_file()
    said = standing(folder, clock())
    assert said.level == "look" and "should be replaced" in said.advice
    clock.move(days=1)
    assert keep_now(folder, clock).cautions == (SAME_DISK,)


def test_one_that_is_damaged_on_both_sides_is_told(
    folder: Path, place: Path, clock: HandClock
) -> None:
    keep_now(folder, clock)
    spoiled = originals(place)[0]
    for path in (spoiled, folder / "originals" / spoiled.name[:2] / spoiled.name):
        path.chmod(0o644)
        path.write_bytes(b"x")
    clock.move(days=26)
    done = keep_now(folder, clock)
    assert any("in the studio too" in says for says in done.cautions)
    with pytest.raises(StudioError, match=r"damaged.*was altered"):
        try_restore(folder, clock=clock)


def test_all_originals_are_read_again_within_a_month(
    folder: Path, place: Path, clock: HandClock
) -> None:
    keep_now(folder, clock)
    began = clock()
    for day in range(30):
        clock.move(days=1)
        save(folder, day)
        keep_now(folder, clock)
    read = [one.read_at for one in pool_list(the_place(folder)[1]).values()]
    assert len(read) == 3 and min(read) > began.isoformat()
    done = keep_now(folder, clock, whole=True)
    assert any("3 of 3 originals were read again" in says for says in done.says)


def test_a_damaged_copy_of_the_database_is_made_anew(
    folder: Path, place: Path, clock: HandClock
) -> None:
    first = keep_now(folder, clock)
    copy = place / "backups" / first.snapshot / "studio.db"
    data = bytearray(copy.read_bytes())
    data[len(data) // 2] ^= 1
    copy.write_bytes(data)
    clock.move(days=4)
    again = keep_now(folder, clock)
    assert again.made and again.snapshot != first.snapshot
    assert any(first.snapshot in says and "damaged" in says for says in again.cautions)


def test_a_journal_that_was_changed_is_never_a_good_backup(
    folder: Path, place: Path, clock: HandClock
) -> None:
    keep_now(folder, clock)
    save(folder, 1)
    with closing(sqlite3.connect(folder / "studio.db")) as opened:
        opened.executescript(
            "DROP TRIGGER IF EXISTS journal_no_update; "
            "UPDATE journal SET body = replace(body, '1936', '1937')"
        )
    clock.move(days=1)
    before = last_kept(folder).good
    with pytest.raises(StudioError, match="thrown away"):
        keep_now(folder, clock)
    assert len(names(place)) == 1 and last_kept(folder).good == before
    assert "thrown away" in standing(folder, clock()).advice


def test_tables_that_differ_are_told_and_made_anew_by_restoring(
    folder: Path, place: Path, clock: HandClock, tmp_path: Path
) -> None:
    with closing(sqlite3.connect(folder / "studio.db")) as opened:
        opened.execute("UPDATE item_summary SET title = 'another'")
        opened.commit()
    done = keep_now(folder, clock)
    assert any("the tables differ" in says for says in done.cautions)
    assert restore_from(place, tmp_path / "again")[1].ok
    with Studio.open(tmp_path / "again") as again:
        assert again.items()[0].title == "Copperbeck Garden Annual"


def test_a_damaged_original_does_not_stop_the_journal(
    folder: Path, place: Path, clock: HandClock, tmp_path: Path
) -> None:
    with Studio.open(folder) as studio:
        bad = studio.blobs.path(next(studio.blobs.all()))
    well = bad.read_bytes()
    bad.chmod(0o644)
    bad.write_bytes(b"spoiled")
    done = keep_now(folder, clock)
    assert any("made without it" in says for says in done.cautions)
    one, result = restore_from(place, tmp_path / "again")
    assert one.manifest.left_out == (bad.name,) and result.ok
    assert any("damaged before it could be backed up" in says for says in result.notes)
    bad.write_bytes(well)
    clock.move(days=1)
    assert keep_now(folder, clock).made
    assert restore_from(place, tmp_path / "whole")[1].originals == 3


# --- the place -------------------------------------------------------------------------------


def test_a_place_that_is_not_there_is_said_and_never_made(
    folder: Path, place: Path, clock: HandClock
) -> None:
    keep_now(folder, clock)
    head = save(folder, 1)
    away = place.with_name("away")
    place.rename(away)
    clock.move(days=2)
    with pytest.raises(PlaceMissing, match="Plug the disk in"):
        keep_now(folder, clock)
    assert not place.exists()
    place.mkdir()  # the empty mount point
    with pytest.raises(PlaceMissing, match=MARK):
        keep_now(folder, clock)
    assert list(place.iterdir()) == []
    said = standing(folder, clock())
    assert said.level == "fine" and "2 days ago" in said.says and "not there" in said.advice
    place.rmdir()
    away.rename(place)
    assert is_due(folder, clock(), head, QUIET, True)
    assert keep_now(folder, clock).made and not last_kept(folder).trouble


def test_another_disk_under_the_same_name_is_not_taken_for_ours(
    folder: Path, place: Path, clock: HandClock, tmp_path: Path
) -> None:
    shutil.rmtree(place)
    keep_place.made_place(place, the_first(folder), "Larkmoor paper bench", folder)
    with pytest.raises(PlaceMissing, match="another backup place"):
        keep_now(folder, clock)
    set_up(folder, place)
    assert keep_now(folder, clock).made


def the_first(folder: Path) -> str:
    with Studio.open(folder) as studio:
        first = studio.event(1)
        assert first is not None
        return first.hash


def test_places_that_will_not_do(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(StudioError, match="only the last folder"):
        set_up(folder, tmp_path / "media" / "disk" / "quirewell")
    assert not (tmp_path / "media").exists()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "holiday.jpg").write_text("mine")
    with pytest.raises(StudioError, match="holds other things"):
        set_up(folder, tmp_path / "full")
    for inside in (folder / "copies", folder / "backups" / "x", tmp_path):
        with pytest.raises(StudioError, match="studio's own folder"):
            set_up(folder, inside)
    with studio_with_item(tmp_path / "other"):
        pass
    set_up(tmp_path / "other", tmp_path / "disk")
    with (
        Studio.create(tmp_path / "third", "Third bench"),
        pytest.raises(StudioError, match="another studio"),
    ):
        set_up(tmp_path / "third", tmp_path / "disk")
    assert backup_settings(folder).place == ""
    with pytest.raises(StudioError, match="no backups are set up"):
        keep_now(folder)


def test_a_full_disk_leaves_what_was_there(
    folder: Path, place: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_now(folder, clock)
    save(folder, 1)
    clock.move(days=1)
    with monkeypatch.context() as patched:
        patched.setattr(keep_make, "free_bytes", lambda where: 1000)
        with pytest.raises(StudioError, match="no room for a backup"):
            keep_now(folder, clock)
    written = os.fsync

    def full(handle: int) -> None:
        if Path(f"/proc/self/fd/{handle}").readlink().is_relative_to(place):
            raise OSError(ENOSPC, "No space left on device")
        written(handle)

    with monkeypatch.context() as patched:
        patched.setattr(keep_pool.os, "fsync", full)
        with pytest.raises(StudioError, match="full"):
            keep_now(folder, clock)
    assert len(snapshots(the_place(folder)[1])[0]) == 1
    assert "full" in last_kept(folder).trouble
    assert not is_due(folder, clock(), "", QUIET, True)
    clock.move(hours=7)
    assert keep_now(folder, clock).made
    assert [name for name in names(place) if name.startswith(".")] == []


def test_one_backup_at_a_time(folder: Path, place: Path, clock: HandClock) -> None:
    with keep_make._alone(folder), pytest.raises(BackupRunning):
        keep_now(folder, clock)
    assert keep_now(folder, clock).made


# --- cut short -------------------------------------------------------------------------------

STEPS = ("copy_database", "put_in", "copy_durably", "put_whole", "checked", "write_pool_list",
         "settle", "rotate", "remember_kept")  # fmt: skip


def _die(folder: Path, step: str, after: bool) -> None:
    """Work until a step, then be gone as if the power had failed."""
    real = getattr(keep_make, step)

    def dying(*given: object, **named: object) -> object:
        if after:
            real(*given, **named)
        os._exit(9)

    setattr(keep_make, step, dying)
    keep_now(folder, HandClock())


@pytest.mark.slow
@pytest.mark.parametrize("after", [False, True])
def test_killed_at_any_step_no_half_backup_counts(folder: Path, place: Path, after: bool,
                                                  tmp_path: Path) -> None:  # fmt: skip
    spawn = multiprocessing.get_context("spawn")
    for number, step in enumerate(STEPS):
        save(folder, number)
        process = spawn.Process(target=_die, args=(folder, step, after))
        process.start()
        process.join(60)
        assert process.exitcode == 9, step
        found, broken = snapshots(the_place(folder)[1])
        assert not broken, step
        for one in found:
            _, result = restore_from(place, tmp_path / f"{step}-{one.name}", at=one.name)
            assert result.ok, step
    clock = HandClock()
    clock.move(days=1)
    save(folder, 99)
    assert keep_now(folder, clock).made
    assert list(place.rglob(".*")) == [] and list((folder / "backups").glob(".keep-*")) == []


# --- words and days --------------------------------------------------------------------------


def test_what_is_said_as_time_goes_by(folder: Path, place: Path, clock: HandClock) -> None:
    never = standing(folder, clock())
    assert (never.level, never.says) == ("wrong", "No backup was made yet.")
    with Studio.open(folder) as studio:
        young = standing(folder, clock(), opened_at=clock().isoformat())
        head = studio.head()
    assert young.level == "look"
    keep_now(folder, clock)
    said = {}
    for days in (0, 1, 7, 12, 40):
        told = standing(folder, clock() + timedelta(days=days))
        said[days] = (told.level, told.says)
    assert said == {
        0: ("look", "The last backup was made and checked today."),
        1: ("look", "The last backup was made and checked yesterday."),
        7: ("look", "The last backup was made and checked 7 days ago."),
        12: ("look", "The last backup that was checked is 12 days old."),
        40: ("wrong", "The last backup that was checked is 40 days old."),
    }
    assert "same disk" in standing(folder, clock()).advice
    told = standing(folder, clock() + timedelta(days=40), head=head)
    assert told.level == "look" and told.says.endswith("Nothing was saved since.")


def test_without_a_place_it_is_said_that_there_is_none(folder: Path, tmp_path: Path) -> None:
    from quirewell.studio.backup import backup
    from quirewell.studio.clock import now

    said = standing(folder, now())
    assert said.says == "There is no backup of this studio." and "--to PLACE" in said.advice
    backup(folder, tmp_path / "copy.zip")
    said = standing(folder, now())
    assert said.level == "look" and said.says.startswith("The last backup was made by hand today.")
    assert standing(folder, now() + timedelta(days=30)).level == "wrong"


def test_when_one_is_due(folder: Path, place: Path, clock: HandClock) -> None:
    assert is_due(folder, clock(), "a", timedelta(0), True)
    assert not is_due(folder, clock(), "a", QUIET, False)
    good = keep_now(folder, clock).good
    cases = [
        (timedelta(hours=20), "new", QUIET, False),
        (timedelta(hours=25), "new", QUIET, True),
        (timedelta(hours=25), "new", timedelta(minutes=2), False),
        (timedelta(hours=49), "new", timedelta(minutes=2), True),
        (timedelta(days=2), good.head, QUIET, False),
        (timedelta(days=4), good.head, QUIET, True),
    ]
    for age, head, quiet, due in cases:
        assert is_due(folder, clock() + age, head, quiet, True) is due, (age, head)


def test_the_whole_test_of_restoring_is_remembered(
    folder: Path, place: Path, clock: HandClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = keep_now(folder, clock)
    one, result = try_restore(folder, clock=clock)
    assert result.ok and one.name == done.snapshot == last_kept(folder).restored
    assert list((folder / "backups").glob(".keep-*")) == []
    from quirewell.studio import keep_restore

    monkeypatch.setattr(keep_restore, "free_bytes", lambda where: 10)
    with pytest.raises(StudioError, match="beside the studio for a while"):
        try_restore(folder, clock=clock)


def test_the_list_of_the_pool_may_be_lost(folder: Path, place: Path, clock: HandClock) -> None:
    keep_now(folder, clock)
    (place / "read-again.json").write_text("{")
    save(folder, 1)
    clock.move(days=1)
    keep_now(folder, clock)
    assert len(json.loads((place / "read-again.json").read_text())["originals"]) == 3


@pytest.mark.usefixtures("on_postgres")
def test_tables_in_postgresql_are_kept_and_restored_as_a_file(
    folder: Path, clock: HandClock, tmp_path: Path
) -> None:
    with Studio.open(folder) as studio:
        assert studio.engine.dialect.name == "postgresql"
        events = studio.events()
    place = set_up(folder, tmp_path / "disk").folder
    done = keep_now(folder, clock)
    assert done.made and done.good.events == len(events)
    assert not keep_now(folder, clock).made
    assert restore_from(place, tmp_path / "again")[1].ok
    with Studio.open(tmp_path / "again") as again:
        assert again.engine.dialect.name == "sqlite" and again.events() == events
    clock.move(days=60)
    health = examine(folder, clock)
    assert [one.says for one in health.rows if one.level == "wrong"] == []
