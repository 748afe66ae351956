"""An instrument's readings, and whether a picture agrees with them."""

import numpy as np
import pytest

from quirewell.science.colour.cgats import BadColourFile
from quirewell.science.colour.target24 import edition_lab
from quirewell.stages.instrument import readings_in, reconcile, reference_lab
from spectral_bench import NM, lab, papers


def spectral_file(rows) -> str:
    at = (NM >= 400) & (NM <= 700) & (NM % 10 == 0)
    names = " ".join(f"SPECTRAL_NM{nm:.0f}" for nm in NM[at])
    lines = "\n".join(
        f"leaf{n} {' '.join(f'{100 * v:.4f}' for v in row[at])}" for n, row in enumerate(rows)
    )
    return (
        f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {names}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{lines}\nEND_DATA\n"
    )


def lab_file(rows, columns="LAB_L LAB_A LAB_B") -> str:
    lines = "\n".join(f"p{n} {' '.join(f'{v:.4f}' for v in row)}" for n, row in enumerate(rows))
    return (
        f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {columns}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{lines}\nEND_DATA\n"
    )


def test_spectra_give_colour_yellowness_and_brightness():
    rows = papers(3, 8)
    for reading, row in zip(readings_in(spectral_file(rows)), rows, strict=True):
        assert reading.lab == pytest.approx(tuple(lab(row)), abs=0.15)
        blue = row[(NM > 450) & (NM < 465)].mean()
        assert reading.brightness_r457 == pytest.approx(100 * blue, abs=2.0)
        assert reading.yellowness > 0 and reading.seen_by == "D65/10"
        assert reading.whiteness is not None


def test_aged_paper_has_no_whiteness():
    brown = papers(30, 9)
    worst = min(readings_in(spectral_file(brown)), key=lambda one: one.lab[0])
    assert not worst.whiteness.valid and "near whites" in worst.whiteness.says


def test_cielab_and_xyz_say_the_same_and_no_brightness():
    by_lab = readings_in(lab_file([[76.0, 4.0, 20.0]]))[0]
    xyz = [[48.3, 49.887, 27.6]]
    by_xyz = readings_in(lab_file(xyz, "XYZ_X XYZ_Y XYZ_Z"))[0]
    assert by_lab.lab == (76.0, 4.0, 20.0) and by_lab.brightness_r457 is None
    assert by_xyz.lab[0] == pytest.approx(76.0, abs=0.01)
    assert "need a spectrum" in by_lab.note


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (lab_file([[1, 2, 3]], "CMYK_C CMYK_M CMYK_Y"), "gives no colours"),
        (lab_file([[400, 2, 3]]), "no CIELAB"),
        (spectral_file(papers(1, 1)).replace("NM4", "NM8"), "gives no colours|420 to 680|same"),
    ],
)
def test_files_without_usable_colours_are_refused(text, says):
    with pytest.raises(BadColourFile, match=says):
        readings_in(text)


def test_a_reference_is_told_by_its_colours():
    usual = edition_lab("before-2014")
    order = np.random.default_rng(1).permutation(24)
    assert reference_lab(lab_file(usual[order])) == pytest.approx(usual, abs=1e-3)
    with pytest.raises(BadColourFile, match="24 rows"):
        reference_lab(lab_file(usual[:20]))
    with pytest.raises(BadColourFile, match="not of a 24-patch target"):
        reference_lab(lab_file(np.full((24, 3), 50.0)))


def test_picture_and_instrument_agree_or_quarrel_by_what_both_allow():
    close = reconcile((76.0, 4.0, 20.0), (77.2, 4.5, 21.0), (2.0, 1.5, 2.0))
    assert close.agree and "agree" in close.says
    assert close.difference == pytest.approx((1.2, 0.5, 1.0))
    assert close.u[0] == pytest.approx(np.hypot(2.0, 0.3))
    far = reconcile((76.0, 4.0, 20.0), (77.2, 4.5, 21.0), (0.3, 0.2, 0.3))
    assert not far.agree and "quarrel" in far.says and "L* +1.2" in far.says
