"""Uploads: many at once, streamed to the disk, checked before they are kept."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from quirewell.web.routes import intake
from web.conftest import Bench, picture_bytes


def send(bench: Bench, *files: tuple[str, bytes], json: bool = False) -> object:
    parts = [("files", (name, data, "text/html")) for name, data in files]
    headers = {"Accept": "application/json"} if json else {}
    return bench.client.post(bench.url("/intake/files"), files=parts, headers=headers)


def test_many_files_arrive_each_with_its_own_outcome(bench: Bench) -> None:
    answer = send(
        bench,
        ("w02-inner-left-before.png", picture_bytes(7)),
        ("my garden.png", picture_bytes(8)),
        ("notes.txt", b"not a picture"),
        ("cut.png", picture_bytes(9)[:200]),
        ("empty.png", b""),
    )
    assert answer.status_code == 200
    places = {entry.filename: entry.place for entry in bench.state.captures.values()}
    assert places["w02-inner-left-before.png"] == "w02.inner"
    assert places["my garden.png"] == ""
    assert answer.text.count("not taken in.") == 3
    assert not {"notes.txt", "cut.png", "empty.png"} & set(places)


def test_a_script_is_told_in_json(bench: Bench) -> None:
    answer = send(bench, ("w02-outer-left-before.png", picture_bytes(11)), json=True)
    assert answer.json()["arrivals"][0]["ok"] is True
    again = send(bench, ("same.png", picture_bytes(11)), json=True)
    assert "is in already" in again.json()["arrivals"][0]["says"]


def test_a_name_is_only_a_name(bench: Bench) -> None:
    send(bench, ("../../../etc/w02-outer-right-before.png", picture_bytes(12)))
    send(bench, ("C:\\scans\\<b>.png", picture_bytes(13)))
    names = {entry.filename for entry in bench.state.captures.values()}
    assert {"w02-outer-right-before.png", "<b>.png"} <= names
    assert "<b>.png" not in bench.client.get(bench.url("/intake")).text


def test_an_svg_or_a_page_is_not_a_picture(bench: Bench) -> None:
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    before = len(bench.state.captures)
    answer = send(bench, ("drawing.svg", svg), ("page.png", b"<html><script>1</script></html>"))
    assert answer.text.count("not taken in.") == 2
    assert len(bench.state.captures) == before


def test_a_decompression_bomb_is_refused_by_its_header(bench: Bench) -> None:
    out = io.BytesIO()
    Image.fromarray(np.zeros((17_000, 17_000), np.uint8)).save(out, "PNG", compress_level=9)
    answer = send(bench, ("huge.png", out.getvalue()))
    assert "not taken in." in answer.text


def test_what_is_larger_than_allowed_stops_while_it_is_read(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "UPLOAD_BYTES", 50_000)
    answer = send(bench, ("big.png", bytes(200_000)), json=True)
    assert answer.status_code == 413
    assert "larger than" in answer.json()["says"]


def test_no_file_is_a_sentence(bench: Bench) -> None:
    answer = bench.client.post(bench.url("/intake/files"), files=[("other", (None, b"x"))])
    assert answer.status_code == 422
    assert "No file was chosen" in answer.text


def test_a_form_without_files_takes_none(bench: Bench) -> None:
    answer = bench.client.post(
        bench.url("/examine/defect"), files=[("term", ("x.png", picture_bytes(1)))]
    )
    assert answer.status_code == 400
