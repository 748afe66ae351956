"""A small studio behind the test client: two wraps, a cover, a few pictures."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from quirewell.record.nouns import ItemState
from quirewell.stages.overview import open_item
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from web_client import TestClient

ITEM = "copperbeck-garden-annual"
BASE = "http://127.0.0.1:8765"


def picture_bytes(seed: int = 1, size: tuple[int, int] = (90, 120), kind: str = "PNG") -> bytes:
    """A small paper-coloured picture with grain, different for each seed."""
    grain = np.random.default_rng(seed).integers(0, 20, (size[1], size[0], 3))
    out = io.BytesIO()
    Image.fromarray((np.array([205, 190, 150]) + grain).astype(np.uint8)).save(out, kind)
    return out.getvalue()


@dataclass
class Bench:
    """The client, and a second look at the same studio."""

    client: TestClient
    studio: Studio

    @property
    def state(self) -> ItemState:
        return self.studio.state(ITEM)

    def url(self, path: str = "") -> str:
        return f"/item/{ITEM}{path}"


def make_studio(folder: Path, pictures: bool = True) -> None:
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "2"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        if pictures:
            names = ("w01-outer-left-before.png", "w01-outer-left-after.png", "garden snap.png")
            sources = [
                Source(name, io.BytesIO(picture_bytes(seed))) for seed, name in enumerate(names)
            ]
            report = take_in(studio, ITEM, sources)
            assert not report.refused


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    folder = tmp_path / "studio"
    make_studio(folder)
    with (
        TestClient(create_app(folder, workers=1), base_url=BASE) as client,
        Studio.open(folder) as studio,
    ):
        yield Bench(client, studio)
