"""The film of the wipe: how long, how smooth, and that nothing in it flashes."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from quirewell.exchange.share_film import (
    FPS,
    GIF_FPS,
    GIF_SHAPES,
    SECONDS,
    SHAPES,
    NoFilm,
    Scene,
    film,
    frames,
    shares,
)


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    base = tmp_path_factory.mktemp("film")
    for name, tone in (("before", 90), ("after", 230)):
        picture = np.full((300, 200, 3), tone, np.uint8)
        picture[::7] = 40
        Image.fromarray(picture).save(base / f"{name}.png")
    return base / "before.png", base / "after.png"


def pixels(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB"))


def test_the_way_is_slow_whole_and_ends_where_it_began() -> None:
    for fps in (FPS, GIF_FPS):
        way = np.array(shares(SECONDS, fps))
        assert way[0] == way[-1] == 0 and way.max() > 0.99 and 4 <= len(way) / fps <= 8
        assert fps <= 25
        top = int(way.argmax())
        assert np.all(np.diff(way[: top + 1]) >= 0)
        # No jump: never more than 1/20 of the width from one frame to the next at 24 a second.
        assert np.abs(np.diff(way)).max() < 1.2 / fps


def test_nothing_flashes(pictures: tuple[Path, Path]) -> None:
    """No place of the picture goes bright and dark more than once: WCAG 2.2, 2.3.1 allows three
    pairs of opposing changes in a second."""
    before, after = (pixels(one) for one in pictures)
    seen = np.stack([frame[::9, ::9].mean(axis=2) for frame in
                     frames(before, after, SHAPES["wide"], FPS)])  # fmt: skip
    steps = np.diff(seen, axis=0)
    turns = (np.abs(steps) > 25.5).sum(axis=0)  # a tenth of the range
    assert turns.max() <= 4  # the edge itself passes twice, dark against both sides
    whole = seen.mean(axis=(1, 2))
    assert np.abs(np.diff(whole)).max() < 5


def test_frames_show_before_then_after_then_before(pictures: tuple[Path, Path]) -> None:
    before, after = (pixels(one) for one in pictures)
    scene = Scene(before, after, (640, 360))
    middle = (slice(60, 250), slice(290, 350))
    assert scene.frame(0.0)[middle].mean() == pytest.approx(before.mean(), abs=4)
    assert scene.frame(1.0)[middle].mean() == pytest.approx(after.mean(), abs=4)
    half = scene.frame(0.5)
    assert half[60:250, 260:300].mean() > half[60:250, 340:380].mean() + 80


@pytest.mark.parametrize("shape", list(SHAPES))
def test_webm_is_what_it_says(pictures: tuple[Path, Path], tmp_path: Path, shape: str) -> None:
    out = tmp_path / "film.webm"
    film(*pictures, out, SHAPES[shape])
    data = out.read_bytes()
    assert data[:4] == b"\x1a\x45\xdf\xa3" and b"webm" in data[:64]  # EBML, RFC 8794 and 9559
    read = cv2.VideoCapture(str(out))
    count = 0
    while True:
        good, frame = read.read()
        if not good:
            break
        count += 1
        size = frame.shape[1::-1]
    assert size == SHAPES[shape] and count == round(SECONDS * FPS)
    assert read.get(cv2.CAP_PROP_FPS) == pytest.approx(FPS, abs=0.1)


def test_gif_goes_round_and_loses_no_frame(pictures: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "film.gif"
    film(*pictures, out, GIF_SHAPES["tall"])
    with Image.open(out) as image:
        assert image.size == GIF_SHAPES["tall"] and image.info["loop"] == 0
        total = 0
        for frame in range(image.n_frames):
            image.seek(frame)
            total += image.info["duration"]
    assert total == pytest.approx(1000 * SECONDS, rel=0.05)


def test_pictures_of_two_sizes_are_no_wipe(pictures: tuple[Path, Path], tmp_path: Path) -> None:
    Image.fromarray(np.zeros((10, 20, 3), np.uint8)).save(tmp_path / "other.png")
    with pytest.raises(NoFilm, match="not the same size"):
        film(pictures[0], tmp_path / "other.png", tmp_path / "f.webm", SHAPES["wide"])
