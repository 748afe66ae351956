"""Colour measurement text: what is read, and what hostile files are told."""

import numpy as np
import pytest

from quirewell.science.colour.cgats import MOST_CHARACTERS, BadColourFile, read_cgats

TARGET = """IT8.7/2
ORIGINATOR "our own bench"
DESCRIPTOR "Reflective target"   # a remark
KEYWORD "MYKEY"
MYKEY "yes"
NUMBER_OF_FIELDS 7
BEGIN_DATA_FORMAT
SAMPLE_ID XYZ_X XYZ_Y XYZ_Z
LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
A1 48.744 49.887 35.728 76.0 4.0 20.0
"A 2" 28.922 28.123 14.672
  60.0 9.0 28.0   # rows may run on
END_DATA
"""


def spectral(count=31, start=400, step=10, top=100.0):
    names = " ".join(f"SPECTRAL_NM{start + step * i}" for i in range(count))
    values = " ".join(f"{top * (0.3 + 0.01 * i):.3f}" for i in range(count))
    return (
        f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME {names}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\nleaf {values}\nEND_DATA\n"
    )


def test_keywords_columns_and_rows_are_read():
    (table,) = read_cgats(TARGET)
    assert table.names == ("A1", "A 2")
    assert table.keywords["ORIGINATOR"] == "our own bench"
    assert table.keywords["DESCRIPTOR"] == "Reflective target"
    assert table.lab() == pytest.approx(np.array([[76.0, 4.0, 20.0], [60.0, 9.0, 28.0]]))
    assert table.xyz()[0] == pytest.approx([0.48744, 0.49887, 0.35728])
    assert table.spectra() is None


def test_line_ends_byte_marks_and_decimal_commas_do_not_matter():
    text = "\ufeff" + TARGET.replace("76.0", "76,0").replace("\n", "\r\n")
    assert read_cgats(text)[0].lab()[0][0] == 76.0


def test_spectra_come_in_order_as_shares():
    nm, values = read_cgats(spectral())[0].spectra()
    assert nm[0] == 400 and nm[-1] == 700 and len(nm) == 31
    assert values[0][[0, -1]] == pytest.approx([0.3, 0.6])
    assert read_cgats(spectral(top=1.0))[0].spectra()[1] == pytest.approx(values)


def test_two_tables_in_one_file():
    assert len(read_cgats(TARGET + "\n" + TARGET)) == 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no readings"),
        ("hello there", "no readings"),
        ("\x00\x01II*\x00", "binary"),
        ("x" * (MOST_CHARACTERS + 1), "at most 4 million"),
        (TARGET.replace("END_DATA\n", ""), "cut short"),
        (TARGET.replace("END_DATA_FORMAT", "END"), "cut short"),
        (TARGET.replace("SETS 2", "SETS 3"), "says it holds 3 rows and holds 2"),
        (TARGET.replace("9.0 28.0", "9.0"), "do not fill rows"),
        ("BEGIN_DATA\n1 2\nEND_DATA", "before their columns"),
        (TARGET.replace("XYZ_X", "LAB_L"), "two columns"),
        ("BEGIN_DATA_FORMAT\n" + "A " * 700, "more than 600 columns"),
        ("WORD " + "y" * 500, "a word of 500"),
    ],
)
def test_broken_files_are_told_so_in_a_sentence(text, says):
    with pytest.raises(BadColourFile, match=says):
        read_cgats(text)


@pytest.mark.parametrize("word", ["nan", "inf", "1e99", "red", "--"])
def test_a_colour_that_is_no_number_is_named(word):
    (table,) = read_cgats(TARGET.replace("76.0", word))
    with pytest.raises(BadColourFile, match="LAB_L of A1 must be a number"):
        table.lab()


def test_a_missing_column_is_named():
    with pytest.raises(BadColourFile, match="no column CMYK_C"):
        read_cgats(TARGET)[0].numbers("CMYK_C")


def test_densities_are_no_reflectances():
    text = spectral(top=1.0).replace(" 0.300", " -0.300")
    with pytest.raises(BadColourFile, match="densities"):
        read_cgats(text)[0].spectra()
