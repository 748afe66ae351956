"""Damage drawn on a page's picture without a script: list, form in millimetres, answers."""

from __future__ import annotations

import html
import re

import pytest

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Input, Run
from web.conftest import ITEM, Bench
from web.test_pages import assert_no_inline, assert_whole

PATH = "/examine/w01/damage/outer/left/before"


def record(bench: Bench) -> str:
    """A measurement of the scan of 90 x 120 px at 2 mm a pixel, with a tear from the head edge."""
    capture = next(one for one in bench.state.captures.values() if one.moment == "before")
    place = "w01.outer.left"
    found = (
        Finding("r.0", "scale.um_per_px", place, 2000.0, 1.0, "um"),
        Finding("r.1", "leaf.width_mm", place, 160.0, 0.1, "mm"),
        Finding("r.2", "leaf.height_mm", place, 200.0, 0.1, "mm"),
        Finding("r.3", "leaf.tears_seen", place, text="1 open tear proposed"),
        Finding(
            "r.4", "leaf.tears.1.length_mm", place, 12.0, 0.6, "mm", note="head edge; proposed"
        ),
    )
    run = Run(
        "run-1", "leaf.measure", 2, "exact", place, (Input("image", capture.id, capture.sha256),),
        {}, found, drawing={"outline": "5,10 85,10 85,110 5,110", "edges": "head right foot left",
                            "tears": "40,10 41,16"},
    )  # fmt: skip
    bench.studio.append(ITEM, None, [Draft(ITEM, "run.recorded", to_body(run))])
    return capture.id


@pytest.fixture
def measured(bench: Bench) -> Bench:
    record(bench)
    return bench


def form(bench: Bench, **more: str) -> dict[str, str]:
    capture = next(one for one in bench.state.captures.values() if one.moment == "before")
    return {"term": "loss", "kind": "polygon", "points": "10,10 40,10 40,30", "severity": "slight",
            "capture": capture.id} | more  # fmt: skip


def hidden(text: str, action: str) -> dict[str, str]:
    """Hidden fields of the first form that posts to ``action``."""
    part = re.search(rf'<form[^>]*action="[^"]*/{action}">(.*?)</form>', text, re.DOTALL)
    assert part, action
    pairs = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', part[1])
    return {name: html.unescape(value) for name, value in pairs}


def test_the_sheet_leads_to_the_damage_of_its_first_page(measured: Bench) -> None:
    sheet = measured.client.get(measured.url("/examine/w01")).text
    assert "/examine/w01/damage" in sheet
    assert "/examine/w01/damage" in measured.client.get(measured.url("/examine")).text
    page = measured.client.get(measured.url("/examine/w01/damage"))
    assert str(page.url).endswith(PATH) and page.status_code == 200
    assert_whole(page.text)
    assert_no_inline(assert_whole(page.text))
    assert "Damage: Wrap 1, outer side, left" in page.text


def test_damage_is_drawn_over_the_picture_where_its_millimetres_say(measured: Bench) -> None:
    answer = measured.client.post(measured.url(PATH + "/note"), data=form(measured))
    assert answer.status_code == 200
    (defect,) = measured.state.defects.values()
    assert defect.region == "polygon 10,10 40,10 40,30" and defect.extent.startswith("300 mm2")
    # 2 mm a pixel from (5, 10): 10, 10 mm is 10, 15 px.
    assert '<polygon class="layer-damage-missing" points="10,15 25,15 25,25"/>' in answer.text
    assert "10 to 40 mm from the left, 10 to 30 mm down" in answer.text
    assert "300 mm²" in answer.text
    assert_whole(answer.text)
    assert "Undo" in answer.text
    listed = measured.client.get(measured.url("/examine/w01")).text
    assert "<b>loss</b>" in listed


def test_a_defect_is_changed_and_a_stale_change_shows_both(measured: Bench) -> None:
    measured.client.post(measured.url(PATH + "/note"), data=form(measured))
    (known,) = measured.state.defects
    page = measured.client.get(measured.url(PATH), params={"edit": known}).text
    fields = hidden(page, "note")
    assert fields["id"] == known and ">10,10 40,10 40,30</textarea>" in page
    changed = form(measured, points="10,10 50,10 50,30", **fields)
    done = measured.client.post(measured.url(PATH + "/note"), data=changed)
    assert done.status_code == 200
    assert measured.state.defects[known].extent.startswith("400 mm2")
    late = measured.client.post(measured.url(PATH + "/note"), data={**changed, "term": "chip"})
    assert late.status_code == 409 and "chip" in late.text
    assert_whole(late.text)
    assert measured.state.defects[known].term == "loss"


