"""The contact sheet and the bench's page, as a browser without JavaScript uses them."""

from __future__ import annotations

import io
import re

import pytest

from quirewell.stages.taking_in import Source, take_in
from scanner_scans import FOUR_PLACES, scan_of, strip_picture, write_scan
from web.conftest import ITEM, Bench, picture_bytes

SHEET = f"/item/{ITEM}/intake/sheet"


@pytest.fixture
def loose(bench: Bench) -> Bench:
    """Five pictures whose names say nothing, beside the named ones."""
    names = [f"scan{number}.png" for number in (2, 10, 1, 3, 4)]
    sources = [Source(name, io.BytesIO(picture_bytes(50 + at))) for at, name in enumerate(names)]
    assert len(take_in(bench.studio, ITEM, sources).to_assign) == 5
    return bench


def rows(text):
    """(capture id, chosen place) of each picture of the sheet, in order."""
    found = []
    for id_, options in re.findall(r'<select id="place-(\w+)" name="[^"]+">(.*?)</select>', text):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        found.append((id_, chosen[1] if chosen else ""))
    return found


def moments(text):
    return dict(re.findall(r'name="moment-(\w+)" value="(\w+)"', text))


def form_of(text, **more):
    chosen = {f"place-{id_}": place for id_, place in rows(text)}
    taken = {f"moment-{id_}": moment for id_, moment in moments(text).items()}
    return {**chosen, **taken, "order": "halves", "moment": "before", **more}


def names(bench, text):
    return [bench.state.captures[id_].filename for id_, _ in rows(text)]


def test_pictures_stand_in_scan_order_with_the_next_free_places(loose):
    text = loose.client.get(SHEET).text
    assert names(loose, text)[1:] == [f"scan{n}.png" for n in (1, 2, 3, 4, 10)]
    places = [place for _, place in rows(text)]
    assert places[:4] == ["c.outer.left", "c.outer.right", "c.inner.left", "c.inner.right"]
    assert places[4] == "w01.outer.right"


def test_numbering_on_from_one_picture_moves_all_that_follow(loose):
    text = loose.client.get(SHEET).text
    ids = [id_ for id_, _ in rows(text)]
    form = form_of(text, act=f"from:{ids[1]}")
    form[f"place-{ids[0]}"] = ""
    form[f"place-{ids[1]}"] = "w02.inner.left"
    text = loose.client.post(SHEET, data=form).text
    places = [place for _, place in rows(text)]
    assert places[0] == ""
    assert places[1:3] == ["w02.inner.left", "w02.inner.right"]
    assert places[3:] == ["", "", ""]


def test_one_button_puts_them_all_in_place(loose):
    text = loose.client.get(SHEET).text
    ids = [id_ for id_, _ in rows(text)]
    form = form_of(text)
    form[f"place-{ids[0]}"] = ""
    answer = loose.client.post(f"{SHEET}/assign", data=form, follow_redirects=False)
    assert answer.status_code == 303
    state = loose.state
    assert not state.captures[ids[0]].place
    assert [state.captures[id_].place for id_ in ids[1:4]] == ["c.outer", "c.inner", "c.inner"]
    assert state.captures[ids[1]].panel == "right"
    assert all(state.captures[id_].moment == "before" for id_ in ids[1:])


def test_two_pictures_for_one_place_and_a_taken_place_lose_nothing(loose):
    text = loose.client.get(SHEET).text
    ids = [id_ for id_, _ in rows(text)]
    form = form_of(text)
    form[f"place-{ids[2]}"] = form[f"place-{ids[1]}"]
    form[f"place-{ids[3]}"] = "w01.outer.left"
    before = loose.state.version
    answer = loose.client.post(f"{SHEET}/assign", data=form)
    assert answer.status_code == 422
    assert "cannot both be" in answer.text
    assert "has a picture already" in answer.text
    assert loose.state.version == before
    assert dict(rows(answer.text))[ids[3]] == "w01.outer.left"


def test_a_picture_that_is_gone_and_nonsense_are_refused(loose):
    for form in (
        {"place-p000": "w01.outer.left", "moment": "before"},
        {"place-x": "nowhere", "moment": "before"},
        {"moment": "before"},
    ):
        assert loose.client.post(f"{SHEET}/assign", data=form).status_code == 422


def test_the_intake_page_leads_to_the_sheet_and_the_bench(loose):
    text = loose.client.get(f"/item/{ITEM}/intake").text
    assert SHEET in text
    assert "/bench" in text


# --- the bench ------------------------------------------------------------------------------


def test_the_strip_is_measured_once_for_every_item(bench):
    assert "has not been measured" in bench.client.get("/bench").text
    answer = bench.client.post("/bench/strip", data={"length": "159,8 mm"})
    assert answer.status_code == 200
    assert "159.80 mm long" in answer.text
    answer = bench.client.post("/bench/strip", data={"length": "6.29 in"})
    assert "by 2 readings" in answer.text
    answer = bench.client.post("/bench/strip", data={"length": "160.4", "new": "yes"})
    assert "160.40 mm long" in answer.text
    assert "by 1 reading" in answer.text


def test_a_length_that_cannot_be_is_said_and_stays_in_its_box(bench):
    for text, says in (("16", "between 144 and 176"), ("long", "number"), ("", "Type the length"),
                       ("160 kg", "no unit of length")):  # fmt: skip
        answer = bench.client.post("/bench/strip", data={"length": text})
        assert answer.status_code == 422
        assert says in answer.text
        assert f'value="{text}"' in answer.text
    assert bench.studio.bench().lengths() == ()


def test_greys_and_setting_aside(bench):
    form = {"greys": "21 35,5 50.2 65 79.6 91.8"}
    assert "to 0.3 in L*" in bench.client.post("/bench/greys", data=form).text
    wrong = bench.client.post("/bench/greys", data={"greys": "21 35 50"})
    assert wrong.status_code == 422
    (id_,) = bench.studio.bench().strip_greys
    assert "not been entered" in bench.client.post("/bench/aside", data={"id": id_}).text
    assert bench.client.post("/bench/aside", data={"id": id_}).status_code == 422


def test_a_scanner_is_calibrated_from_the_page(bench, tmp_path):
    picture, size = strip_picture()
    files = []
    for index, place in enumerate(FOUR_PLACES[:3]):
        path = write_scan(tmp_path / f"s{index}.tif", scan_of(picture, size, place, 100), 100)
        files.append(("files", (path.name, path.read_bytes(), "image/tiff")))
    refused = bench.client.post("/bench/calibrate", files=files[:2], data={"name": "flatbed"})
    assert refused.status_code == 422
    assert "3 scans or more" in refused.text
    answer = bench.client.post("/bench/calibrate", files=files, data={"name": "flatbed"})
    assert answer.status_code == 200
    assert "flatbed at 100 dpi" in answer.text
    (held,) = bench.studio.bench().calibrations.values()
    assert [entry.ref for entry in held.run.inputs] == ["s0.tif", "s1.tif", "s2.tif"]
    assert bench.client.post("/bench/calibrate", data={"name": "x"}, files=[
        ("files", ("", b"", "image/tiff"))]).status_code == 422  # fmt: skip


def test_the_strip_can_be_printed_from_the_bench(bench):
    answer = bench.client.get("/bench/strip.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
