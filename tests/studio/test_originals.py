"""Originals in a place elsewhere: the same promises on a share, in memory and in an S3 store."""

from __future__ import annotations

import hashlib
import io
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from originals_places import KINDS, allow_memory, place_text, server, store_of
from quirewell.studio import where
from quirewell.studio.blobs import TooLarge, hash_file
from quirewell.studio.faults import DiskFull, StudioError
from quirewell.studio.object_store import ObjectStore
from quirewell.studio.originals import Originals
from quirewell.studio.originals_cache import Cache, CacheFull
from quirewell.studio.remote_blobs import RemoteBlobs
from quirewell.studio.store_faults import (
    StoreAway,
    StoreChanged,
    StoreFault,
    StoreFull,
    StoreRefuses,
)
from quirewell.studio.stores import INCOMING, MARKER, FolderStore, clear_unfinished

DATA = [bytes([number]) * (1000 + number) for number in range(6)]
HASHES = [hashlib.sha256(data).hexdigest() for data in DATA]


@pytest.fixture(scope="module")
def s3(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    with server(tmp_path_factory.mktemp("store")) as port:
        yield port


@pytest.fixture(params=["here", *KINDS])
def place(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "s3":
        request.getfixturevalue("s3")
    allow_memory(monkeypatch)
    return "here" if request.param == "here" else place_text(request.param, tmp_path)


@pytest.fixture
def blobs(place: str, tmp_path: Path) -> Originals:
    folder = tmp_path / "studio"
    (folder / "originals").mkdir(parents=True)
    if place != "here":
        store_of(place)
        where.set_table(folder, "originals", {"at": place})
    return Originals(folder)


elsewhere = pytest.mark.parametrize("place", KINDS, indirect=True)


def remote(blobs: Originals) -> RemoteBlobs:
    now = blobs.now()
    assert isinstance(now, RemoteBlobs)
    return now


def empty_cache(blobs: Originals) -> None:
    for copy in blobs.cache_folder.glob("??/*"):
        copy.unlink()


def put_raw(blobs: Originals, sha256: str, data: bytes) -> None:
    """Change what lies under an original's name, behind the store's back."""
    store = remote(blobs).store
    if isinstance(store, FolderStore):
        target = store.folder / sha256[:2] / sha256
        target.parent.mkdir(exist_ok=True)
        target.unlink(missing_ok=True)
        target.write_bytes(data)
        return
    assert isinstance(store, ObjectStore)
    store._fs.pipe_file(store._at(sha256), data)


def broken(monkeypatch: pytest.MonkeyPatch, store: Any, name: str, error: Exception) -> None:
    """Let a call of the store's client fail."""

    def fail(*arguments: Any, **named: Any) -> None:
        raise error

    if isinstance(store, ObjectStore):
        monkeypatch.setattr(store._fs, {"write": "put_file", "read": "open"}[name], fail)
    else:
        place = {"write": "quirewell.studio.stores._write_through", "read": "pathlib.Path.open"}
        monkeypatch.setattr(place[name], fail)


# --- the same everywhere ---------------------------------------------------------------------


def test_what_is_put_in_comes_out_byte_for_byte(blobs: Originals, tmp_path: Path) -> None:
    names = [blobs.put(io.BytesIO(data)) for data in DATA]
    assert names == HASHES and list(blobs.all()) == sorted(HASHES)
    assert blobs.sizes() == {n: len(d) for n, d in sorted(zip(HASHES, DATA, strict=True))}
    for name, data in zip(HASHES, DATA, strict=True):
        assert blobs.has(name) and blobs.size_bytes(name) == len(data)
        assert blobs.hash(name) == name and b"".join(blobs.chunks(name)) == data
        with blobs.held(name) as path:
            assert path.read_bytes() == data
        assert blobs.path(name).read_bytes() == data and blobs.path(name) == blobs.place(name)
        assert not os.access(blobs.path(name), os.W_OK) or os.geteuid() == 0
        assert blobs.path(name).stat().st_mode & 0o222 == 0
    again = Originals(blobs.studio)
    empty_cache(again)
    assert again.near(HASHES[0]) == (again.now() is again.own) and not again.near("no hash")
    assert [again.path(name).read_bytes() for name in HASHES] == DATA
    assert not again.unfinished()


def test_the_same_file_again_is_the_same_original(blobs: Originals, tmp_path: Path) -> None:
    (tmp_path / "one").write_bytes(DATA[0])
    assert blobs.put(tmp_path / "one") == blobs.put(io.BytesIO(DATA[0])) == HASHES[0]
    assert list(blobs.all()) == [HASHES[0]]


def test_what_is_not_there_is_said(blobs: Originals) -> None:
    assert not blobs.has(HASHES[0]) and not blobs.has("../../etc/passwd")
    for call in (blobs.path, blobs.size_bytes, blobs.hash, lambda n: list(blobs.chunks(n))):
        with pytest.raises(StudioError, match=f"{HASHES[0][:12]}… is missing from"):
            call(HASHES[0])
        with pytest.raises(StudioError, match="is not the name of an original"):
            call("../../etc/passwd")


def test_a_file_too_large_leaves_nothing(blobs: Originals) -> None:
    with pytest.raises(TooLarge):
        blobs.put(io.BytesIO(b"x" * 3_000_000), max_bytes=2_000_000)
    assert not list(blobs.all()) and not blobs.unfinished()


def test_a_staged_copy_that_is_not_kept_is_gone(blobs: Originals) -> None:
    with blobs.staged(io.BytesIO(DATA[0])) as copy:
        assert copy.path.read_bytes() == DATA[0] and copy.sha256 == HASHES[0]
    assert not copy.path.exists() and not list(blobs.all())


# --- elsewhere: faults ----------------------------------------------------------------------


@elsewhere
def test_a_changed_object_is_never_handed_out_nor_overwritten(blobs: Originals) -> None:
    remote(blobs)
    blobs.put(io.BytesIO(DATA[0]))
    for wrong in (b"other", DATA[0][:-1], DATA[1][: len(DATA[0])]):
        put_raw(blobs, HASHES[0], wrong)
        empty_cache(blobs)
        with pytest.raises(StoreChanged, match="is not the file that was taken in"):
            blobs.path(HASHES[0])
        with pytest.raises(StoreChanged), blobs.held(HASHES[0]):
            pass
        with pytest.raises(StoreChanged):
            blobs.put(io.BytesIO(DATA[0]))
        assert b"".join(blobs.chunks(HASHES[0])) == wrong and blobs.hash(HASHES[0]) != HASHES[0]
    assert not list(blobs.cache_folder.glob("??/*")) and not remote(blobs).store.unfinished()
    assert not blobs.unfinished()


@elsewhere
def test_an_upload_that_reads_back_differently_is_not_kept(
    blobs: Originals, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = remote(blobs).store
    if isinstance(store, ObjectStore):
        real = store._fs.put_file

        def half(source: str, target: str, **named: Any) -> None:
            Path(source).with_suffix(".half").write_bytes(Path(source).read_bytes()[:500])
            real(str(Path(source).with_suffix(".half")), target, **named)

        monkeypatch.setattr(store._fs, "put_file", half)
    else:
        monkeypatch.setattr(
            "quirewell.studio.stores._write_through",
            lambda source, target: target.write_bytes(source.read_bytes()[:500]),
        )
    with pytest.raises(StoreChanged, match="does not read back as it was sent"):
        blobs.put(io.BytesIO(DATA[0]))
    assert not list(blobs.all()) and not blobs.has(HASHES[0]) and not store.unfinished()
    monkeypatch.undo()
    allow_memory(monkeypatch)


@elsewhere
def test_an_upload_broken_off_leaves_nothing_and_is_done_once_more(
    blobs: Originals, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = remote(blobs).store
    with monkeypatch.context() as patch:
        broken(patch, store, "write", ConnectionResetError(104, "Connection reset by peer"))
        with pytest.raises(StoreAway, match=r"cannot be reached just now .*Connection reset"):
            blobs.put(io.BytesIO(DATA[0]))
    assert not list(blobs.all()) and not store.unfinished() and not blobs.unfinished()
    assert blobs.put(io.BytesIO(DATA[0])) == HASHES[0] and blobs.has(HASHES[0])


@elsewhere
@pytest.mark.parametrize(
    ("error", "kind", "says"),
    [
        (OSError(28, "No space left on device"), StoreFull, "has no room left"),
        (OSError(5, "XMinioStorageFull: Storage backend is full"), StoreFull, "no room left"),
        (PermissionError("Access Denied"), StoreRefuses, "does not allow this"),
        (OSError(30, "Read-only file system"), StoreRefuses, "does not allow this"),
        (TimeoutError("timed out"), StoreAway, "cannot be reached"),
    ],
)
def test_each_fault_of_a_store_is_one_sentence_with_a_way_on(
    blobs: Originals, monkeypatch: pytest.MonkeyPatch, error: Exception,
    kind: type[StoreFault], says: str,
) -> None:  # fmt: skip
    store = remote(blobs).store
    with monkeypatch.context() as patch:
        broken(patch, store, "write", error)
        with pytest.raises(kind, match=says) as raised:
            blobs.put(io.BytesIO(DATA[0]))
    assert "once more" in str(raised.value) and not list(blobs.all())


@elsewhere
def test_a_place_without_its_marker_takes_and_gives_nothing(blobs: Originals) -> None:
    store = remote(blobs).store
    blobs.put(io.BytesIO(DATA[0]))
    if isinstance(store, ObjectStore):
        store._fs.rm_file(store._key(MARKER))
    else:
        (store.folder / MARKER).unlink()
    for call in (blobs.sizes, lambda: blobs.put(io.BytesIO(DATA[1])), lambda: blobs.has(HASHES[1])):
        with pytest.raises(StoreAway, match=f"{MARKER} is missing there"):
            call()
    assert blobs.path(HASHES[0]).read_bytes() == DATA[0]  # The copy on this machine serves.


@elsewhere
def test_half_uploads_never_count_and_go_after_days(blobs: Originals) -> None:
    store = remote(blobs).store
    name = f"{INCOMING}/elsewhere-1-{'0' * 16}.part"
    if isinstance(store, ObjectStore):
        store._fs.pipe_file(store._key(name), DATA[0][:500])
    else:
        (store.folder / INCOMING).mkdir()
        (store.folder / name).write_bytes(DATA[0][:500])
    assert not list(blobs.all()) and not blobs.has(HASHES[0]) and len(store.unfinished()) == 1
    assert clear_unfinished(store, 3600) == 0 and len(store.unfinished()) == 1
    assert clear_unfinished(store, -3600) == 1 and not store.unfinished()


# --- the copies on this machine --------------------------------------------------------------


def cache_of(tmp_path: Path, most: int) -> Cache:
    return Cache(tmp_path / "cache", most)


def bring(cache: Cache, number: int, in_use: bool = True) -> Path | None:
    data = DATA[number]
    with cache.part() as part:
        assert cache.fetch(HASHES[number], io.BytesIO(data), len(data), part)
        return cache.adopt(part, HASHES[number], in_use)


def test_the_copies_stay_within_their_room_and_the_oldest_go_first(tmp_path: Path) -> None:
    cache = cache_of(tmp_path, 3200)
    for number in range(3):
        bring(cache, number)
    long_ago = time.time() - 7 * 3600
    for number, age in ((0, 30), (1, 60), (2, 0)):
        os.utime(cache.place(HASHES[number]), (long_ago - age, long_ago - age))
    assert bring(cache, 3) is not None
    assert {name for name, _ in cache.copies()} == {HASHES[0], HASHES[2], HASHES[3]}
    assert sum(size for _, size in cache.copies()) <= 3200
    assert cache.find(HASHES[0]) is not None and cache.find(HASHES[1]) is None
    assert bring(cache, 4) is not None  # 0 was used just now, so 2 goes.
    assert {name for name, _ in cache.copies()} == {HASHES[0], HASHES[3], HASHES[4]}


def test_a_copy_in_use_is_never_let_go(tmp_path: Path) -> None:
    cache = cache_of(tmp_path, 3200)
    for number in range(3):
        bring(cache, number)
    with pytest.raises(CacheFull, match="cache_gb"):
        bring(cache, 3)
    assert {name for name, _ in cache.copies()} == set(HASHES[:3])


def test_a_copy_of_an_intake_gives_way_first(tmp_path: Path) -> None:
    cache = cache_of(tmp_path, 3200)
    bring(cache, 0)
    bring(cache, 1, in_use=False)
    bring(cache, 2)
    assert bring(cache, 3) is not None
    assert {name for name, _ in cache.copies()} == {HASHES[0], HASHES[2], HASHES[3]}


@elsewhere
def test_a_full_disk_of_the_copies_is_said_and_leaves_no_part(
    blobs: Originals, monkeypatch: pytest.MonkeyPatch
) -> None:
    remote(blobs)
    blobs.put(io.BytesIO(DATA[0]))
    empty_cache(blobs)

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("quirewell.studio.originals_cache.os.fsync", full)
        with pytest.raises(DiskFull, match=r"the disk that holds .*originals-cache is full"):
            blobs.path(HASHES[0])
        with pytest.raises(DiskFull), blobs.held(HASHES[0]):
            pass
    assert not blobs.unfinished() and not list(blobs.cache_folder.glob("??/*"))
    assert hash_file(blobs.path(HASHES[0])) == HASHES[0]


@elsewhere
def test_a_line_that_dies_while_reading_is_no_fault_of_this_disk(
    blobs: Originals, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = remote(blobs).store
    blobs.put(io.BytesIO(DATA[0]))
    empty_cache(blobs)

    class Dying(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise OSError(5, "Input/output error")

    @contextmanager
    def opened(sha256: str) -> Iterator[Any]:
        yield Dying()

    monkeypatch.setattr(store, "opened", opened)
    for call in (blobs.path, blobs.hash, lambda name: list(blobs.chunks(name))):
        with pytest.raises(StoreAway, match="cannot be reached just now"):
            call(HASHES[0])
    assert not blobs.unfinished() and not list(blobs.cache_folder.glob("??/*"))


@elsewhere
def test_a_held_copy_takes_no_room_afterwards(blobs: Originals) -> None:
    remote(blobs)
    blobs.put(io.BytesIO(DATA[0]))
    empty_cache(blobs)
    with blobs.held(HASHES[0]) as path:
        assert path.read_bytes() == DATA[0]
    assert not path.exists() and not list(blobs.cache_folder.glob("??/*"))


@elsewhere
def test_a_second_opening_leaves_a_copy_on_its_way_alone(blobs: Originals) -> None:
    remote(blobs)
    blobs.put(io.BytesIO(DATA[0]))
    empty_cache(blobs)
    with blobs.held(HASHES[0]) as path, blobs.staged(io.BytesIO(DATA[1])) as copy:
        assert Originals(blobs.studio).clear_incoming() == 0
        assert path.read_bytes() == DATA[0] and copy.path.read_bytes() == DATA[1]
    left = blobs.cache_folder / INCOMING / f"4194305-{'0' * 16}.part"  # above any process's id
    left.write_bytes(b"left by a killed process")
    assert Originals(blobs.studio).clear_incoming() == 1 and not left.exists()


@pytest.mark.parametrize("said", [0, -1, "much", True])
def test_a_room_that_is_no_number_is_said(tmp_path: Path, said: Any) -> None:
    where.set_table(tmp_path, "originals", {"at": str(tmp_path / "x"), "cache_gb": said})
    with pytest.raises(StudioError, match="write a number of gigabytes"):
        Originals(tmp_path).now()
