"""Loading pictures: what is taken comes in whole, all else is refused in a sentence."""

import io
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, TiffImagePlugin

from picture_files import wide_profile
from quirewell.studio.images import (
    ImageError,
    as_eight_bit,
    load_picture,
    memory_limit,
    preview,
    read_header,
    upright,
)

DATA = Path(__file__).parents[1] / "data"


def picture(kind=np.uint8, size=(60, 80)):
    """A ramp in each channel, so that turns and channel swaps show."""
    y, x = np.mgrid[0 : size[0], 0 : size[1]]
    top = np.iinfo(kind).max
    planes = [x / size[1], y / size[0], 0.25 + 0.5 * (x + y) / sum(size)]
    return (np.stack(planes, axis=2) * top).astype(kind)


def srgb_bytes():
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.mark.parametrize("compression", [None, "lzw", "zlib", "packbits"])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_tiff_keeps_every_bit(tmp_path, compression, kind):
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, picture(kind), photometric="rgb", compression=compression)
    loaded = load_picture(path)
    assert loaded.pixels.dtype == kind
    assert np.array_equal(loaded.pixels, picture(kind))
    assert loaded.bits == 8 * np.dtype(kind).itemsize


def test_tiff_in_planes_tiles_and_the_other_byte_order(tmp_path):
    path = tmp_path / "scan.tif"
    planes = np.moveaxis(picture(np.uint16), -1, 0)
    tifffile.imwrite(
        path, planes, photometric="rgb", planarconfig="separate", byteorder=">", tile=(32, 32)
    )
    assert np.array_equal(load_picture(path).pixels, picture(np.uint16))


def test_jpeg_inside_tiff_comes_out_as_rgb_and_its_halved_colour_is_named(tmp_path):
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, picture(), photometric="rgb", compression="jpeg", tile=(64, 64))
    loaded = load_picture(path)
    assert np.abs(loaded.pixels.astype(int) - picture()).mean() < 3
    assert any("subsampling" in says for says in loaded.warnings)


def test_reduced_copies_in_a_tiff_are_passed_over_and_a_second_page_is_refused(tmp_path):
    path = tmp_path / "scan.tif"
    with tifffile.TiffWriter(path) as tiff:
        tiff.write(picture(), photometric="rgb")
        tiff.write(picture()[::2, ::2], photometric="rgb", subfiletype=1)
    assert load_picture(path).pixels.shape == (60, 80, 3)
    with tifffile.TiffWriter(path) as tiff:
        tiff.write(picture(), photometric="rgb")
        tiff.write(picture(), photometric="rgb")
    with pytest.raises(ImageError, match="holds 2 pictures"):
        load_picture(path)


def test_png_of_sixteen_bits_keeps_them(tmp_path):
    path = tmp_path / "scan.png"
    path.write_bytes(imagecodecs.png_encode(picture(np.uint16)))
    loaded = load_picture(path)
    assert loaded.bits == 16
    assert np.array_equal(loaded.pixels, picture(np.uint16))


def test_jpeg_and_its_subsampling(tmp_path):
    full, half = tmp_path / "full.jpg", tmp_path / "half.jpg"
    Image.fromarray(picture()).save(full, quality=95, subsampling=0)
    Image.fromarray(picture()).save(half, quality=95, subsampling=2)
    assert not any("subsampling" in says for says in load_picture(full).warnings)
    assert any("subsampling" in says for says in load_picture(half).warnings)


def test_heic_is_taken_and_stands_upright():
    loaded = load_picture(DATA / "leaf.heic")
    assert loaded.pixels.shape == (128, 96, 3)
    assert loaded.pixels[64, 48] == pytest.approx((200, 180, 140), abs=6)
    assert loaded.media == "image/heic"
    assert loaded.resolution_dpi is None


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
def test_grey_becomes_three_equal_channels_and_says_so(tmp_path, kind, photometric):
    path = tmp_path / "grey.tif"
    grey = picture(kind)[..., 0]
    stored = np.iinfo(kind).max - grey if photometric == "miniswhite" else grey
    tifffile.imwrite(path, stored, photometric=photometric)
    loaded = load_picture(path)
    assert loaded.grey
    assert all(np.array_equal(loaded.pixels[..., c], grey) for c in range(3))
    assert any("grey" in says for says in loaded.warnings)


def test_palette_is_unfolded_and_says_its_tones_are_coarse(tmp_path):
    path = tmp_path / "few.png"
    Image.fromarray(picture()).convert("P", palette=Image.Palette.ADAPTIVE).save(path)
    loaded = load_picture(path)
    assert np.abs(loaded.pixels.astype(int) - picture()).mean() < 12
    assert any("palette" in says for says in loaded.warnings)


