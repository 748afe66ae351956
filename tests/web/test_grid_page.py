"""Cards by pencil, then one grid: kept once, corrected where changed, refused in the cell."""

from __future__ import annotations

import io
import re

import pikepdf
import pytest

from quirewell.stages import grid
from quirewell.stages.refusal import Refusal
from web.conftest import Bench

REASON = {"reason": "tested on scraps"}
ROW = {
    "w01.width_before": "184,5", "w01.height_before": "260 mm", "w01.ph_before": "4.5 at 21C",
    "w01.tone_before": "9", "w01.into": "18:05", "w01.out": "18:35", "w01.bath_c": "70 F",
    "w01.dried": "2026-11-29 18:00", "w01.width_after": "184.0", "w01.note": "corner loose",
}  # fmt: skip
HEAD = {"day": "2026-11-28", "kind": "wash", "way": "cold, one wrap at a time", **REASON}


def keep(bench: Bench, **form: str) -> tuple[int, str]:
    answer = bench.client.post(bench.url("/grid/keep"), data={**HEAD, **form})
    return answer.status_code, answer.text


def test_a_row_of_a_card_becomes_readings_a_bath_and_a_drying(bench: Bench) -> None:
    assert keep(bench, **ROW)[0] == 200
    state = bench.state
    width = state.readings["grid-w01-width-before"]
    assert (str(width.value), width.as_typed, width.moment) == ("184.5", "184,5", "before")
    ph = state.readings["grid-w01-ph-before"]
    assert (str(ph.value), str(ph.temperature_c), ph.method) == ("4.5", "21", "strip on the paper")
    bath, dry = state.steps["grid-w01-wash"], state.steps["grid-w01-dry"]
    assert (bath.state, bath.way, str(bath.temperature_c)) == ("done", HEAD["way"], "21.1")
    lasted = [step.started_at[11:16] for step in (bath, dry)], bath.done_at[11:16]
    assert lasted[0][1] == lasted[1], "drying begins when it leaves the bath"
    assert dry.done_at.startswith("2026-11-29T")
    assert any("typed up" in one.reason for one in state.overrides.values())


def test_the_same_grid_again_keeps_nothing_and_a_changed_cell_corrects(bench: Bench) -> None:
    keep(bench, **ROW)
    version = bench.state.version
    keep(bench, **ROW)
    assert bench.state.version == version, "sent twice, kept once"
    keep(bench, **{**ROW, "w01.width_before": "185"})
    assert str(bench.state.readings["grid-w01-width-before"].value) == "185"
    assert bench.state.version == version + 1
    keep(bench, **{"w01.width_before": ""})
    assert str(bench.state.readings["grid-w01-width-before"].value) == "185", "empty says nothing"


def test_what_it_shows_can_be_sent_back_as_it_is(bench: Bench) -> None:
    keep(bench, **ROW)
    version = bench.state.version
    page = bench.client.get(bench.url("/grid")).text
    cells = dict(re.findall(r'<input name="(w01\.\w+)" value="([^"]*)"', page))
    assert cells["w01.into"].endswith("Z") and cells["w01.note"] == "corner loose"
    keep(bench, **cells)
    assert bench.state.version == version


@pytest.mark.parametrize(
    ("cell", "text", "says"),
    [
        ("w01.width_before", "wide", "not a number"),
        ("w01.width_before", "18450", "between"),
        ("w01.ph_before", "79", "decimal point missing"),
        ("w01.into", "25:10", "on a clock"),
        ("w01.into", "noon", "is no time"),
        ("w01.out", "17:00", "before into the bath"),
        ("w01.bath_c", "hot", "not a temperature"),
        ("w01.bath_c", "90", "between 0 and 60"),
        ("w01.dried", "2026-02-30 10:00", "There is no day"),
    ],
)
def test_one_cell_that_cannot_be_read_keeps_nothing(
    bench: Bench, cell: str, text: str, says: str
) -> None:
    version = bench.state.version
    code, page = keep(bench, **{**ROW, cell: text})
    assert code == 422 and says in page.replace("&#39;", "'") and f"wrong-{cell}" in page
    assert bench.state.version == version
    assert 'value="9"' in page, "what was typed in other cells stands"


def test_a_bath_that_needed_something_first_asks_for_the_reason(bench: Bench) -> None:
    code, page = keep(bench, **{**ROW, "reason": ""})
    assert code == 422 and "Say why below" in page
    assert not bench.state.steps


def test_rows_pasted_with_names_without_and_in_disorder(bench: Bench) -> None:
    state = bench.state
    cells, aside = grid.pasted(state, "wrap\tTone step before\tWidth before, mm\n1\t9\t184.5\n")
    assert cells == {"w01.tone_before": "9", "w01.width_before": "184.5"} and not aside
    cells, aside = grid.pasted(state, "2;184,5;260\ncover;190\n77;1;2\nhello;3")
    assert cells["w02.height_before"] == "260" and cells["c.width_before"] == "190"
    assert len(aside) == 2
    _, aside = grid.pasted(state, "sheet,width before,charm\nw01,184,7")
    assert aside == ("No column here for charm; it was left out.",)
    for nothing in ("", "   \n", "one word", "x" * 60_001):
        with pytest.raises(Refusal):
            grid.pasted(state, nothing)


def test_pasting_keeps_nothing_before_it_is_looked_through(bench: Bench) -> None:
    version = bench.state.version
    answer = bench.client.post(bench.url("/grid/paste"), data={"paste": "1\t184.5\t=1+1"})
    assert answer.status_code == 200 and "not kept yet" in answer.text
    assert 'value="184.5"' in answer.text and bench.state.version == version
    empty = bench.client.post(bench.url("/grid/paste"), data={"paste": "zz\t1"})
    assert empty.status_code == 422 and "Nothing in it could be placed" in empty.text


def test_a_card_for_each_sheet_is_the_same_each_time(bench: Bench) -> None:
    first = bench.client.get(bench.url("/cards.pdf"))
    assert first.content == bench.client.get(bench.url("/cards.pdf")).content
    with pikepdf.open(io.BytesIO(first.content)) as pdf:
        assert len(pdf.pages) == 1, "a cover and two wraps are three cards"
