"""A compared page in pictures, and all pages on a sheet: each image made once, none by a page."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from quirewell.demo.scans import write_scan
from quirewell.demo.scenes import render_pair
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Input
from quirewell.record.nouns import Remaining
from quirewell.stages.methods import run_method
from quirewell.stages.overview import open_item
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from web.conftest import BASE, ITEM, Bench
from web.test_pages import assert_no_inline, assert_whole
from web_client import TestClient

PAGE = "w01.outer.left"
DPI = 75


@pytest.fixture(scope="module")
def dimmed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """One page scanned before and after, its second scan a little darker, and compared."""
    folder: Path = tmp_path_factory.mktemp("dimmed")
    before, after, _ = render_pair(5, DPI, width_mm=150.0, height_mm=200.0)
    scans = {}
    for moment, pixels in (("before", before), ("after", np.round(after * 0.975).astype(np.uint8))):
        scans[moment] = folder / f"w01-outer-left-{moment}.tif"
        write_scan(scans[moment], pixels, DPI)
    with Studio.create(folder / "studio", "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "2"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        sources = [Source(path.name, io.BytesIO(path.read_bytes())) for path in scans.values()]
        assert not take_in(studio, ITEM, sources).refused
        captures = {one.moment: one for one in studio.state(ITEM).captures.values()}
        inputs = tuple(Input(role, captures[role].id, captures[role].sha256) for role in scans)
        run = run_method("pair.compare", PAGE, scans, inputs, {})
        left = Remaining("left-1", "w01.outer", "A tideline can still be seen.")
        records = (("run.recorded", run), ("remaining.noted", left))
        studio.append(ITEM, None, [Draft(ITEM, kind, to_body(one)) for kind, one in records])
    with (
        TestClient(create_app(folder / "studio", workers=1), base_url=BASE) as client,
        Studio.open(folder / "studio") as studio,
    ):
        yield Bench(client, studio)


def run_of(bench: Bench) -> str:
    return next(run.id for run in bench.state.runs.values() if run.method == "pair.compare")


def image(bench: Bench, path: str) -> np.ndarray:
    answer = bench.client.get(bench.url(path))
    assert answer.status_code == 200, answer.text
    return np.asarray(Image.open(io.BytesIO(answer.content)).convert("RGB"), dtype=float)


def test_the_page_tells_light_from_paper_and_offers_both_exposures(dimmed: Bench) -> None:
    text = dimmed.client.get(dimmed.url(f"/prove/{PAGE}")).text
    assert_no_inline(assert_whole(text))
    assert "light and exposure made −" in text and "Left: the paper" in text
    assert "as if exposed like the before picture" in text and "data-scanned=" in text
    assert re.search(r'<span class="bar"><svg.*?50 mm</span>', text)
    assert "trained eye" in text and "common practice, no source" in text
    assert 'data-layer="tone-change"' in text and 'data-switch="tone-change"' in text
    assert text.index(f"{PAGE}/after.png") < text.index(f"{PAGE}/difference.png")


def test_after_is_brought_to_the_exposure_of_before_and_can_be_had_as_scanned(
    dimmed: Bench,
) -> None:
    before, alike, scanned = (
        image(dimmed, path)
        for path in (f"/pair/{run_of(dimmed)}/small/before.jpg",
                     f"/prove/{PAGE}/after.png", f"/prove/{PAGE}/scanned.png")
    )  # fmt: skip
    light = alike.mean(axis=(1, 2)).max(), scanned.mean(axis=(1, 2)).max()
    assert light[0] > light[1] * 1.01
    assert before.ndim == 3
    info = [
        dimmed.client.get(dimmed.url(f"/pair/{run_of(dimmed)}/{which}/info.json")).json()
        for which in ("after", "scanned")
    ]
    assert (info[0]["width"], info[0]["height"]) == (info[1]["width"], info[1]["height"])
    assert info[1]["id"].endswith("/scanned")


def test_the_sheet_has_every_pair_its_words_and_what_is_left(dimmed: Bench) -> None:
    text = dimmed.client.get(dimmed.url("/prove/pictures")).text
    assert_no_inline(assert_whole(text))
    small = r'<img class="thumb" src="([^"]+)" width="(\d+)" height="(\d+)" loading="lazy"'
    sizes = re.findall(small, text)
    assert len(sizes) == 4, "three of the pair, one beside what is left"
    shapes = set()
    for url, wide, high in sizes:
        answer = dimmed.client.get(url)
        assert answer.headers["content-type"] == "image/jpeg" and len(answer.content) < 60_000
        shapes.add(Image.open(io.BytesIO(answer.content)).size)
        assert int(wide) / int(high) == pytest.approx(
            np.divide(*Image.open(io.BytesIO(answer.content)).size), rel=0.02
        )
    assert len(shapes) == 1
    assert "A tideline can still be seen." in text and "On 1 of 1 pages" in text
    assert "Page" in text and "paper colour <b>changed</b>" in text


def test_the_filter_is_a_plain_form_and_says_when_nothing_is_left(dimmed: Bench) -> None:
    kept = dimmed.client.get(dimmed.url("/prove/pictures?show=changed&look=paper")).text
    none = dimmed.client.get(dimmed.url("/prove/pictures?show=cannot+tell&look=paper")).text
    assert kept.count('class="trio"') == 1 and none.count('class="trio"') == 0
    assert "No page is “cannot tell” here." in none
    odd = dimmed.client.get(dimmed.url("/prove/pictures?show=%3Cscript%3E&look=../.."))
    assert odd.status_code == 200 and odd.text.count('class="trio"') == 1
    assert "<script>" not in odd.text


def test_pictures_of_nothing_are_not_found(dimmed: Bench) -> None:
    run = run_of(dimmed)
    for path in (f"/pair/{run}/small/whole.jpg", "/pair/nowhere/small/before.jpg",
                 f"/pair/{run}/raw/info.json", f"/pair/{run}/..%2f..%2fstudio.db/x",
                 f"/prove/{PAGE}/nothing.png", "/prove/w09.outer.left"):  # fmt: skip
        assert dimmed.client.get(dimmed.url(path)).status_code == 404, path


def test_an_item_without_pairs_says_so(bench: Bench) -> None:
    text = bench.client.get(bench.url("/prove/pictures")).text
    assert "No page was scanned before and after" in text
