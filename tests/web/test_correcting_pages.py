"""The close-up with its layers, the form that corrects a measurement, and what follows it."""

from __future__ import annotations

import html
import re

import pytest

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture
from web.conftest import ITEM, Bench
from web.test_pages import assert_no_inline, assert_whole

CORRECTION = {"corner_1": "8, 9", "ignore": "60,90 80,90 80,110", "ground": "dark", "note": "thumb"}


def scan(bench: Bench, moment: str = "before") -> Capture:
    return next(one for one in bench.state.captures.values() if one.moment == moment)


def record(bench: Bench, capture: Capture, id: str, width: float, **params: str) -> None:
    place = "w01.outer.left"
    run = Run(
        id, "leaf.measure", 2, "exact", place, (Input("image", capture.id, capture.sha256),),
        params, (Finding(f"{id}.0", "leaf.width_mm", place, width, 0.05, "mm"),),
        drawing={"outline": "6,7 84,8 83,112 7,111", "edges": "head right foot",
                 "tears": "6,40 20,44", "fold": "84,8 83,112"},
    )  # fmt: skip
    bench.studio.append(ITEM, None, [Draft(ITEM, "run.recorded", to_body(run))])


def correct(bench: Bench, capture: Capture, **form: str):  # type: ignore[no-untyped-def]
    return bench.client.post(bench.url(f"/look/{capture.id}/correct"), data=form)


def test_the_close_up_draws_every_layer_and_names_its_line(bench: Bench) -> None:
    capture = scan(bench)
    record(bench, capture, "r1", 180.0)
    answer = bench.client.get(bench.url(f"/look/{capture.id}"))
    assert_no_inline(assert_whole(answer.text))
    for key in ("outline", "fold", "tears"):
        assert f'data-layer="{key}"' in answer.text
        assert f'data-switch="{key}"' in answer.text
    assert 'data-switch="stains"' not in answer.text
    assert answer.text.count("layer-outline faint") == 2  # the left edge, and the white below it
    assert "dash and dot" in answer.text


def test_every_switch_has_a_rule_that_hides_its_layer(bench: Bench) -> None:
    from quirewell.stages.drawn import _LAYERS

    css = bench.client.get("/static/watch.css").text
    keys = [entry[0] for entry in _LAYERS] + [
        "corners", "ignore", "arrows", "across", "along", "matches", "inks",
    ]  # fmt: skip
    for key in keys:
        assert f'[data-switch="{key}"]:not(:checked)) [data-layer="{key}"]' in css


def test_the_form_is_plain_numbers_without_javascript(bench: Bench) -> None:
    capture = scan(bench)
    record(bench, capture, "r1", 180.0)
    answer = bench.client.get(bench.url(f"/look/{capture.id}/correct"))
    page = assert_whole(answer.text)
    assert_no_inline(page)
    names = [value for tag, name, value in page.attributes if name == "name" and tag != "meta"]
    for field in ("corner_1", "corner_4", "ignore", "ground", "note", "tear 6,40"):
        assert field in names
    assert "found at 84, 8" in answer.text


def test_a_correction_is_saved_told_and_undone(bench: Bench) -> None:
    capture = scan(bench)
    record(bench, capture, "r1", 180.0)
    answer = correct(bench, capture, **CORRECTION)
    assert answer.url.path == bench.url(f"/look/{capture.id}")
    held = bench.state.corrections[f"correction.{capture.id}"]
    assert (held.corners, held.ignore, held.note) == ("8,9 - - -", CORRECTION["ignore"], "thumb")
    assert "Corrected by hand on" in answer.text
    assert "upper left corner set by hand, 1 part of the picture left out" in answer.text
    assert "still those from before the correction" in answer.text
    params = {"corners": held.corners, "ignore": held.ignore, "ground": "dark"}
    record(bench, capture, "r2", 181.5, **params)
    shown = bench.client.get(bench.url(f"/look/{capture.id}")).text
    assert "180.00 ± 0.10 mm" in shown and "<strong>181.50 ± 0.10 mm</strong>" in shown
    seq = re.search(r'name="seq" value="(\d+)"', shown)
    assert seq is not None
    undone = bench.client.post(
        bench.url("/undo"), data={"seq": seq[1], "back": bench.url(f"/look/{capture.id}")}
    )
    assert "Corrected by hand" not in undone.text
    assert "180.00 ± 0.10 mm" in undone.text and "181.50" not in undone.text
    assert {"r1", "r2"} <= set(bench.state.runs)
    assert not bench.state.corrections


