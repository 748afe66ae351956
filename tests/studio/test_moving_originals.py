"""Originals are moved whole, resumably and back; and the studio is whole wherever they lie."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive_case import archive_studio
from originals_places import KINDS, allow_memory, place_text, server
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.studio import where
from quirewell.studio.backup import backup, restore
from quirewell.studio.blobs import hash_file
from quirewell.studio.check import check
from quirewell.studio.faults import StudioError
from quirewell.studio.moving_originals import move_originals, remove_old, standing
from quirewell.studio.originals import Originals
from quirewell.studio.originals_address import address
from quirewell.studio.remote_blobs import RemoteBlobs
from quirewell.studio.store_faults import StoreAway, StoreChanged
from quirewell.studio.stores import FolderStore
from quirewell.studio.studio import Studio
from studio_help import new_studio

SIZES = (10, 70_000, 1_500_000)


@pytest.fixture(scope="module")
def s3(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    with server(tmp_path_factory.mktemp("store")) as port:
        yield port


@pytest.fixture(params=KINDS)
def place(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "s3":
        request.getfixturevalue("s3")
    allow_memory(monkeypatch)
    return place_text(request.param, tmp_path)


def filled(folder: Path) -> tuple[Studio, list[str]]:
    studio = new_studio(folder)
    return studio, [studio.blobs.put(io.BytesIO(os.urandom(size))) for size in SIZES]


def test_there_and_back_again(place: str, tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    told: list[tuple[int, int]] = []
    with studio:
        moved = move_originals(studio.blobs, place, lambda done, total: told.append((done, total)))
        assert (moved.originals, moved.copied, moved.bytes) == (3, 3, sum(SIZES))
        assert told == [(1, 3), (2, 3), (3, 3)]
        assert isinstance(studio.blobs.now(), RemoteBlobs)
        assert sorted(studio.blobs.all()) == sorted(names)
        stands = standing(studio.blobs)
        assert (stands.at, stands.originals, stands.old) == (address(place).text, 3, 3)
        assert remove_old(studio.blobs) == (3, sum(SIZES))
        assert not list(studio.blobs.own.all())
        for name in names:
            assert hash_file(studio.blobs.path(name)) == name
        assert (standing(studio.blobs).cached, standing(studio.blobs).old) == (3, 0)
        again = move_originals(studio.blobs, place)
        assert (again.copied, again.originals) == (0, 3)
        back = move_originals(studio.blobs, "here")
        assert (back.originals, back.copied, back.at) == (3, 3, "here")
        assert studio.blobs.now() is studio.blobs.own
        assert where.table(studio.folder, "originals") == {}
        assert [hash_file(studio.blobs.path(name)) for name in names] == names
        assert remove_old(studio.blobs) == (3, sum(SIZES))
        assert not list(studio.blobs.cache_folder.glob("??/*"))
        forth = move_originals(studio.blobs, place)
        assert (forth.originals, forth.copied) == (3, 0)  # What was left there counts again.


def test_other_settings_stay_and_another_process_follows(place: str, tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    with studio, Studio.open(tmp_path / "s") as other:
        where.set_table(studio.folder, "originals", {"cache_gb": 1.5})
        where.set_table(studio.folder, "database", {"at": "elsewhere"})
        assert hash_file(other.blobs.path(names[0])) == names[0]
        move_originals(studio.blobs, place)
        assert where.table(studio.folder, "originals")["cache_gb"] == 1.5
        assert where.table(studio.folder, "database") == {"at": "elsewhere"}
        late = other.blobs.put(io.BytesIO(b"taken in by the other"))
        assert late in studio.blobs.now().sizes() and late not in studio.blobs.own.sizes()
        where.set_table(studio.folder, "database", {})


def test_what_is_taken_in_while_a_move_goes_on_is_moved_too(tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    late: list[str] = []
    with studio:

        def told(done: int, total: int) -> None:
            if not late:
                late.append(studio.blobs.put(io.BytesIO(b"in the middle of it")))

        moved = move_originals(studio.blobs, str(tmp_path / "share"), told)
        assert moved.originals == len(names) + 1
        assert sorted(studio.blobs.all()) == sorted([*names, *late])


def test_an_intake_waits_for_the_switch_and_goes_to_the_new_place(tmp_path: Path) -> None:
    studio, _ = filled(tmp_path / "s")
    with studio:
        kept: list[str] = []
        with studio.blobs.switching():
            one = threading.Thread(
                target=lambda: kept.append(studio.blobs.put(io.BytesIO(b"during the switch")))
            )
            one.start()
            one.join(0.3)
            assert not kept and one.is_alive()
            FolderStore(tmp_path / "share").prepare()
            where.set_table(studio.folder, "originals", {"at": str(tmp_path / "share")})
        one.join(10)
        assert (tmp_path / "share" / kept[0][:2] / kept[0]).is_file()


def test_an_original_that_was_altered_stops_the_move(tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    with studio:
        place = studio.blobs.path(names[1])
        place.chmod(0o644)
        place.write_bytes(b"altered")
        with pytest.raises(StudioError, match="no longer the file that was taken in"):
            move_originals(studio.blobs, str(tmp_path / "share"))
        assert studio.blobs.now() is studio.blobs.own


def test_another_file_under_an_originals_name_stops_the_move(tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    share = tmp_path / "share"
    FolderStore(share).prepare()
    (share / names[0][:2]).mkdir()
    (share / names[0][:2] / names[0]).write_bytes(b"another")
    with studio:
        with pytest.raises(StoreChanged):
            move_originals(studio.blobs, str(share))
        assert studio.blobs.now() is studio.blobs.own
    assert (share / names[0][:2] / names[0]).read_bytes() == b"another"


def test_old_copies_stay_when_the_place_lost_or_changed_one(tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    share = tmp_path / "share"
    with studio:
        move_originals(studio.blobs, str(share))
        last = sorted(names)[-1]
        target = share / last[:2] / last
        target.unlink()
        with pytest.raises(StudioError, match="is missing from"):
            remove_old(studio.blobs)
        assert studio.blobs.own.has(last)
        target.write_bytes(b"another")
        with pytest.raises(StudioError, match="is another file; its copy here stays"):
            remove_old(studio.blobs)
        assert studio.blobs.own.has(last)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("http://example.org/x", "originals cannot lie at"),
        ("ssh://host/x", "originals cannot lie at"),
        ("memory://x/y", "originals cannot lie at"),
        ("simplecache::s3://larkmoor/x", "originals cannot lie at"),
        ("zip://a.zip::file:///x", "originals cannot lie at"),
        ("s3://key:word@larkmoor/x", "A key or password never belongs there"),
        ("s3://larkmoor/../other", "is not the name of a bucket"),
        ("s3://larkmoor/x?versionId=1", "is not the name of a bucket"),
        ("s3:/larkmoor", "is not the name of a bucket"),
        ("s3://", "is not the name of a bucket"),
        ("S3://LARKMOOR/x", "is not the name of a bucket"),
    ],
)
def test_no_other_address_is_taken(tmp_path: Path, text: str, says: str) -> None:
    with new_studio(tmp_path / "s") as studio:
        with pytest.raises(StudioError, match=re.escape(says)):
            move_originals(studio.blobs, text)
        assert not (studio.folder / where.WHERE).exists()
    where.set_table(tmp_path / "s", "originals", {"at": text})
    with pytest.raises(StudioError, match=re.escape(says)):
        Originals(tmp_path / "s").now()


def test_addresses_that_are_taken(tmp_path: Path) -> None:
    assert address("here").text == address(" ").text == "here"
    assert address("s3://larkmoor/a/b-c_1.2/").text == "s3://larkmoor/a/b-c_1.2"
    assert address(f"file://{tmp_path}/x").text == str(tmp_path / "x")
    assert address(f"file://localhost{tmp_path}/x").text == str(tmp_path / "x")
    assert address("x/y").path == str(Path("x/y").absolute())


def test_a_folder_of_the_studio_or_one_that_holds_something_is_refused(tmp_path: Path) -> None:
    studio, _ = filled(tmp_path / "s")
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "one.txt").write_text("mine")
    with studio:
        for wrong, says in (
            (tmp_path / "s" / "derived" / "x", "lies in the studio's own folder"),
            (tmp_path / "letters", "holds something already"),
            (tmp_path, "holds something already"),
            (tmp_path / "none" / "x", "there is no folder"),
        ):
            with pytest.raises(StudioError, match=says):
                move_originals(studio.blobs, str(wrong))
        assert studio.blobs.now() is studio.blobs.own


# --- a whole studio with its originals elsewhere ---------------------------------------------


def test_check_backup_restore_and_archive_work_from_anywhere(place: str, tmp_path: Path) -> None:
    home = tmp_path / "home"
    archive_studio(home).close()
    before = make(home, tmp_path / "before.zip", Wish(tiles=False))
    with Studio.open(home) as studio:
        move_originals(studio.blobs, place)
        remove_old(studio.blobs)
        names = sorted(studio.blobs.all())
    looked = check(home)
    assert looked.ok and looked.originals == before.originals == len(names)
    assert looked.bytes == before.originals_bytes
    assert not [note for note in looked.notes if "studio.toml" in note]

    manifest = backup(home, tmp_path / "b.zip")
    assert len([kept for kept in manifest.files if kept.path.startswith("originals/")]) == len(
        names
    )
    again = restore(tmp_path / "b.zip", tmp_path / "again")
    assert again.ok and again.originals == len(names)
    with Studio.open(tmp_path / "again") as restored:
        assert restored.blobs.now() is restored.blobs.own  # A restored studio has them itself.

    made = make(home, tmp_path / "after.zip", Wish(workers=1))
    assert (made.originals, made.originals_bytes) == (before.originals, before.originals_bytes)
    assert read_archive(tmp_path / "after.zip", tmp_path / "read").ok
    with Studio.open(home) as studio:
        assert not studio.blobs.unfinished()
        assert standing(studio.blobs).cached == 0  # Read in pieces or held: no room was taken.


def test_a_share_that_is_away_is_said_once_and_nothing_counts_as_missing(tmp_path: Path) -> None:
    home, share = tmp_path / "home", tmp_path / "share"
    archive_studio(home).close()
    with Studio.open(home) as studio:
        move_originals(studio.blobs, str(share))
        remove_old(studio.blobs)
    share.rename(tmp_path / "away")
    share.mkdir()  # The empty folder that a share leaves when it is not mounted.
    looked = check(home)
    assert [trouble.code for trouble in looked.troubles] == ["away"]
    with pytest.raises(StoreAway):
        backup(home, tmp_path / "b.zip")
    with pytest.raises(StoreAway):
        make(home, tmp_path / "a.zip", Wish(tiles=False))
    left = {entry.name for entry in tmp_path.iterdir() if entry.suffix == ".zip"}
    assert not left and not list(tmp_path.glob(".*.part"))
    share.rmdir()
    (tmp_path / "away").rename(share)
    assert check(home).ok


def test_check_tells_a_changed_and_a_missing_object(tmp_path: Path) -> None:
    home, share = tmp_path / "home", tmp_path / "share"
    archive_studio(home).close()
    with Studio.open(home) as studio:
        move_originals(studio.blobs, str(share))
        names = sorted({one.sha256 for one in studio.state("annual").captures.values()})
    gone, other = (share / name[:2] / name for name in names[:2])
    gone.unlink()
    other.chmod(0o644)
    other.write_bytes(b"other")
    assert {trouble.code for trouble in check(home).troubles} == {"missing", "altered"}


# --- killed ----------------------------------------------------------------------------------

CHILD = """
import os, signal, sys
from quirewell.studio import moving_originals, stores
from quirewell.studio.studio import Studio
from pathlib import Path

