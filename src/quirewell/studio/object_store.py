"""Originals in a bucket of an S3-compatible store, through fsspec.

S3 shows an object whole or not at all. Yet the name of an original is given only after the upload
under a temporary key was read back and hashed here; then the store copies it, and its size is
asked for. No checksum of the store is relied on: an ETag is not a hash of the content for uploads
in parts, and not every store keeps SHA-256 checksums. Credentials, region and endpoint come from
the environment or the S3 client's own files (``AWS_PROFILE``, ``AWS_ENDPOINT_URL``, ...).
"""

from __future__ import annotations

import importlib
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from quirewell.studio.blobs import hash_stream, is_sha256
from quirewell.studio.store_faults import store_told
from quirewell.studio.stores import (
    INCOMING,
    MARKER,
    MARKER_TEXT,
    not_as_sent,
    not_here,
    part_name,
    there_already,
)

BLOCK_BYTES = 8 << 20
_UPLOAD = {"s3": {"chunksize": 2 * BLOCK_BYTES, "max_concurrency": 4}}
_OPTIONS: dict[str, dict[str, Any]] = {
    "s3": {
        "skip_instance_cache": True,
        "use_listings_cache": False,
        "config_kwargs": {
            "connect_timeout": 10, "read_timeout": 60, "retries": {"max_attempts": 2},
        },
    }
}  # fmt: skip


def open_file_system(kind: str) -> Any:
    """The file system of fsspec that reads and writes a kind of address."""
    opened = importlib.import_module("fsspec").filesystem(kind, **_OPTIONS.get(kind, {}))
    if kind == "s3":
        opened.retries = 3
    return opened


class ObjectStore:
    """Objects under ``root`` (bucket and prefix) of a file system of fsspec."""

    def __init__(self, kind: str, root: str) -> None:
        self.place = f"{kind}://{root}"
        self._kind = kind
        self._root = root
        self._opened: Any = None

    @property
    def _fs(self) -> Any:
        if self._opened is None:
            self._opened = open_file_system(self._kind)
        return self._opened

    def prepare(self) -> None:
        """See :meth:`~quirewell.studio.stores.Store.prepare`. The bucket must be there."""
        with store_told(self.place):
            if self._size(self._key(MARKER)) is None:
                try:
                    self._fs.pipe_file(self._key(MARKER), MARKER_TEXT.encode())
                except FileNotFoundError as error:
                    raise not_here(self.place) from error
            self._look()

    @contextmanager
    def opened(self, sha256: str) -> Iterator[BinaryIO]:
        """See :meth:`~quirewell.studio.stores.Store.opened`."""
        with store_told(self.place):
            try:
                stream = self._stream(self._at(sha256))
            except FileNotFoundError:
                self._look()
                raise
            with stream:
                yield stream

    def size(self, sha256: str) -> int | None:
        """See :meth:`~quirewell.studio.stores.Store.size`."""
        with store_told(self.place):
            found = self._size(self._at(sha256))
            if found is None:
                self._look()
            return found

    def sizes(self) -> dict[str, int]:
        """See :meth:`~quirewell.studio.stores.Store.sizes`."""
        with store_told(self.place):
            self._look()
            found = self._fs.find(self._root, detail=True)
            named = ((key.rsplit("/", 2)[-2:], one) for key, one in found.items())
            return {
                name: int(one["size"])
                for (folder, name), one in sorted(named, key=lambda entry: entry[0][1])
                if is_sha256(name) and folder == name[:2]
            }

    def put(self, source: Path, sha256: str, size: int) -> None:
        """See :meth:`~quirewell.studio.stores.Store.put`."""
        with store_told(self.place):
            self._look()
            if there_already(self, sha256):
                return
            part, target = self._key(f"{INCOMING}/{part_name()}"), self._at(sha256)
            try:
                self._fs.put_file(str(source), part, **_UPLOAD.get(self._kind, {}))
                with self._stream(part) as stream:
                    if hash_stream(stream) != (sha256, size):
                        raise not_as_sent(self.place)
                self._fs.cp_file(part, target)
                if self._size(target) != size:
                    self._fs.rm_file(target)  # Made this moment; nothing speaks of it yet.
                    raise not_as_sent(self.place)
            finally:
                with suppress(Exception):
                    self._fs.rm_file(part)

    def unfinished(self) -> dict[str, float]:
        """See :meth:`~quirewell.studio.stores.Store.unfinished`."""
        with store_told(self.place):
            try:
                found = self._fs.find(self._key(INCOMING), detail=True)
            except FileNotFoundError:
                return {}
            return {key: time.time() - _written(one) for key, one in found.items()}

    def discard(self, name: str) -> None:
        """See :meth:`~quirewell.studio.stores.Store.discard`."""
        with store_told(self.place), suppress(FileNotFoundError):
            if f"/{INCOMING}/" in name:
                self._fs.rm_file(name)

    def _look(self) -> None:
        if self._size(self._key(MARKER)) is None:
            raise not_here(self.place)

    def _size(self, key: str) -> int | None:
        try:
            return int(self._fs.info(key)["size"])
        except FileNotFoundError:
            return None

    def _stream(self, key: str) -> Any:
        return self._fs.open(key, "rb", block_size=BLOCK_BYTES)

    def _at(self, sha256: str) -> str:
        return self._key(f"{sha256[:2]}/{sha256}")

    def _key(self, name: str) -> str:
        return f"{self._root}/{name}"


def _written(info: dict[str, Any]) -> float:
    """When an object was written [s since 1970]; now where the store does not say."""
    said = info.get("LastModified") or info.get("created") or info.get("mtime")
    if isinstance(said, datetime):
        return said.timestamp()
    return float(said) if isinstance(said, (int, float)) else time.time()
