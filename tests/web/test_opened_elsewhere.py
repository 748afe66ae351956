"""The server opens no picture itself: everything that decodes one is asked of a limited worker."""

from __future__ import annotations

import pytest

from quirewell.jobs.limited import LimitedWorkers
from quirewell.jobs.worker import Answer
from quirewell.report.plates import load_sample
from quirewell.studio import elsewhere, image_header, images
from web.conftest import Bench, picture_bytes


@pytest.fixture
def blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """This process cannot open a picture; workers, which are others, can."""

    def caught(*given: object) -> object:
        raise AssertionError("the server opened a picture itself")

    monkeypatch.setattr(image_header, "find_media", caught)
    monkeypatch.setattr(images, "_decoders", dict.fromkeys(images._decoders, caught))


def test_pictures_come_in_and_are_shown_by_a_server_that_cannot_open_any(
    bench: Bench, blind: None
) -> None:
    files = [("files", ("w02-inner-left-before.png", picture_bytes(7), "image/png"))]
    files += [("files", ("cut.png", picture_bytes(9)[:200], "image/png"))]
    answer = bench.client.post(bench.url("/intake/files"), files=files)
    assert answer.status_code == 200 and answer.text.count("not taken in.") == 1
    capture = next(c for c in bench.state.captures.values() if c.place == "w02.inner")
    path = bench.studio.blobs.path(capture.sha256)
    assert load_sample(path, 0.5).shape == (60, 45, 3)
    assert images.load_picture(path).pixels.shape == (120, 90, 3)
    assert image_header.read_header(path).width_px == 90
    with pytest.raises(image_header.ImageError, match="GB"):
        image_header.read_header(path, max_bytes=100)
    for page in ("", "/intake", "/intake/sheet", "/condition.pdf", "/examine"):
        assert bench.client.get(bench.url(page)).status_code == 200


def test_the_fixture_would_catch_a_server_that_opens_one(bench: Bench, blind: None) -> None:
    path = bench.studio.blobs.path(next(iter(bench.state.captures.values())).sha256)
    held, elsewhere._openers[:] = elsewhere._openers[:], []
    try:
        with pytest.raises(AssertionError, match="opened a picture itself"):
            images.load_picture(path)
    finally:
        elsewhere._openers[:] = held


def test_a_decoder_that_dies_is_a_sentence_for_its_file_and_the_others_go_on(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = LimitedWorkers.call

    def first_dies(workers: LimitedWorkers, task: str, *given: object) -> Answer:
        monkeypatch.setattr(LimitedWorkers, "call", whole)
        return whole(workers, "job_tasks.crash")

    monkeypatch.setattr(LimitedWorkers, "call", first_dies)
    names = ("w02-inner-left-before.png", "w02-inner-right-before.png")
    files = [("files", (name, picture_bytes(30 + n), "image/png")) for n, name in enumerate(names)]
    answer = bench.client.post(bench.url("/intake/files"), files=files)
    assert answer.status_code == 200
    assert "w02-inner-left-before.png could not be opened: what opens it broke" in answer.text
    assert {c.filename for c in bench.state.captures.values()} & set(names) == {names[1]}
