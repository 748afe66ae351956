"""Faults of a picture are recognised when planted, and not seen in ordinary scans."""

import cv2
import numpy as np
import pytest

from quirewell.demo.scans import DrawnSheet, sheet_plan
from quirewell.demo.scenes import render_leaf
from quirewell.science.imaging.foreign import find_foreign, foreign_sentences
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.quality import quality_warnings
from quirewell.science.imaging.strip import find_strip

DPI = 120
PX_MM = 25.4 / DPI


@pytest.fixture(scope="module")
def plain():
    return render_leaf(1, DPI, strip=False, losses=())[0]


def says(pixels, panel="whole", um_per_px=129.0):
    strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
    leaf = find_leaf(pixels, PX_MM, panel, [strip.box_px] if strip else [])
    words = foreign_sentences(find_foreign(pixels, leaf, PX_MM))
    words += quality_warnings(pixels, leaf, um_per_px, False)
    return " ".join([*words, *leaf.warnings])


def sharpened(pixels, amount):
    plain = pixels.astype(np.float32)
    more = plain + amount * (plain - cv2.GaussianBlur(plain, (0, 0), 1.2))
    return np.clip(more + 0.5, 0, 255).astype(np.uint8)


def packed(pixels, quality):
    done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


def with_ellipse(pixels, middle, axes, colour):
    out = pixels.copy()
    cv2.ellipse(out, middle, axes, 15, 0, 360, colour, -1, cv2.LINE_AA)
    return out


@pytest.mark.parametrize("ground", ["dark", "white"])
def test_an_ordinary_leaf_is_faultless(ground):
    assert says(render_leaf(2, DPI, ground=ground)[0]) == ""


@pytest.mark.parametrize("panel", ["left", "right"])
def test_half_a_wrap_is_faultless_and_its_other_half_no_strange_sheet(panel):
    drawn = DrawnSheet(sheet_plan("w01", 1936), DPI, 1936)
    assert says(drawn.panel("outer", panel, "before", "dark")[0], panel) == ""


def test_an_uneven_ground_is_named(plain):
    assert "uneven" in says(render_leaf(1, DPI, ground="uneven", strip=False)[0])


@pytest.mark.parametrize("amount", [0.5, 1.0])
def test_a_sharpened_scan_is_recognised_by_its_overshoot(plain, amount):
    assert "sharpened" in says(sharpened(plain, amount))


def test_blocks_of_strong_jpeg_are_recognised_and_mild_jpeg_passes(plain):
    assert "blocks" in says(packed(plain, 60))
    assert "blocks" not in says(packed(plain, 96))


def test_a_blank_leaf_is_named():
    assert "no print" in says(render_leaf(1, DPI, strip=False, printed=False)[0])


def test_a_hand_over_the_edge_is_named(plain):
    hand = with_ellipse(plain, (plain.shape[1] - 30, 600), (260, 48), (205, 150, 125))
    assert "hand or finger" in says(hand)


def test_a_coloured_thing_over_the_edge_is_named(plain):
    out = plain.copy()
    cv2.rectangle(out, (0, 500), (210, 560), (90, 140, 90), -1)
    assert "neither leaf nor ground" in says(out)


def test_glare_is_named(plain):
    glare = with_ellipse(plain, (480, 700), (75, 50), (255, 255, 255))
    assert "glares" in says(glare)


def test_a_second_sheet_on_the_ground_is_named():
    pixels, _ = render_leaf(3, DPI, strip=False, losses=(), width_mm=110.0, height_mm=150.0)
    high, wide = pixels.shape[:2]
    pixels = pixels.copy()
    pixels[high - 500 : high - 60, 100 : wide - 100] = (214, 198, 160)
    assert "Another sheet" in says(pixels)


def bowed(pixels, bow_px):
    """The picture with every column moved down by a parabola, as a curved page shows."""
    high, wide = pixels.shape[:2]
    x = np.arange(wide, dtype=np.float32)
    down = bow_px * (2.0 * x / wide - 1.0) ** 2
    y = np.arange(high, dtype=np.float32)[:, None] - down[None, :]
    return cv2.remap(pixels, np.tile(x, (high, 1)), y.astype(np.float32), cv2.INTER_CUBIC,
                     borderMode=cv2.BORDER_REPLICATE)  # fmt: skip


def test_a_page_that_lies_curved_is_named_and_its_bow_is_no_loss(plain):
    from quirewell.science.imaging.loss import find_loss

    assert "lies curved" in says(bowed(plain, 30.0))
    curved = bowed(plain, 8.0)
    assert "lies curved" in says(curved, um_per_px=1000 * PX_MM)
    leaf = find_leaf(curved, PX_MM)
    assert leaf.edges["head"].curve is not None
    loss = find_loss(curved, leaf, PX_MM)
    assert loss.area_px * PX_MM**2 < 1.0
    assert any("not straight" in words for words in loss.warnings)


def test_a_straight_edge_has_no_curve(plain):
    leaf = find_leaf(plain, PX_MM)
    assert all(edge.curve is None for edge in leaf.edges.values())