def test_what_was_typed_and_what_is_wrong_stay_in_the_form(bench: Bench) -> None:
    capture = scan(bench)
    record(bench, capture, "r1", 180.0)
    answer = correct(bench, capture, corner_2="far left", ignore="1,1 2,2", note="thumb")
    assert answer.status_code == 422
    assert_whole(answer.text)
    assert "as in 120.5, 84" in html.unescape(answer.text)
    assert 'value="far left"' in answer.text and 'value="thumb"' in answer.text
    assert "1,1 2,2</textarea>" in answer.text
    assert not bench.state.corrections


def test_two_tabs_correcting_one_picture_see_both_values(bench: Bench) -> None:
    capture = scan(bench)
    stamp = {"record": f"correction.{capture.id}", "touched": "0"}
    correct(bench, capture, **stamp, corner_1="8, 9", ground="dark")
    late = correct(bench, capture, **stamp, corner_1="12, 9", ground="light")
    assert late.status_code == 409
    assert "8, 9" in late.text and "12, 9" in late.text and "dark" in late.text
    assert bench.state.corrections[stamp["record"]].ground == "dark"
    sent = dict(re.findall(r'type="hidden" name="([\w ,.]+)" value="([^"]*)"', late.text))
    mine = bench.client.post(bench.url(f"/look/{capture.id}/correct"), data=sent)
    assert mine.status_code == 200
    assert bench.state.corrections[stamp["record"]].corners == "12,9 - - -"


def test_only_scans_of_sheets_are_corrected(bench: Bench) -> None:
    snap = next(one for one in bench.state.captures.values() if not one.place)
    assert bench.client.get(bench.url(f"/look/{snap.id}/correct")).status_code == 404
    assert "/correct" not in bench.client.get(bench.url(f"/look/{snap.id}")).text
    assert bench.client.get(bench.url("/look/p0/correct")).status_code == 404


@pytest.mark.parametrize("path", ["info.json", "full/max/0/default.jpg", "..%2f..%2finfo.json"])
def test_layers_of_no_comparison_are_not_found(bench: Bench, path: str) -> None:
    assert bench.client.get(bench.url(f"/pair/r9/after/{path}")).status_code == 404
    assert bench.client.get(bench.url("/pair/r9/difference.png")).status_code == 404


def test_a_picture_that_does_not_belong_is_set_aside_and_brought_back(bench: Bench) -> None:
    capture = scan(bench, "after")
    page = bench.client.get(bench.url(f"/look/{capture.id}"))
    assert "This picture does not belong here" in page.text
    answer = bench.client.post(
        bench.url(f"/look/{capture.id}/aside"),
        data={"reason": "a double", "back": bench.url("/examine/w01")},
    )
    assert answer.url.path == bench.url("/examine/w01")
    assert capture.id not in bench.state.captures
    assert "a record is set aside" in answer.text
    seq = re.search(r'name="seq" value="(\d+)"', answer.text)
    assert seq is not None
    bench.client.post(bench.url("/undo"), data={"seq": seq[1]})
    assert capture.id in bench.state.captures


def test_a_picture_that_a_defect_shows_is_kept_and_the_reason_told(bench: Bench) -> None:
    capture = scan(bench)
    form = {"term": "tear", "place": "w01.outer", "capture": capture.id}
    bench.client.post(bench.url("/examine/defect"), data=form)
    answer = bench.client.post(bench.url(f"/look/{capture.id}/aside"), data={"reason": "double"})
    assert answer.status_code == 422
    assert "shows this picture" in answer.text and 'value="double"' in answer.text
    assert_whole(answer.text)
    assert capture.id in bench.state.captures


def test_a_reading_is_corrected_on_its_page(bench: Bench) -> None:
    form = {"quantity": "pH", "value": "5.2 at 21C", "place": "w01", "method": "strip on the paper"}
    bench.client.post(bench.url("/treat/reading"), data=form)
    known, reading = next(iter(bench.state.readings.items()))
    page = bench.client.get(bench.url("/treat"))
    assert_whole(page.text)
    assert "/treat/correct-reading" in page.text
    stamp = {"id": known, "record": known, "touched": str(bench.state.touched[known])}
    wrong = bench.client.post(bench.url("/treat/correct-reading"), data={**stamp, "value": "52"})
    assert wrong.status_code == 422 and "5.2 is a pH" in wrong.text
    bench.client.post(bench.url("/treat/correct-reading"), data={**stamp, "value": "5.6"})
    assert str(bench.state.readings[known].value) == "5.6"
    assert bench.state.readings[known].temperature_c == reading.temperature_c
    late = bench.client.post(bench.url("/treat/correct-reading"), data={**stamp, "value": "6.1"})
    assert late.status_code == 409 and "5.6" in late.text and "6.1" in late.text