count = int(sys.argv[3])

def dying(real):
    def call(*arguments, **named):
        global count
        count -= 1
        if count == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*arguments, **named)
    return call

os.fsync = dying(os.fsync)
os.open = dying(os.open)
Path.replace = dying(Path.replace)
with Studio.open(sys.argv[1]) as studio:
    moving_originals.move_originals(studio.blobs, sys.argv[2])
print("finished", flush=True)
"""


@pytest.mark.slow
def test_a_move_killed_at_any_step_goes_on_and_loses_nothing(tmp_path: Path) -> None:
    studio, names = filled(tmp_path / "s")
    studio.close()
    share, finished, kills = tmp_path / "share", False, 0
    for after in range(1, 100):
        command = [sys.executable, "-c", CHILD, str(tmp_path / "s"), str(share), str(after)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        assert done.returncode in (0, -9), done.stderr
        kills += done.returncode == -9
        with Studio.open(tmp_path / "s") as again:
            assert sorted(again.blobs.own.all()) == sorted(names)
            assert [hash_file(again.blobs.path(name)) for name in names] == names
        for place in share.glob("??/*"):
            assert hash_file(place) == place.name  # Half an object never has a name.
        if done.returncode == 0:
            finished = True
            break
    assert finished and kills >= 5  # Each goes on from where the last was killed.
    with Studio.open(tmp_path / "s") as again:
        assert again.blobs.address.text == str(share)
        assert sorted(again.blobs.now().sizes()) == sorted(names)


PUTTING = """
import io, os, sys
from quirewell.studio.studio import Studio

