"""What a file hides: halved colour, colours beyond sRGB, its scanner; and limits on decoding."""

from __future__ import annotations

import io

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from picture_files import wide_profile
from quirewell.jobs.runner import Runner
from quirewell.studio.image_jpeg import sampling_of
from quirewell.studio.image_profile import matrix_profile, through_matrix
from quirewell.studio.images import cpu_limit, load_picture, read_header


def picture(size=(64, 96)):
    y, x = np.mgrid[: size[0], : size[1]]
    return np.stack([40 + x, 200 - x, 90 + y], axis=2).astype(np.uint8)


@pytest.mark.parametrize(("sampling", "halved"), [("444", False), ("420", True), ("422", True)])
def test_halved_colour_inside_a_tiff_is_flagged_whatever_its_tags_say(tmp_path, sampling, halved):
    stream = imagecodecs.jpeg8_encode(picture(), level=95, subsampling=sampling)
    path = tmp_path / "hidden.tif"
    tifffile.imwrite(
        path, iter([stream]), shape=picture().shape, dtype=np.uint8, photometric="rgb",
        compression="jpeg", rowsperstrip=64, metadata=None,
    )  # fmt: skip
    with tifffile.TiffFile(path, mode="r+") as opened:
        opened.pages[0].tags[262].overwrite(2)
        if 530 in opened.pages[0].tags:
            opened.pages[0].tags[530].overwrite((1, 1))
    with tifffile.TiffFile(path) as opened:
        assert int(opened.pages[0].photometric) == 2
    header = read_header(path)
    assert header.subsampled is halved
    assert any("half the resolution" in says for says in header.warnings) is halved


def test_sampling_of_damaged_streams_is_unknown():
    out = io.BytesIO()
    Image.fromarray(picture()).save(out, "JPEG", subsampling=2)
    whole = out.getvalue()
    assert sampling_of(whole) == (34, 17, 17)
    for cut in (0, 1, 3, 10, 150):
        assert sampling_of(whole[:cut]) is None
    assert sampling_of(b"\xff\xd8\xff\xc0\x00\x01") is None
    assert sampling_of(b"\xff\xd8\x00\x00" * 8) is None


def test_a_wide_profile_keeps_sixteen_bits_and_says_what_was_cut_off(tmp_path):
    """Against the definition: linear light through the profile's own primaries (own matrices)."""
    wide = ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001))
    narrow = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
    profile = imagecodecs.cms_profile(
        "rgb",
        whitepoint=(0.3127, 0.3290, 1.0),
        primaries=[part for xy in wide for part in (*xy, 1.0)],
        gamma=1.8,
    )
    ramp = np.linspace(0.02, 0.85, 4000)
    values = np.stack([ramp, 0.93 * ramp, 0.75 * ramp], axis=1).reshape(40, 100, 3)
    stored = np.round(65535 * values).astype(np.uint16)
    path = tmp_path / "wide.tif"
    tifffile.imwrite(path, stored, photometric="rgb", iccprofile=profile)
    loaded = load_picture(path)
    assert loaded.pixels.dtype == np.uint16
    expected = (stored / 65535.0) ** 1.8 @ to_xyz(wide).T @ np.linalg.inv(to_xyz(narrow)).T
    got = loaded.pixels / 65535.0
    light = np.where(got <= 0.04045, got / 12.92, ((got + 0.055) / 1.055) ** 2.4)
    assert np.abs(light - expected).max() < 6e-5
    assert len(np.unique(loaded.pixels[..., 0])) > 3000
    assert not any("outside sRGB" in says for says in loaded.warnings)
    vivid = stored.copy()
    vivid[..., 0] = 2000
    tifffile.imwrite(path, vivid, photometric="rgb", iccprofile=profile)
    assert any("outside sRGB" in says for says in load_picture(path).warnings)


@pytest.mark.parametrize("name", ["wide", "srgb"])
def test_a_profile_of_primaries_agrees_with_an_independent_library_in_floats(name):
    profile = wide_profile() if name == "wide" else imagecodecs.cms_profile(name)
    stored = np.random.default_rng(7).integers(0, 65536, (40, 50, 3), dtype=np.uint16)
    judge = imagecodecs.cms_transform(
        stored.astype(np.float32) / 65535, profile, imagecodecs.cms_profile("srgb"),
        colorspace="rgb", outcolorspace="rgb", intent=1,
    )  # fmt: skip
    ours = through_matrix(stored, matrix_profile(profile)) / 65535.0
    assert np.abs(ours - np.clip(judge, 0, 1)).max() < 6e-4


def test_a_profile_of_tables_or_a_damaged_one_is_left_to_the_library():
    profile = wide_profile()
    assert matrix_profile(profile[:200]) is None
    assert matrix_profile(b"") is None
    assert matrix_profile(profile.replace(b"rXYZ", b"A2B0")) is None
    assert matrix_profile(imagecodecs.cms_profile("gray")) is None


def to_xyz(primaries):
    """Matrix from linear RGB with these primaries and white D65 to XYZ (SMPTE RP 177)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    white = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
    return columns * np.linalg.solve(columns, white)


def test_a_scan_names_its_scanner_and_a_camera_does_not(tmp_path):
    path = tmp_path / "scan.tif"
    tags = [(271, 2, None, "Larkmoor\n", True), (272, 2, None, "larkmoor F2 \x07", True)]
    tifffile.imwrite(path, picture(), photometric="rgb", extratags=tags, resolution=(300, 300))
    assert read_header(path).scanner == "larkmoor F2"
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Larkmoor", "P7"
    Image.fromarray(picture()).save(tmp_path / "scan.jpg", exif=exif)
    assert read_header(tmp_path / "scan.jpg").scanner == "Larkmoor P7"
    exif.get_ifd(0x8769)[0x829A] = 0.01
    Image.fromarray(picture()).save(tmp_path / "phone.jpg", exif=exif)
    assert read_header(tmp_path / "phone.jpg").scanner == ""
    Image.fromarray(picture()).save(tmp_path / "bare.png")
    assert read_header(tmp_path / "bare.png").scanner == ""


def test_a_decoder_that_never_ends_is_ended_with_its_worker_and_the_pool_lives_on():
    with Runner(1) as runner:
        stuck = runner.submit("job_tasks.spin_within", 1).wait()
        assert stuck.state == "failed"
        assert "time" in stuck.error
        assert runner.submit("job_tasks.double", 4).wait().result == 8


def test_the_limit_on_processor_time_is_lifted_again():
    import resource

    before = resource.getrlimit(resource.RLIMIT_CPU)
    with cpu_limit(1000):
        assert resource.getrlimit(resource.RLIMIT_CPU) != before
    assert resource.getrlimit(resource.RLIMIT_CPU) == before
