"""The photograph of the head on the rejoin page: taken in checked, shown back, refused in words."""

from __future__ import annotations

import hashlib
import html
import io
import re
import zlib
from typing import Any

import numpy as np
import pytest
from PIL import Image

from head_scenes import head_scene
from quirewell.record.finding import Run
from quirewell.stages.head_shown import head_shown
from quirewell.stages.methods import run_method
from quirewell.stages.working_rows import WORKINGS
from quirewell.studio.check import check
from web import conftest
from web.conftest import Bench

FORM = {"leaves": "28", "fore_edge": "", "front_up": ""}


def photo(scene: Any, kind: str = "PNG") -> bytes:
    out = io.BytesIO()
    Image.fromarray((255 * np.clip(scene, 0, 1)).astype(np.uint8)).save(out, kind)
    return out.getvalue()


def post(bench: Bench, form: dict[str, str], body: bytes | None, name: str = "head.png") -> Any:
    files = {"head": ("", b"") if body is None else (name, body, "image/png")}
    return bench.client.post(bench.url("/rejoin/fold"), data=form, files=files)


def newest(bench: Bench) -> Run | None:
    return bench.state.newest_run(WORKINGS["fold"].method, WORKINGS["fold"].subject)


def test_a_photograph_is_kept_read_and_shown_with_what_was_read(bench: Bench) -> None:
    body = photo(head_scene(12, seed=3))
    answer = post(bench, FORM, body, "C:\\phone\\head of it.png")
    assert answer.status_code == 200 and answer.url.path == bench.url("/rejoin")
    run = newest(bench)
    assert run is not None
    roll = next(one for one in run.findings if one.quantity == "fold.roll_deg")
    assert roll.value == pytest.approx(12, abs=2) and roll.u is not None and roll.u < 1.3
    (only,) = run.inputs
    assert (only.role, only.ref) == ("head", "head of it.png")
    assert only.sha256 == hashlib.sha256(body).hexdigest()
    file = bench.studio.blobs.path(only.sha256)
    assert file.read_bytes() == body
    assert run_method(run.method, run.subject, {"head": file}, run.inputs, run.params) == run
    assert check(bench.studio.folder).ok
    page = html.unescape(answer.text)
    assert page.count('class="headview"') == 2 and "head of it.png: roll" in page
    assert "leave out head of it.png, which was given before" in page
    (address,) = set(re.findall(r'href="(/picture/[^"]+)"', page))
    picture = bench.client.get(address)
    assert picture.status_code == 200 and picture.headers["content-type"] == "image/jpeg"


def test_the_lines_drawn_lie_where_the_block_was_drawn(bench: Bench) -> None:
    post(bench, FORM, photo(head_scene(0, seed=3)))
    shown = head_shown(bench.state, newest(bench))
    assert shown is not None and (shown.width, shown.height) == (1400, 300)
    upper, lower = sorted(shown.sides, key=lambda one: one[1])
    assert upper[1] == pytest.approx(120, abs=1.5) and lower[1] == pytest.approx(180, abs=1.5)
    assert shown.end[0] == pytest.approx(1120, abs=2)
    assert abs(shown.square[0] - shown.end[0]) < 2.5
    left, top, wide, tall = shown.near
    assert left < 1100 and left + wide > 1140 and top < 120 and top + tall > 180


def test_fore_edge_left_and_front_down_are_choices(bench: Bench) -> None:
    post(bench, FORM | {"fore_edge": "left"}, photo(head_scene(12, seed=3, left=True)))
    one = newest(bench)
    post(bench, FORM | {"fore_edge": "left", "front_up": "no"}, None)
    two = newest(bench)
    assert one is not None and two is not None and one.inputs == two.inputs
    rolls = [
        next(f.value for f in run.findings if f.quantity == "fold.roll_deg") for run in (one, two)
    ]
    assert rolls[0] == pytest.approx(12, abs=2.5) and rolls[1] == pytest.approx(-(rolls[0] or 0))
    wrong = post(bench, FORM | {"fore_edge": "above"}, None)
    assert wrong.status_code == 422 and "There is no choice" in html.unescape(wrong.text)


def test_a_photograph_given_before_holds_until_it_is_left_out(bench: Bench) -> None:
    post(bench, FORM, photo(head_scene(12, seed=3)))
    again = FORM | {"front_now_mm": "1.4", "back_now_mm": "0.2"}
    assert 'class="headview"' in post(bench, again, None).text
    run = newest(bench)
    assert run is not None and len(run.inputs) == 1
    answer = post(bench, again | {"leave.head": "yes"}, None)
    assert answer.status_code == 200 and 'class="headview"' not in answer.text
    run = newest(bench)
    assert run is not None and run.inputs == ()


def test_the_form_without_a_photograph_works_as_before(bench: Bench) -> None:
    form = {"front_now_mm": "1.4", "back_now_mm": "0.2"}
    assert bench.client.post(bench.url("/rejoin/fold"), data=form).status_code == 200
    run = newest(bench)
    assert run is not None and run.inputs == ()


def bomb() -> bytes:
    """A PNG that says it has 40000 x 40000 pixels."""
    good = bytearray(photo(head_scene(12, seed=3)))
    good[16:24] = (40000).to_bytes(4, "big") * 2
    good[29:33] = zlib.crc32(good[12:29]).to_bytes(4, "big")
    return bytes(good)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "head.png is empty"),
        (b"time,t,h\n1,2,3\n", "head.png is not a picture that is known here"),
        (b"<svg onload='x'/>", "text in angle brackets"),
        (photo(head_scene(12, seed=3))[:4000], "it is damaged or cut short"),
        (bomb(), "megapixels"),
        (photo(np.full((300, 900), 0.5)), "photograph of the head: the picture is of one tone"),
        (photo(head_scene(10)[:, :1000]), "runs out of the picture on the right"),
        (conftest.picture_bytes(1, (900, 400)), "photograph of the head: "),
    ],
)
def test_what_cannot_be_read_is_said_and_nothing_typed_is_lost(
    bench: Bench, body: bytes, says: str
) -> None:
    before = set(bench.studio.blobs.all())
    form = {"leaves": "28", "front_now_mm": "1,4", "back_now_mm": "0.2", "front_up": "no"}
    answer = post(bench, form, body)
    page = html.unescape(answer.text)
    assert answer.status_code == 422 and says in page
    assert 'id="fold-head"' in page and page.count('aria-invalid="true"') == 1
    assert re.search(r'name="head"[^>]*aria-invalid="true"', page)
    assert 'value="1,4"' in page and '<option value="no" selected>' in page
    assert str(bench.studio.folder) not in page and ".part" not in page
    assert newest(bench) is None and set(bench.studio.blobs.all()) == before
    assert "choose it again" in page


def test_a_file_that_is_too_large_is_refused_at_its_box(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quirewell.web.workings.PICTURE_BYTES", 5000)
    answer = post(bench, {"front_now_mm": "1.4", "back_now_mm": "0.2"}, photo(head_scene(3)))
    page = html.unescape(answer.text)
    assert answer.status_code == 422 and "head.png: the file is larger than" in page
    assert 'value="1.4"' in page and newest(bench) is None


def test_a_name_that_is_markup_stays_a_name(bench: Bench) -> None:
    answer = post(bench, FORM, photo(head_scene(12, seed=3)), "<b onclick=x>\n.png")
    assert answer.status_code == 200 and "<b onclick" not in answer.text
    assert "&lt;b onclick=x&gt;" in answer.text
