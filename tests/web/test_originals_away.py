"""Pages while the originals lie elsewhere, and while that place cannot be reached."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from quirewell.jobs.batch import Batch
from quirewell.studio.check import check
from quirewell.studio.moving_originals import move_originals, remove_old
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from quirewell.web.desk import Desk
from quirewell.web.fetching import Fetching
from web.conftest import BASE, ITEM, Bench, make_studio, picture_bytes
from web_client import TestClient

IMAGE = {"Accept": "image/avif,image/webp,*/*;q=0.8"}
PAGE = {"Accept": "text/html,application/xhtml+xml"}


@pytest.fixture
def share(tmp_path: Path) -> Path:
    return tmp_path / "share"


@pytest.fixture
def bench(tmp_path: Path, share: Path) -> Iterator[Bench]:
    folder = tmp_path / "studio"
    make_studio(folder)
    with Studio.open(folder) as studio:
        move_originals(studio.blobs, str(share))
        remove_old(studio.blobs)
        app = create_app(folder, workers=1)
        with TestClient(app, base_url=BASE) as client:
            yield Bench(client, studio)


def wait(bench: Bench) -> dict[str, Any]:
    """How the item's work ended."""
    until = time.monotonic() + 120
    while time.monotonic() < until:
        work: dict[str, Any] = bench.client.get(bench.url("/in-hand.json")).json()
        if not work["running"]:
            return work
        time.sleep(0.1)
    raise AssertionError("the work did not end")


def lose_everything_fetched(bench: Bench) -> str:
    """Forget previews, tiles and copies, as on another machine; the hash of a picture."""
    for name in ("previews", "tiles"):
        shutil.rmtree(bench.studio.derived / name, ignore_errors=True)
        (bench.studio.derived / name).mkdir()
    shutil.rmtree(bench.studio.blobs.cache_folder, ignore_errors=True)
    return next(iter(bench.state.captures.values())).sha256


def test_pictures_are_fetched_when_first_looked_at(bench: Bench) -> None:
    sha256 = lose_everything_fetched(bench)
    for path in (f"/picture/{sha256}/page.jpg", f"/tiles/{sha256}/info.json"):
        assert bench.client.get(path, headers=IMAGE).status_code == 200
    assert len(list(bench.studio.blobs.cache_folder.glob("??/*"))) == 1


def test_measuring_fetches_first_and_tells_of_it(bench: Bench) -> None:
    lose_everything_fetched(bench)
    assert (
        bench.client.post(
            bench.url("/examine/measure"), data={"back": "/"}, headers=PAGE
        ).status_code
        == 200
    )
    work = wait(bench)
    assert work["done"] == work["total"] >= 2
    assert "Fetching pictures:" not in bench.client.get(bench.url("/examine")).text
    scans = {one.sha256 for one in bench.state.captures.values() if one.place}
    assert all(bench.studio.blobs.near(sha256) for sha256 in scans)


def test_what_was_made_before_shows_without_the_place(bench: Bench, share: Path) -> None:
    sha256 = next(iter(bench.state.captures.values())).sha256
    assert bench.client.get(f"/picture/{sha256}/page.jpg").status_code == 200
    share.rename(share.with_name("away"))
    shutil.rmtree(bench.studio.blobs.cache_folder, ignore_errors=True)
    assert bench.client.get(f"/picture/{sha256}/page.jpg").status_code == 200


def test_no_page_breaks_and_each_picture_says_why_it_is_not_there(
    bench: Bench, share: Path
) -> None:
    sha256 = lose_everything_fetched(bench)
    share.rename(share.with_name("away"))
    share.mkdir()  # What a share that is not mounted leaves.
    said = bench.client.get(f"/picture/{sha256}/page.jpg", headers=IMAGE)
    assert said.status_code == 503 and said.headers["content-type"].startswith("image/svg+xml")
    assert "its original cannot be fetched" in said.text
    assert said.headers["cache-control"] == "no-store"
    told = bench.client.get(f"/picture/{sha256}/page.jpg", headers=PAGE)
    assert told.status_code == 503 and "quirewell-originals.txt is missing there" in told.text
    pages = ("", "/intake", "/intake/sheet", "/examine", "/decide", "/treat", "/rejoin", "/finish",
             "/prove", "/prove/pictures", "/send", "/grid")  # fmt: skip
    answers = {page: bench.client.get(bench.url(page), headers=PAGE).status_code for page in pages}
    assert set(answers.values()) == {200}, answers
    bench.client.post(bench.url("/examine/measure"), data={"back": "/"}, headers=PAGE)
    assert wait(bench)["done"] == 0
    said = bench.client.get(bench.url("/examine"), headers=PAGE)
    assert "Fetching pictures:" in said.text and "is missing there" in said.text
    share.rmdir()
    share.with_name("away").rename(share)
    assert bench.client.get(f"/picture/{sha256}/page.jpg", headers=IMAGE).status_code == 200


def test_an_intake_is_refused_before_it_is_acknowledged(bench: Bench, share: Path) -> None:
    before = bench.studio.head()
    share.rename(share.with_name("away"))
    files = [
        ("files", (f"w02-{side}-left-before.png", picture_bytes(seed), "image/png"))
        for seed, side in ((21, "inner"), (22, "outer"))
    ]
    answer = bench.client.post(bench.url("/intake/files"), files=files)
    assert answer.status_code == 200, answer.text
    assert answer.text.count("quirewell-originals.txt is missing there") >= 1
    assert bench.studio.head() == before and not bench.studio.blobs.unfinished()
    share.with_name("away").rename(share)
    again = bench.client.post(bench.url("/intake/files"), files=files)
    assert again.status_code == 200
    assert len(bench.state.captures) == 5 and len(bench.studio.blobs.sizes()) == 5
    assert check(bench.studio.folder).ok and ITEM in bench.studio.items()[0].id


def test_a_server_that_stops_fetches_no_further_and_begins_nothing() -> None:
    fetched: list[str] = []
    begins = threading.Event()

    def fetch(sha256: str) -> None:
        fetched.append(sha256)
        begins.set()
        time.sleep(0.3)

    def start() -> Batch:
        raise AssertionError("a batch was begun by a server that stops")

    desk, held = Desk(), []

    def begin() -> Fetching:
        held.append(Fetching(["a", "b", "c"], fetch, start))
        return held[0]

    desk.begin("item", begin)
    assert begins.wait(10)
    desk.settle()
    assert fetched == ["a"] and not held[0].work().running
    assert held[0].work().failures == (
        "Fetching pictures: the server was stopped before the work began",
    )
