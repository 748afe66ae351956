"""The table of staple holes: what is read, what is refused and how it says so, written and read."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quirewell.science.booklet.holes import STATES, Edges, HoleAt, Sheet
from quirewell.stages.hole_table import HoleTableError, read_holes, write_holes

HEAD = "wrap,hole,x_mm,y_mm,u_mm,hole_mm,state\n"
EXAMPLE = Path(__file__).parents[2] / "examples/rejoin/holes.csv"


def test_the_example_is_read_with_holes_states_and_edges() -> None:
    sheets = read_holes(EXAMPLE.read_text("utf-8"))
    assert [one.name for one in sheets] == ["c", *(f"w{n:02d}" for n in range(1, 9))]
    assert all(len(one.holes) == 4 and one.edges for one in sheets)
    assert {hole.state for one in sheets for hole in one.holes} >= {"torn", "rusted", "missing"}


def test_decimal_commas_semicolons_tabs_and_a_byte_order_mark_are_read() -> None:
    plain = read_holes(HEAD + "w01,1,0.12,60.203,0.08,0.9,clean\nc,1,-0.1,60,,,\n")
    commas = "wrap;hole;x_mm;y_mm;u_mm;hole_mm;state\nW1;1;0,12;60,203;0,08;0,9;Clean\n"
    commas += "cover;1;\u22120,1;60;;;\n"
    for text in (
        commas, "\ufeff" + commas, commas.replace(";", "\t"), commas.replace("\n", "\r\n"),
        HEAD + 'w01,1,"0,12","60,203",0.08,0.9,\n# a remark, all\n\nc,1,-0.1,60,0,0,clean\n',
    ):  # fmt: skip
        assert read_holes(text) == plain
    assert [one.name for one in plain] == ["c", "w01"]
    assert plain[0].holes[0].u_mm is None and plain[0].holes[0].size_mm is None


def test_columns_may_stand_in_any_order_and_only_four_are_needed() -> None:
    (one,) = read_holes("y_mm,x_mm,hole,wrap\n60,0.1,1,w03\n")
    assert one == Sheet("w03", (HoleAt(1, 0.1, 60.0),))


def test_edges_are_given_once_or_the_same_in_all_rows() -> None:
    head = HEAD.strip() + ",left_mm,right_mm,head_mm,tail_mm\n"
    sheets = read_holes(
        head + "c,1,0,60,,,,-184,184,0,260\nc,2,0,73,,,,-184,,,\nw01,,,,,,,,183.9,,\n"
    )
    assert sheets[0].edges == Edges(-184, 184, 0, 260)
    assert sheets[1] == Sheet("w01", (), Edges(right_mm=183.9))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "needs a header"),
        (HEAD, "holds no rows"),
        ("wrap,hole,x_mm\nc,1,2\n", "y_mm is not there"),
        ("wrap,hole,x_mm,y_mm,colour\nc,1,0,60,red\n", "'colour' is no column"),
        ("wrap,hole,x_mm,y_mm,x_mm\nc,1,0,60,1\n", "x_mm is there twice"),
        (HEAD + "c,1,zero,60,,,\n", "line 2: x_mm is 'zero'"),
        (HEAD + "c,1,nan,60,,,\n", "line 2: x_mm is 'nan'"),
        (HEAD + "c,1,0,inf,,,\n", "line 2: y_mm is 'inf'"),
        (HEAD + "c,1,0,1e99,,,\n", "between -1000 and 1000"),
        (HEAD + "c,1,0,6000,,,\n", "between -1000 and 1000"),
        (HEAD + "c,1,0,60,-1,,\n", "u_mm lies between 0 and 5"),
        (HEAD + "c,1,0,60,,99,\n", "hole_mm lies between 0 and 20"),
        (HEAD + "c,1,0,60,,,\n# x\n\nc,1,0,61,,,\n", "line 5: hole 1 of c was given on line 2"),
        (HEAD + "c,1,0,60,,,bent\n", "line 2: a hole is clean, torn, rusted, plugged or missing"),
        (HEAD + "c,0,0,60,,,\n", "numbered 1 to 18"),
        (HEAD + "c,19,0,60,,,\n", "numbered 1 to 18"),
        (HEAD + "c,1.5,0,60,,,\n", "numbered 1 to 18"),
        (HEAD + "c,\u00b2,0,60,,,\n", "numbered 1 to 18"),
        (HEAD + "c,,0,60,,,\n", "numbered 1 to 18"),
        (HEAD + "x9,1,0,60,,,\n", "line 2: 'x9' names no sheet"),
        (HEAD + "w00,1,0,60,,,\n", "names no sheet"),
        (HEAD + "w100,1,0,60,,,\n", "names no sheet"),
        (HEAD + "c,1,,60,,,clean\n", "needs x_mm and y_mm"),
        (HEAD + "c,1,0,12,60,2,,\n", "line 2 has 8 cells, the header 7"),
        (HEAD + "c,1,0,60\n", "line 2 has 4 cells, the header 7"),
        (HEAD + 'c,1,"0,60,,,\n', "a quote that is not closed"),
        (HEAD + "c,1,0,60,,,\0\n", "no text"),
        (HEAD + "c,1," + "9" * 200_000 + ",60,,,\n", "line 2"),
        (HEAD + "c,1,0,60,,,\n" * 90_000, "Is it the right file"),
        ("wrap,hole,x_mm,y_mm,head_mm\nc,1,0,60,0\nc,2,0,73,1\n", "on line 2 it was 0"),
        ("wrap,hole,x_mm,y_mm,head_mm,tail_mm\nc,1,0,60,9,3\n", "the head lies above the tail"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_a_sentence_with_its_line(text: str, says: str) -> None:
    with pytest.raises(HoleTableError) as caught:
        read_holes(text)
    assert says in str(caught.value)
    assert len(str(caught.value)) < 250


numbers = st.floats(-900, 900).map(lambda value: round(value, 4) + 0.0)
holes = st.builds(
    HoleAt, st.integers(1, 18), numbers, numbers,
    st.none() | st.floats(0.001, 5).map(lambda value: round(value, 4)),
    st.none() | st.floats(0.01, 20).map(lambda value: round(value, 4)), st.sampled_from(STATES),
)  # fmt: skip
edges = st.none() | st.builds(
    Edges, st.none() | st.just(-184.25), st.none() | st.just(184.0), st.none() | st.just(0.0),
    st.none() | st.just(260.125),
).filter(lambda one: one != Edges())  # fmt: skip
tables = st.lists(
    st.builds(
        Sheet, st.sampled_from(["c", "w01", "w02", "w17", "w99"]),
        st.lists(holes, max_size=6, unique_by=lambda one: one.number).map(
            lambda rows: tuple(sorted(rows, key=lambda one: one.number))
        ),
        edges,
    ),
    min_size=1, max_size=5, unique_by=lambda one: one.name,
)  # fmt: skip


@given(tables)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_what_was_written_is_read_as_it_was(sheets: list[Sheet]) -> None:
    assert read_holes(write_holes(sheets)) == sorted(sheets, key=lambda one: one.name)


@given(st.text(max_size=200) | st.text(alphabet='wc0123456789,;.-"\n\t', max_size=200))
@settings(max_examples=150, deadline=None, derandomize=True)
def test_any_text_is_read_or_refused_in_a_sentence(text: str) -> None:
    for given_text in (text, HEAD + text):
        try:
            assert read_holes(given_text)
        except HoleTableError as error:
            assert len(str(error)) > 20


def test_nothing_written_can_start_a_formula() -> None:
    text = write_holes([Sheet("c", (HoleAt(1, -0.5, 60.0),))])
    assert all(line[:1] not in "=+-@" for line in text.splitlines())