with Studio.open(sys.argv[1]) as studio:
    print("ready", flush=True)
    while True:
        print(studio.blobs.put(io.BytesIO(os.urandom(300_000))), flush=True)
"""


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["folder", "s3"])
def test_twenty_kills_in_the_middle_of_putting(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    if kind == "s3":
        request.getfixturevalue("s3")
    with new_studio(tmp_path / "s") as studio:
        move_originals(studio.blobs, place_text(kind, tmp_path))
    acknowledged: set[str] = set()
    for kill in range(20):
        child = subprocess.Popen(
            [sys.executable, "-c", PUTTING, str(tmp_path / "s")], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        acknowledged.add(child.stdout.readline().strip())
        time.sleep(0.013 * kill)
        os.kill(child.pid, signal.SIGKILL)
        acknowledged |= {line.strip() for line in child.stdout if len(line) == 65}
        child.stdout.close()
        child.wait()
    with Studio.open(tmp_path / "s") as again:
        kept = again.blobs.sizes()
        assert acknowledged <= set(kept) and len(acknowledged) >= 20
        assert [name for name in kept if again.blobs.hash(name) != name] == []
        assert set(kept.values()) == {300_000}
        assert len(kept) <= len(acknowledged) + 20
        assert not again.blobs.unfinished()


def test_the_settings_file_is_private_and_holds_no_credential(tmp_path: Path) -> None:
    studio, _ = filled(tmp_path / "s")
    with studio:
        move_originals(studio.blobs, str(tmp_path / "share"))
    file = tmp_path / "s" / where.WHERE
    assert file.stat().st_mode & 0o777 == 0o600
    said = json.dumps(where.table(tmp_path / "s", "originals"))
    assert said == json.dumps({"at": str(tmp_path / "share")})
