"""What only a real S3-compatible server shows: lines that are cut, credentials, big uploads."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from cut_line import Line, line_to
from originals_places import place_text, server
from quirewell.studio.moving_originals import move_originals
from quirewell.studio.object_store import ObjectStore
from quirewell.studio.store_faults import StoreAway, StoreRefuses
from quirewell.studio.studio import Studio
from studio_help import new_studio


@pytest.fixture(scope="module")
def s3(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    with server(tmp_path_factory.mktemp("store")) as port:
        yield port


@pytest.fixture
def line(s3: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[Line]:
    with line_to(s3) as one:
        monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{one.port}")
        yield one


@pytest.fixture
def studio(line: Line, tmp_path: Path) -> Iterator[Studio]:
    with new_studio(tmp_path / "s") as made:
        move_originals(made.blobs, place_text("s3", tmp_path))
        yield made


def write(path: Path, size: int) -> str:
    data = os.urandom(size)
    path.write_bytes(data)
    return hashlib.sha256(data).hexdigest()


@pytest.mark.slow
@pytest.mark.parametrize("size", [2_000_000, 34 << 20])
def test_an_upload_cut_in_the_middle_of_the_line(
    studio: Studio, line: Line, tmp_path: Path, size: int
) -> None:
    """34 MiB go up in parts; 2 MB at once. The line dies half-way each time it is tried."""
    sha256 = write(tmp_path / "scan", size)
    line.most = 1_000_000
    with pytest.raises(StoreAway, match="cannot be reached just now"):
        studio.blobs.put(tmp_path / "scan")
    assert line.cut >= 1
    line.most = None
    assert not studio.blobs.has(sha256) and not list(studio.blobs.all())
    assert not studio.blobs.unfinished()
    assert studio.blobs.put(tmp_path / "scan") == sha256
    assert studio.blobs.sizes() == {sha256: size} and studio.blobs.hash(sha256) == sha256
    now = studio.blobs.now()
    assert not now.store.unfinished()  # type: ignore[union-attr]


def test_a_store_that_is_gone_is_said_and_comes_back(
    studio: Studio, s3: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sha256 = write(tmp_path / "scan", 1000)
    place = studio.blobs.address.path
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:1")
    with pytest.raises(StoreAway, match="cannot be reached just now"):
        ObjectStore("s3", place).put(tmp_path / "scan", sha256, 1000)
    monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{s3}")
    ObjectStore("s3", place).put(tmp_path / "scan", sha256, 1000)
    assert studio.blobs.has(sha256)


def test_missing_credentials_are_said_and_none_are_repeated(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.delenv(name)
    with pytest.raises(StoreRefuses, match=r"no credentials for s3://.* were found") as raised:
        ObjectStore("s3", studio.blobs.address.path).sizes()
    assert "made-up" not in str(raised.value)
    monkeypatch.setenv("AWS_PROFILE", "nobody")
    with pytest.raises(StoreRefuses, match="no credentials"):
        ObjectStore("s3", studio.blobs.address.path).sizes()


def test_a_bucket_that_is_not_there_is_said(s3: int) -> None:
    with pytest.raises(StoreAway, match="look at the name of the bucket"):
        ObjectStore("s3", "no-such-bucket/originals").prepare()