def test_a_proposal_is_accepted_undone_and_rejected(measured: Bench) -> None:
    page = measured.client.get(measured.url(PATH)).text
    assert "12.0 mm ± 1.2 mm" in page and "counts nowhere until you accept" in page
    assert "layer-damage-proposed" in page and not measured.state.defects
    accepted = measured.client.post(measured.url(PATH + "/accept"), data=hidden(page, "accept"))
    (defect,) = measured.state.defects.values()
    assert defect.term == "tear" and defect.proposal and "Nothing is proposed" in accepted.text
    # Twice, as from a page left open, changes nothing.
    again = measured.client.post(measured.url(PATH + "/accept"), data=hidden(page, "accept"))
    assert again.status_code == 409 and len(measured.state.defects) == 1
    seq = re.search(r'name="seq" value="(\d+)"', accepted.text)
    assert seq
    measured.client.post(measured.url("/undo"), data={"seq": seq[1], "back": measured.url(PATH)})
    assert not measured.state.defects
    page = measured.client.get(measured.url(PATH)).text
    data = {**hidden(page, "reject"), "note": "a fold in the print"}
    rejected = measured.client.post(measured.url(PATH + "/reject"), data=data)
    assert rejected.status_code == 200 and "a fold in the print" in rejected.text
    assert "/accept" not in rejected.text and not measured.state.defects
    assert_whole(rejected.text)
    data = hidden(rejected.text, "again")
    offered = measured.client.post(measured.url(PATH + "/again"), data=data)
    assert "/accept" in offered.text
    twice = measured.client.post(measured.url(PATH + "/again"), data=data)
    assert twice.status_code == 422 and "not rejected" in twice.text


def test_a_proposal_is_corrected_in_the_form(measured: Bench) -> None:
    page = measured.client.get(measured.url(PATH)).text
    link = re.search(r'href="([^"]*\?edit=[^"]*)#damage-form">Correct', page)
    assert link
    correcting = measured.client.get(html.unescape(link[1])).text
    assert "Correct A, proposed as tear" in correcting
    fields = hidden(correcting, "note")
    sent = form(measured, term="crease", kind="line", points="70,0 72,20", **fields)
    measured.client.post(measured.url(PATH + "/note"), data=sent)
    (defect,) = measured.state.defects.values()
    assert (defect.term, defect.proposal) == ("crease", fields["proposal"])
    assert measured.state.answered[fields["proposal"]].defect == defect.id


@pytest.mark.parametrize(
    "change,words",
    [
        ({"points": "999,10 40,10 40,30"}, "lies off the page, which is 160 by 200 mm"),
        ({"points": "10,10 20,20 30,30"}, "lie in one line"),
        ({"points": " ".join(f"{n / 40},{n % 7}" for n in range(5000))}, "2000 points"),
        ({"points": "<script>alert(1)</script>"}, "two millimetres with a comma"),
        ({"points": "10;10;;,"}, "two millimetres with a comma"),
        ({"term": "", "other_term": " "}, "Choose or write a word"),
        ({"kind": ""}, "a point, a line or an area"),
    ],
)
def test_ugly_input_is_refused_in_place_with_what_was_typed(
    measured: Bench, change: dict[str, str], words: str
) -> None:
    answer = measured.client.post(measured.url(PATH + "/note"), data=form(measured, **change))
    assert answer.status_code == 422 and words in html.unescape(answer.text)
    assert "<script>alert" not in answer.text
    typed = html.escape(change.get("points", "10,10 40,10 40,30"), quote=True)[:40]
    assert typed in answer.text.replace("&#39;", "&#x27;")
    assert_whole(answer.text)
    assert not measured.state.defects


def test_pages_that_are_not_there_say_so(measured: Bench) -> None:
    for path in (
        "/examine/w77/damage", "/examine/w77/damage/outer/left/before",
        "/examine/w01/damage/outer/middle/before", "/examine/w01/damage/outer/left/never",
        PATH + "?picture=cap-99",
    ):  # fmt: skip
        assert measured.client.get(measured.url(path)).status_code == 404, path
    gone = measured.client.post(measured.url(PATH + "/aside"), data={"id": "defect-9"})
    assert gone.status_code == 422 and "already set aside" in gone.text
    stray = measured.client.post(measured.url(PATH + "/accept"), data={"proposal": "w01/../x"})
    assert stray.status_code == 422 and "not proposed any more" in stray.text
    assert measured.client.get(measured.url(PATH), params={"edit": "nonsense"}).status_code == 200


def test_without_a_measurement_it_says_what_would_help_and_takes_millimetres(bench: Bench) -> None:
    page = bench.client.get(bench.url(PATH))
    assert "steel rule" in page.text
    bare = bench.client.get(bench.url("/examine/w02/damage/inner/right/before"))
    assert "no picture of this page" in bare.text
    assert_whole(bare.text)
    data = {"term": "tear", "kind": "line", "points": "10,0 12,18"}
    answer = bench.client.post(bench.url("/examine/w02/damage/inner/right/before/note"), data=data)
    assert answer.status_code == 200
    (defect,) = bench.state.defects.values()
    assert defect.place == "w02.inner.right" and defect.u_mm == 1.0
    assert defect.extent.startswith("18.1 mm")
