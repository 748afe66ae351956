"""Rejoin on its pages: taking apart, holes, matching, one sheet after another, sheets to print."""

from __future__ import annotations

import html
import io
import time
from dataclasses import replace

from PIL import Image

from hole_scans import HEIGHT_MM, plants, scan
from light_box_photos import photograph
from quirewell.stages import hole_marking, rejoining
from quirewell.stages.taking_in import Source, take_in
from web.conftest import ITEM, Bench

HOLES = ((0.10, 60.2, 0.7), (0.12, 73.1, 0.7), (0.08, 187.0, 0.7), (0.11, 200.2, 0.7))


def post(bench: Bench, path: str, form: dict[str, str]) -> str:
    answer = bench.client.post(bench.url(path), data=form)
    assert answer.status_code in (200, 303, 422), answer.text[:400]
    return html.unescape(answer.text)


def get(bench: Bench, path: str) -> str:
    answer = bench.client.get(bench.url(path))
    assert answer.status_code == 200
    return html.unescape(answer.text)


def mark(bench: Bench, place: str, dx: float = 0.0, dy: float = 0.0, **more: str) -> str:
    form = {"place": place} | more
    for number, (x, y, size) in enumerate(HOLES, 1):
        row = {f"x.{number}": f"{x + dx:.2f}", f"y.{number}": f"{y + dy:.2f}",
               f"size.{number}": f"{size}"}  # fmt: skip
        form = row | form
    return post(bench, f"/rejoin/holes/{place}", form)


def test_the_whole_way_by_typed_holes(bench: Bench) -> None:
    page = get(bench, "/rejoin")
    assert "One sheet at a time, the cover first" in page and "It is not built" not in page
    said = post(bench, "/rejoin/sheets", {"pages.w01": "8 1 2 7", "pages.w02": "6 3 4 5",
                                          "as_made": "yes"})  # fmt: skip
    assert "2 of 2 wraps say by their page numbers where they belong" in said
    post(bench, "/rejoin/staple", {"number": "1", "upper_mm": "60.2", "lower_mm": "73.1",
                                   "care": "replace"})  # fmt: skip
    assert "Staple 1: replace." in get(bench, "/rejoin")
    mark(bench, "c")
    mark(bench, "w01", dx=0.4, dy=-0.6)
    mark(bench, "w02", dy=0.3, **{"state.2": "missing"})
    said = post(bench, "/rejoin/match", {"wire_mm": ""})
    assert "3 sheets lie on one pattern of 4 holes, 0.00 mm off it" in said
    lay = get(bench, "/rejoin/lay/w01")
    assert "0.6 mm towards the tail" in lay and "0.4 mm towards your right" in lay
    assert "You see page 2 on the left and page 7 on the right." in lay
    assert "Hole 2</b> missing" in get(bench, "/rejoin/lay/w02")
    assert "head edge level with the cover's, not with the sheet laid last" in lay
    for place in ("c", "w01", "w02"):
        post(bench, "/rejoin/lay", {"place": place})
    assert "All 3 sheets are laid" in get(bench, "/rejoin")
    assert "Staple 1 from the head: legs at 60.2 and 73.1 mm, replace." in get(
        bench, "/rejoin/lay/w02"
    )
    post(bench, "/rejoin/up", {"place": "w02"})
    assert rejoining.guide(bench.state).next_place == "w02"


