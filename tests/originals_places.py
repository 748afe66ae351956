"""Places in which the tests keep originals: the same tests run on each of them."""

from __future__ import annotations

import importlib
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from quirewell.studio import originals_address
from quirewell.studio.object_store import ObjectStore
from quirewell.studio.stores import FolderStore, Store
from store_server import BUCKET, SERVER, credentials, s3_server

KINDS = ("folder", "memory", "s3")


@contextmanager
def server(tmp: Path) -> Iterator[int]:
    """A store's server with one bucket; its port."""
    if not SERVER.is_file():
        pytest.skip("the S3-compatible server of the peers' environment is not installed")
    patch = pytest.MonkeyPatch()
    with s3_server(tmp / "server.log") as port:
        try:
            for name, value in credentials(port).items():
                patch.setenv(name, value)
            importlib.import_module("fsspec").filesystem("s3", skip_instance_cache=True).mkdir(
                BUCKET
            )
            yield port
        finally:
            patch.undo()


def place_text(kind: str, tmp: Path) -> str:
    """The address of a new, empty place of a kind."""
    if kind == "folder":
        return str(tmp / f"share-{secrets.token_hex(4)}")
    bucket = BUCKET if kind == "s3" else "memory-store"
    return f"{kind}://{bucket}/{secrets.token_hex(6)}"


def allow_memory(patch: pytest.MonkeyPatch) -> None:
    """Let addresses name the memory file system, which no studio may use."""
    patch.setattr(originals_address, "FILE_SYSTEMS", frozenset({"s3", "memory"}))


def store_of(text: str) -> Store:
    """The store at an address of :func:`place_text`, made ready."""
    kind, mark, rest = text.partition("://")
    store: Any = ObjectStore(kind, rest) if mark else FolderStore(Path(text))
    store.prepare()
    return store
