"""A backup's container: a zip file or a plain folder, written and read the same way.

Nothing read from a container is trusted: names come from the manifest only, sizes are capped
while reading, links are refused.
"""

from __future__ import annotations

import hashlib
import os
import stat
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Protocol

from quirewell.studio.blobs import CHUNK_BYTES
from quirewell.studio.durable import sync_tree


class ArchiveError(ValueError):
    """A container that cannot be read as it should; says what is wrong."""


class Writer(Protocol):
    """Takes files into a container."""

    def add_file(self, name: str, source: Path) -> tuple[str, int]:
        """Copy a file in; its (sha256, bytes)."""

    def add_bytes(self, name: str, data: bytes) -> None:
        """Put a small file in."""

    def add_chunks(self, name: str, chunks: Iterable[bytes]) -> tuple[str, int]:
        """Write a file piece by piece; its (sha256, bytes)."""


@contextmanager
def open_writer(target: Path, zipped: bool) -> Iterator[Writer]:
    """A new container, synced to the disk when left without an error."""
    if not zipped:
        target.mkdir()
        yield _FolderWriter(target)
    else:
        with (
            target.open("xb") as out,
            zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=True) as archive,
        ):
            yield _ZipWriter(archive)
    sync_tree(target)


class _FolderWriter:
    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def add_file(self, name: str, source: Path) -> tuple[str, int]:
        target = self._folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        with source.open("rb") as stream, target.open("xb") as out:
            return pour(stream, out, None)

    def add_bytes(self, name: str, data: bytes) -> None:
        self.add_chunks(name, (data,))

    def add_chunks(self, name: str, chunks: Iterable[bytes]) -> tuple[str, int]:
        target = self._folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as out:
            return _write_all(chunks, out)


class _ZipWriter:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def add_file(self, name: str, source: Path) -> tuple[str, int]:
        with source.open("rb") as stream, self._archive.open(name, "w", force_zip64=True) as out:
            return pour(stream, out, None)

    def add_bytes(self, name: str, data: bytes) -> None:
        self._archive.writestr(name, data)

    def add_chunks(self, name: str, chunks: Iterable[bytes]) -> tuple[str, int]:
        with self._archive.open(name, "w", force_zip64=True) as out:
            return _write_all(chunks, out)


def _write_all(chunks: Iterable[bytes], out: IO[bytes]) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    for chunk in chunks:
        digest.update(chunk)
        size += len(chunk)
        out.write(chunk)
    return digest.hexdigest(), size


class Reader:
    """Reads files out of a container by the names its manifest gives."""

    def __init__(self, path: Path, archive: zipfile.ZipFile | None) -> None:
        self.path = path
        self._archive = archive

    def read(self, name: str, most: int) -> bytes:
        """A small file whole.

        Raises:
            ArchiveError: not there, or larger than ``most``.
        """
        with self._open(name) as stream:
            data = stream.read(most + 1)
        if len(data) > most:
            raise ArchiveError(f"{name} is larger than it may be")
        return data

    def hash(self, name: str, size: int) -> str:
        """SHA-256 of a file of the stated size."""
        with self._open(name) as stream:
            return pour(stream, None, size)[0]

    def extract(self, name: str, target: Path, size: int) -> tuple[str, int]:
        """Write a file to ``target``; its (sha256, bytes). Stops at the stated size.

        Raises:
            ArchiveError: not there, damaged, or larger than stated.
        """
        with self._open(name) as stream, target.open("xb") as out:
            found = pour(stream, out, size)
            out.flush()
            os.fsync(out.fileno())
        return found

    @contextmanager
    def _open(self, name: str) -> Iterator[IO[bytes]]:
        try:
            if self._archive is None:
                place = self.path / name
                if place.is_symlink() or not place.resolve().is_relative_to(self.path.resolve()):
                    raise ArchiveError(f"{name} is a link")
                with place.open("rb") as stream:
                    yield stream
                return
            mode = self._archive.getinfo(name).external_attr >> 16
            if stat.S_ISLNK(mode):
                raise ArchiveError(f"{name} is a link")
            with self._archive.open(name) as stream:
                yield stream
        except (KeyError, FileNotFoundError) as error:
            raise ArchiveError(f"{name} is missing") from error
        except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as error:
            raise ArchiveError(f"{name} cannot be read ({error})") from error


@contextmanager
def open_reader(path: Path) -> Iterator[Reader]:
    """A container to read from.

    Raises:
        ArchiveError: neither a folder nor a zip file.
    """
    if path.is_dir():
        yield Reader(path, None)
        return
    try:
        with zipfile.ZipFile(path) as archive:
            yield Reader(path, archive)
    except zipfile.BadZipFile as error:
        raise ArchiveError(f"{path.name} is no zip file, or is cut short") from error


def pour(source: IO[bytes], out: IO[bytes] | None, most: int | None) -> tuple[str, int]:
    """Copy a stream, hashing it; (sha256, bytes).

    Raises:
        ArchiveError: more than ``most`` bytes came.
    """
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(CHUNK_BYTES):
        size += len(chunk)
        if most is not None and size > most:
            raise ArchiveError("a file is larger than its manifest says")
        digest.update(chunk)
        if out is not None:
            out.write(chunk)
    return digest.hexdigest(), size