def test_moves_are_said_as_the_sheet_lies_inner_side_up(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w01", dx=-0.5)
    post(bench, "/rejoin/match", {"wire_mm": ""})
    # Its holes lie 0.5 mm left of the cover's, outer side up: it goes right so, and left turned.
    assert "0.5 mm towards your left" in get(bench, "/rejoin/lay/w01")


def test_a_move_less_than_a_hand_can_set_is_not_asked_for(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w01", dx=0.15, dy=-0.03)
    mark(bench, "w02", dx=0.3, **{f"u.{number}": "1" for number in range(1, 5)})
    post(bench, "/rejoin/match", {"wire_mm": ""})
    lay = get(bench, "/rejoin/lay/w01")
    assert "Lay it by the holes; nothing to shift" in lay and "mm towards" not in lay
    assert " mm</text>" not in lay
    # What is not known well is not said to be nothing.
    lay = get(bench, "/rejoin/lay/w02")
    # Four holes sure to 1 mm each: twice 1 / sqrt(4), and a little for the slack round the wire.
    assert "is known to 1.1 mm only" in lay and "nothing to shift" not in lay


def test_a_turn_is_said_with_the_side_that_goes_towards_you(bench: Bench) -> None:
    mark(bench, "c")
    # Turned by 4 mrad with the clock, outer side up (x to the right, y down), about hole 1.
    holes = [(x - 0.004 * (y - HOLES[0][1]), y + 0.004 * (x - HOLES[0][0])) for x, y, _ in HOLES]
    mark(bench, "w01", **{f"{name}.{number}": f"{value:.3f}" for number, at in enumerate(holes, 1)
                          for name, value in zip("xy", at, strict=True)})  # fmt: skip
    post(bench, "/rejoin/match", {"wire_mm": ""})
    # It goes back against the clock so, and with it where the inner side looks up.
    lay = get(bench, "/rejoin/lay/w01")
    assert "turned with the clock: 180 mm right of the fold it goes 0.7 mm towards you" in lay


def test_a_lost_staple_leaves_unsaid_what_its_holes_do_not_hold(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w01", dx=0.8, dy=0.5, **{"state.3": "missing", "state.4": "missing"})
    mark(bench, "w02", **{f"state.{number}": "missing" for number in (1, 3, 4)})
    post(bench, "/rejoin/match", {"wire_mm": ""})
    lay = get(bench, "/rejoin/lay/w01")
    assert "0.5 mm towards the head" in lay and "towards your" not in lay
    assert "How far it goes to the left or right is known to" in lay
    lay = get(bench, "/rejoin/lay/w02")
    assert "One hole only" in lay and "nothing to shift" not in lay
    assert "towards head or tail is not known, and to the left or right is not known" in lay


def test_a_wrong_hole_is_passed_by_and_a_sheet_found_head_down_goes_in_as_made(
    bench: Bench,
) -> None:
    post(bench, "/rejoin/sheets", {"faced.w01": "head down", "as_made": "yes"})
    mark(bench, "c")
    mark(bench, "w01")
    mark(bench, "w02", **{"y.3": "190.0"})
    post(bench, "/rejoin/match", {"wire_mm": ""})
    lay = get(bench, "/rejoin/lay/w02")
    assert "Hole 3</b>: pass it by, 3.0 mm off as measured" in lay and "3 set aside" in lay
    assert "It was found head down; it goes in as made" in get(bench, "/rejoin/lay/w01")


def test_holes_marked_anew_ask_for_a_new_match(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w01")
    post(bench, "/rejoin/match", {"wire_mm": ""})
    mark(bench, "w01", dx=1.0)
    assert "Holes were marked anew" in get(bench, "/rejoin")
    assert "match them again" in get(bench, "/rejoin/lay/w01")


def test_a_steel_rule_is_not_taken_to_be_surer_than_its_divisions(bench: Bench) -> None:
    page = get(bench, "/rejoin/holes/w01")
    assert page.count('value="0.2"') == 4 and "zero at the head edge" in page
    post(bench, "/rejoin/holes/w01", {"place": "w01", "x.1": "\u22120,5", "y.1": "60", "u.1": "0.2",
                                      "u.2": "0.2"})  # fmt: skip
    (hole,) = bench.state.holes["holes.w01"].holes
    assert (hole.x_mm, hole.u_mm) == (-0.5, 0.2)


def test_rings_of_unknown_holes_begin_apart_along_what_was_searched(bench: Bench) -> None:
    band = ((400.0, 90.0), (440.0, 90.0), (440.0, 1090.0), (400.0, 1090.0))
    view = hole_marking.view(bench.state, "w01")
    assert hole_marking.starts(replace(view, band=band)) == {
        1: (420.0, 290.0), 2: (420.0, 490.0), 3: (420.0, 690.0), 4: (420.0, 890.0)
    }  # fmt: skip


def test_what_cannot_be_is_said_and_what_was_typed_stays(bench: Bench) -> None:
    said = post(bench, "/rejoin/holes/w01", {"place": "w01", "x.1": "abc", "y.1": "60"})
    assert "Hole 1: 'abc' is not a number of millimetres." in said and 'value="abc"' in said
    said = post(bench, "/rejoin/holes/w01", {"place": "w01", "x.1": "45", "y.1": "60"})
    assert "Hole 1: x lies between -20 and 20 mm, got 45." in said
    assert "at least one hole" in post(bench, "/rejoin/holes/w01", {"place": "w01"})
    assert "Mark the staple holes of at least two sheets first" in post(
        bench, "/rejoin/match", {"wire_mm": ""}
    )
    said = post(bench, "/rejoin/sheets", {"pages.w01": "8 1"})
    assert "printed page numbers are four" in said and 'value="8 1"' in said
    assert bench.client.get(bench.url("/rejoin/lay/w09")).status_code == 404
    assert bench.client.get(bench.url("/rejoin/holes/spine")).status_code == 404
    answer = bench.client.get(bench.url("/rejoin/sheet.pdf"))
    assert answer.status_code == 422 and "measure or mark some first" in answer.text


def test_what_nobody_looked_at_is_not_missing_and_what_is_not_there_is(bench: Bench) -> None:
    said = post(bench, "/rejoin/sheets", {"pages.w01": "8 1 2 7"})
    assert "nothing speaks against the order" in said
    said = post(bench, "/rejoin/sheets", {"faced.w02": "not there"})
    assert "Missing: wrap 2 is not there: nothing carries pages 3, 4, 5, 6." in said
    assert [step.place for step in rejoining.guide(bench.state).steps] == ["c", "w01"]
    assert bench.client.get(bench.url("/rejoin/lay/w02")).status_code == 404


def test_two_sheets_said_to_lie_in_one_place(bench: Bench) -> None:
    said = post(bench, "/rejoin/sheets", {"pages.w01": "8 1 2 7", "position.w01": "1",
                                          "pages.w02": "6 3 4 5", "position.w02": "1"})  # fmt: skip
    assert "Wrap 1 and Wrap 2 cannot both be number 1 from outside" in said


def test_both_sheets_are_printed(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w02")
    for name in ("sheet", "board"):
        answer = bench.client.get(bench.url(f"/rejoin/{name}.pdf?paper=a3"))
        if name == "board" and answer.status_code == 422:
            assert "page" in answer.text  # no scan or box says how large a page is
            continue
        assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
    assert bench.client.get(bench.url("/rejoin/sheet.pdf?paper=napkin")).status_code == 422


def test_creep_and_fold_are_worked_out_on_the_page(bench: Bench) -> None:
    widths = "wrap,width_mm\r\nw01,368.3\r\nw02,367.9\r\nw03,367.7\r\nw04,367.4\r\nw05,371.0"
    said = post(bench, "/rejoin/creep", {"widths": widths, "leaf_mm": "0.085"})
    assert "Look at wrap 5." in said
    said = post(bench, "/rejoin/fold", {"front_now_mm": "3.2", "back_now_mm": "0.6",
                                        "choice": "even"})  # fmt: skip
    assert "even split" in said and "planned" in said and "Front and back together stay" in said
    assert "breaks when it is worked dry: humidify it first" in said
    said = post(bench, "/rejoin/fold", {"choice": ""})
    assert "give something measured" in said.lower()
    said = post(bench, "/rejoin/creep", {"widths": "nonsense"})
    assert "table of widths" in said and "nonsense" in said


def test_what_a_limit_costs_is_told(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w01", dy=1.0)
    run = rejoining.match_holes(bench.state, {})[0]
    drawing = {**run.body["drawing"], "costs.w01": "head:0.4000 tail:0.0100 all:0.5000"}
    told = replace(run, body={**run.body, "drawing": drawing})
    bench.studio.append(bench.state.id, None, (told,), "test")
    row = next(one for one in rejoining.matched(bench.state).rows if one.name == "Wrap 1")
    assert "its head kept: costs 0.40 mm at the holes" in row.flags
    assert "all limits together kept: costs 0.50 mm at the holes" in row.flags
    assert not any("tail" in flag for flag in row.flags)


def test_a_sheet_without_a_hole_is_laid_by_fold_and_head(bench: Bench) -> None:
    mark(bench, "c")
    mark(bench, "w01")
    mark(bench, "w02", **{f"state.{number}": "missing" for number in range(1, 5)})
    post(bench, "/rejoin/match", {"wire_mm": ""})
    lay = get(bench, "/rejoin/lay/w02")
    assert "No hole holds it: lay it by its fold and its head edge." in lay
    assert "it lies right as it is" not in lay


def test_a_photograph_over_a_light_box_is_asked_its_height_and_searched(bench: Bench) -> None:
    made = scan(4, 254, "transmitted", plants(4))
    file = io.BytesIO()
    Image.fromarray(photograph(made, 4, lean_deg=(4.0, 2.0)).pixels).save(file, "PNG")
    source = Source("w02-outer-whole-before-lightbox.png", io.BytesIO(file.getvalue()))
    assert not take_in(bench.studio, ITEM, [source]).refused
    (lit,) = (one for one in bench.state.captures.values() if one.view == "light-box")
    page = get(bench, "/rejoin/holes/w02")
    assert "over a light box" in page and "Height of the sheet, mm" in page
    look = "/rejoin/holes/w02/look"
    assert "is not one of this sheet" in post(bench, look, {"capture": "none"})
    said = post(bench, look, {"capture": lit.id, "height": "tall"})
    assert "tall" in said and not any(one.quantity == "height" for one in
                                      bench.state.readings.values())  # fmt: skip
    post(bench, look, {"capture": lit.id, "height": f"{HEIGHT_MM:g}"})
    until = time.monotonic() + 60.0
    while "holes.w02" not in bench.state.holes and time.monotonic() < until:
        time.sleep(0.1)
    held = bench.state.holes["holes.w02"]
    for hole, plant in zip(held.holes, plants(4), strict=True):
        assert hole.y_mm is not None and abs(float(hole.y_mm) - plant.y_mm) < 0.3
    page = get(bench, "/rejoin/holes/w02")
    assert "made flat by the sheet's own edges" in page and "Look in it again" in page
    assert 'data-frame="' in page and "Height of the sheet, mm" not in page
