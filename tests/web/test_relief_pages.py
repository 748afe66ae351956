"""Relief on the pages: folded away, with its key and numbers; nothing where there is none."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from quirewell.record.nouns import Capture
from quirewell.stages.relief_layers import HEIGHT_STOPS
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from quirewell.web.house import STATIC
from raked_studio import ITEM, PAGE, treated_studio
from web.conftest import BASE, Bench
from web.test_pages import assert_no_inline, assert_whole
from web_client import TestClient

MORE = "More instruments: relief"


@pytest.fixture(scope="module")
def lit(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    folder: Path = tmp_path_factory.mktemp("lit")
    treated_studio(folder).close()
    with (
        TestClient(create_app(folder / "studio", workers=1), base_url=BASE) as client,
        Studio.open(folder / "studio") as studio,
    ):
        yield Bench(client, studio)


def scan(bench: Bench, moment: str) -> Capture:
    return next(one for one in bench.state.captures.values() if one.moment == moment)


def picture(bench: Bench, url: str) -> np.ndarray:
    answer = bench.client.get(url)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "image/png"
    return np.asarray(Image.open(io.BytesIO(answer.content)))


def test_the_close_up_folds_its_own_relief_away(lit: Bench) -> None:
    text = lit.client.get(lit.url(f"/look/{scan(lit, 'before').id}")).text
    assert_no_inline(assert_whole(text))
    assert re.search(r'<qw-viewer[^>]* data-um="2[45]\d\.', text), "the scale bar has a scale"
    assert text.count(MORE) == 1 and "<details open" not in text
    assert "data-before=" in text and "data-after=" not in text
    assert re.search(
        r"Cockle, root mean square height.*?1[0-9]{2}\.?\d* ± \d+\.?\d* µm", text, re.S
    )
    assert "or lower" in text and "µm or higher" in text and "mm wide" in text
    assert '<th scope="col">After</th>' not in text


def test_the_pair_lays_before_and_after_on_one_grid(lit: Bench) -> None:
    text = lit.client.get(lit.url(f"/prove/{PAGE}")).text
    assert_no_inline(assert_whole(text))
    urls = dict(re.findall(r'value="height"[^>]*? data-(before)="([^"]+)"', text))
    urls |= dict(re.findall(r'value="height"[^>]*? data-(after)="([^"]+)"', text))
    assert set(urls) == {"before", "after"} and "/on/" in urls["after"]
    before, after = picture(lit, urls["before"]), picture(lit, urls["after"])
    width = scan(lit, "before").width_px
    assert before.shape == after.shape and before.shape[1] == width
    both = (before[..., 3] > 0) & (after[..., 3] > 0)
    assert both.mean() > 0.5
    light = [one[..., :3].astype(float)[both] @ [0.2126, 0.7152, 0.0722] for one in (before, after)]
    assert np.corrcoef(*light)[0, 1] > 0.9, "the same hills, lower"
    assert light[1].std() < 0.6 * light[0].std(), "one key for both: pressed is flatter"


def test_a_shaded_view_is_had_too_and_an_unknown_one_is_not(lit: Bench) -> None:
    text = lit.client.get(lit.url(f"/prove/{PAGE}")).text
    (url,) = set(re.findall(r'value="shaded"[^>]*? data-before="([^"]+)"', text))
    assert picture(lit, url).shape[2] == 4
    assert lit.client.get(url.replace("shaded", "albedo")).status_code == 404
    compared = next(run.id for run in lit.state.runs.values() if run.method == "pair.compare")
    for wrong in (f"/relief/{compared}/height.png", "/relief/nowhere/height.png",
                  f"/relief/{url.split('/')[-2]}/on/nowhere/height.png",
                  "/relief/..%2f..%2fstudio.db/height.png"):  # fmt: skip
        assert lit.client.get(lit.url(wrong)).status_code == 404


def test_where_there_is_none_there_is_no_empty_control(bench: Bench) -> None:
    text = bench.client.get(bench.url(f"/look/{scan(bench, 'before').id}")).text
    assert MORE not in text and "data-relief" not in text


def test_the_key_has_the_colours_of_the_picture() -> None:
    css = (STATIC / "watch.css").read_text(encoding="utf-8")
    for step, colour in enumerate(HEIGHT_STOPS):
        assert f".relief-{step} {{ fill: #{''.join(f'{part:02x}' for part in colour)}; }}" in css


def test_the_reliefs_stand_in_the_report_s_methods(lit: Bench, tmp_path: Path) -> None:
    from quirewell.report.treatment import write_report
    from report_case import text_of

    text = text_of(write_report(lit.studio, ITEM, tmp_path / "r.pdf").pdf)
    assert "relief.measure, version 2" in text