def test_opaque_alpha_is_dropped_and_clear_parts_are_refused(tmp_path):
    path = tmp_path / "alpha.png"
    alpha = np.full((60, 80, 1), 255, np.uint8)
    Image.fromarray(np.dstack([picture(), alpha])).save(path)
    assert np.array_equal(load_picture(path).pixels, picture())
    alpha[5, 5] = 0
    Image.fromarray(np.dstack([picture(), alpha])).save(path)
    with pytest.raises(ImageError, match="see-through"):
        load_picture(path)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_is_turned_upright(tmp_path, orientation):
    # What Pillow itself makes of the tag is the outside judge.
    path = tmp_path / "turned.tif"
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[274] = orientation
    Image.fromarray(picture()).save(path, tiffinfo=tags)
    from PIL import ImageOps

    with Image.open(path) as opened:
        expected = np.asarray(ImageOps.exif_transpose(opened))
    loaded = load_picture(path)
    assert np.array_equal(loaded.pixels, expected)
    header = read_header(path)
    assert (header.height_px, header.width_px) == expected.shape[:2]


def test_turning_is_undone_by_its_opposite():
    for one, other in ((2, 2), (3, 3), (4, 4), (5, 5), (7, 7), (6, 8), (8, 6)):
        assert np.array_equal(upright(upright(picture(), one), other), picture())


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_wide_profile_is_brought_to_srgb_at_its_own_depth(tmp_path, kind):
    profile = wide_profile()
    path = tmp_path / "wide.tif"
    tifffile.imwrite(path, picture(kind), photometric="rgb", iccprofile=profile)
    loaded = load_picture(path)
    assert loaded.pixels.dtype == kind
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    eight = Image.fromarray(as_eight_bit(picture(kind)))
    target = ImageCms.createProfile("sRGB")
    judge = ImageCms.profileToProfile(eight, source, target, ImageCms.Intent.RELATIVE_COLORIMETRIC)
    apart = np.abs(as_eight_bit(loaded.pixels).astype(int) - np.asarray(judge).astype(int))
    assert np.percentile(apart, 99) <= 2
    assert np.abs(loaded.pixels.astype(float) - picture(kind)).max() > 0.05 * np.iinfo(kind).max


def test_srgb_profile_changes_nothing(tmp_path):
    path = tmp_path / "srgb.tif"
    tifffile.imwrite(path, picture(), photometric="rgb", iccprofile=srgb_bytes())
    loaded = load_picture(path)
    assert np.array_equal(loaded.pixels, picture())
    assert "sRGB" in loaded.profile
    assert not any("taken as sRGB" in says for says in loaded.warnings)


@pytest.mark.parametrize("profile", [b"not a profile at all" * 20, "cmyk-like"])
def test_a_useless_profile_is_set_aside_with_a_warning(tmp_path, profile):
    if profile == "cmyk-like":
        profile = imagecodecs.cms_profile("gray")
    path = tmp_path / "odd.tif"
    tifffile.imwrite(path, picture(), photometric="rgb", iccprofile=profile)
    loaded = load_picture(path)
    assert np.array_equal(loaded.pixels, picture())
    assert any("taken as sRGB" in says for says in loaded.warnings)


@pytest.mark.parametrize(
    ("resolution", "unit", "expected"),
    [((300, 300), 2, (300.0, 300.0)), ((118.11, 118.11), 3, (300.0, 300.0)),
     ((72, 72), 2, None), ((96, 96), 2, None), ((1, 1), 2, None), ((28.346, 28.346), 3, None),
     ((600, 300), 2, (600.0, 300.0))],
)  # fmt: skip
def test_resolution_tag_is_read_and_placeholders_are_not_believed(
    tmp_path, resolution, unit, expected
):
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, picture(), photometric="rgb", resolution=resolution, resolutionunit=unit)
    loaded = load_picture(path)
    if expected is None:
        assert loaded.resolution_dpi is None
        assert any("not used as a scale" in says for says in loaded.warnings)
    else:
        assert loaded.resolution_dpi == pytest.approx(expected, rel=1e-3)


def test_jpeg_of_a_camera_gives_no_scale(tmp_path):
    path = tmp_path / "photo.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x829A] = 0.01
    Image.fromarray(picture()).save(path, dpi=(300, 300), exif=exif)
    loaded = load_picture(path)
    assert loaded.resolution_dpi is None
    assert any("camera" in says for says in loaded.warnings)


def _bad(tmp_path, name, data):
    path = tmp_path / name
    path.write_bytes(data)
    return path


def _encoded(kind, **options):
    out = io.BytesIO()
    Image.fromarray(picture(size=(300, 400))).save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("empty.tif", b"", "is empty"),
        ("text.jpg", b"just some words", "not a picture"),
        ("page.png", b"<html></html>", "angle brackets"),
        ("film.heic", b"\0\0\0\x18ftypisom" + b"\0" * 40, "container"),
        ("paper.tif", b"%PDF-1.7", "a PDF"),
        ("anim.png", b"GIF89a" + b"\0" * 40, "a GIF"),
        ("web.jpg", b"RIFF\0\0\0\0WEBPVP8 ", "WebP"),
        ("stub.tif", b"II*\0", "damaged or cut short"),
        ("stub.png", b"\x89PNG\r\n\x1a\n", "damaged"),
        ("stub.jpg", b"\xff\xd8\xff\xe0", "damaged"),
        ("stub.heic", b"\0\0\0\x18ftypheic\0\0\0\0heicmif1" + b"\0" * 20, "damaged"),
    ],
)
def test_what_is_no_picture_is_refused_in_a_sentence(tmp_path, name, data, says):
    with pytest.raises(ImageError, match=says) as caught:
        load_picture(_bad(tmp_path, name, data))
    assert name in str(caught.value)


@pytest.mark.parametrize("kind", ["TIFF", "PNG", "JPEG"])
@pytest.mark.parametrize("share", [0.35, 0.7, 0.97])
def test_truncated_files_are_refused(tmp_path, kind, share):
    data = _encoded(kind)
    path = _bad(tmp_path, "cut.bin", data[: int(share * len(data))])
    with pytest.raises(ImageError, match=r"cut short|damaged"):
        load_picture(path)


def test_truncated_compressed_tiff_is_refused(tmp_path):
    path = tmp_path / "cut.tif"
    tifffile.imwrite(path, picture(size=(300, 400)), photometric="rgb", compression="zlib")
    path.write_bytes(path.read_bytes()[:-2000])
    with pytest.raises(ImageError, match=r"cut short|damaged"):
        load_picture(path)


def test_a_bomb_is_refused_by_its_header(tmp_path):
    png = _bad(tmp_path, "bomb.png", _encoded("PNG"))
    data = bytearray(png.read_bytes())
    data[16:24] = (60_000).to_bytes(4, "big") * 2
    import zlib

    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4, "big")
    png.write_bytes(bytes(data))
    with pytest.raises(ImageError, match="megapixels"):
        load_picture(png)
    tif = tmp_path / "bomb.tif"
    tifffile.imwrite(tif, shape=(20_000, 20_000, 3), dtype=np.uint8, photometric="rgb")
    with pytest.raises(ImageError, match="megapixels"):
        load_picture(tif)
    with pytest.raises(ImageError, match="megapixels"):
        load_picture(_bad(tmp_path, "ok.jpg", _encoded("JPEG")), max_pixels=10_000)


def test_a_file_too_long_is_refused(tmp_path):
    path = _bad(tmp_path, "long.jpg", _encoded("JPEG"))
    with pytest.raises(ImageError, match="GB"):
        read_header(path, max_bytes=100)


def test_cmyk_bilevel_float_and_animated_are_refused(tmp_path):
    cmyk = tmp_path / "press.tif"
    Image.fromarray(picture()).convert("CMYK").save(cmyk)
    with pytest.raises(ImageError, match="CMYK"):
        load_picture(cmyk)
    jpeg = tmp_path / "press.jpg"
    Image.fromarray(picture()).convert("CMYK").save(jpeg)
    with pytest.raises(ImageError, match="CMYK"):
        load_picture(jpeg)
    for name in ("fax.png", "fax.tif"):
        fax = tmp_path / name
        Image.fromarray(picture()).convert("1").save(fax)
        with pytest.raises(ImageError, match="grey or colour"):
            load_picture(fax)
    real = tmp_path / "real.tif"
    tifffile.imwrite(real, picture().astype(np.float32), photometric="rgb")
    with pytest.raises(ImageError, match="whole numbers"):
        load_picture(real)
    moving = tmp_path / "moving.png"
    frames = [Image.fromarray(picture()), Image.fromarray(picture()[::-1].copy())]
    frames[0].save(moving, save_all=True, append_images=frames[1:])
    with pytest.raises(ImageError, match="animated"):
        load_picture(moving)


def test_a_speck_is_refused(tmp_path):
    path = tmp_path / "speck.png"
    Image.fromarray(picture(size=(3, 3))).save(path)
    with pytest.raises(ImageError, match="too small"):
        load_picture(path)


def test_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(ImageError, match="cannot be opened"):
        load_picture(tmp_path / "nowhere.tif")
    with pytest.raises(ImageError, match="cannot be opened"):
        load_picture(tmp_path)


def test_preview_is_small_and_keeps_its_shape(tmp_path):
    source, target = tmp_path / "scan.tif", tmp_path / "deep" / "small.jpg"
    tifffile.imwrite(source, picture(np.uint16, (600, 800)), photometric="rgb")
    preview(source, target, 200)
    with Image.open(target) as small:
        assert small.size == (200, 150)
        apart = np.asarray(small).astype(int) - as_eight_bit(picture(np.uint16, (150, 200)))
    assert np.abs(apart).mean() < 3


def test_sixteen_bits_round_to_eight():
    assert as_eight_bit(np.array([[[0, 257, 65535]]], np.uint16)).tolist() == [[[0, 1, 255]]]
    assert as_eight_bit(np.array([[[128, 129, 32896]]], np.uint16)).tolist() == [[[0, 1, 128]]]


def test_memory_limit_turns_greed_into_an_error_and_is_lifted_again():
    with memory_limit(200), pytest.raises(MemoryError):
        np.ones(800_000_000, np.uint8)
    assert np.ones(300_000_000, np.uint8)[-1] == 1
