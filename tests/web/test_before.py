"""Before water, by its page: everything is entered in place, refused in place, undone by record."""

from __future__ import annotations

import re
from typing import Any

import pytest

from web.conftest import Bench, picture_bytes

HOME = "/treat/before"


def post(bench: Bench, path: str, **form: Any) -> Any:
    return bench.client.post(bench.url(f"{HOME}/{path}"), data=form)


def page(bench: Bench) -> str:
    return bench.client.get(bench.url(HOME)).text


def answer_all(bench: Bench) -> None:
    for key in ("staples-out", "dry-clean", "mould-apart", "repairs-mapped", "keep-list"):
        says = "yes" if key == "staples-out" else "none"
        assert post(bench, "checks", key=key, answer=says, otherwise="c w01 w02").status_code == 200
    assert post(bench, "checks", key="carrier", answer="yes").status_code == 200


def test_an_untouched_item_says_what_is_open_and_suggests_a_pilot(bench: Bench) -> None:
    seen = page(bench)
    assert "Are the staples out?" in seen and "Not answered:" in seen
    assert re.search(r"Not yet:</span> [^(]*wraps? 1", seen)
    assert "Take wrap 1 as the pilot" in seen
    assert "Nothing is on the list yet." in seen
    assert "Local codes" in seen and "Against alkali" in seen


def test_the_steps_page_leads_here(bench: Bench) -> None:
    assert f'href="{bench.url(HOME)}"' in bench.client.get(bench.url("/treat")).text


def test_a_check_is_answered_for_all_open_sheets_or_those_ticked(bench: Bench) -> None:
    post(bench, "checks", key="dry-clean", answer="none", otherwise="c w01 w02")
    (check,) = bench.state.checks.values()
    assert check.places == ("c", "w01", "w02") and check.at
    post(bench, "checks", key="dry-clean", answer="no", places=["w01"], otherwise="c w01 w02")
    assert [one.places for one in bench.state.checks.values()][-1] == ("w01",)
    assert '<span class="is-no">Not yet:</span> wrap 1' in page(bench)
    newest = list(bench.state.checks)[-1]
    post(bench, "aside", id=newest)
    assert newest not in bench.state.checks


def test_a_bad_answer_is_refused_in_place_with_what_was_typed(bench: Bench) -> None:
    answer = post(bench, "checks", key="carrier", answer="yes", places="w77", note="spun polyester")
    assert answer.status_code == 422 and "wrap 77" in answer.text
    assert 'value="spun polyester"' in answer.text
    assert bench.state.checks == {}


def test_an_ink_test_with_its_picture_fills_the_matrix(bench: Bench) -> None:
    bench.client.post(bench.url("/treat/plan"), data={
        "kind": "wash", "places": "w01", "way": "warm with surfactant, one wrap at a time",
        "minutes": "30", "temperature_c": "32",
    })  # fmt: skip
    seen = page(bench)
    assert "Washed: 32 °C, with surfactant, for 30 min" in seen
    assert 'value="water with surfactant"' in seen and 'value="30"' in seen
    form = {"colour": "black", "place": "1", "liquid": "water", "minutes": "2",
            "temperature_c": "12", "result": "no change"}  # fmt: skip
    files = {"files": ("blotter.png", picture_bytes(9), "image/png")}
    answer = bench.client.post(bench.url(f"{HOME}/inks"), data=form, files=files)
    assert answer.status_code == 200
    (test,) = bench.state.spot_tests.values()
    assert bench.state.captures[test.capture].place == "w01"
    assert bench.state.captures[test.capture].view == "bench"
    assert "tested 2 min in water at 12 °C; this bath is 32 °C" in answer.text
    post(bench, "inks", **{**form, "liquid": "water with surfactant", "minutes": "30",
                           "temperature_c": "32"})  # fmt: skip
    assert 'is-well">stood' in page(bench)


def test_a_refused_test_keeps_what_was_typed_and_the_picture(bench: Bench) -> None:
    files = {"files": ("blotter.png", picture_bytes(9), "image/png")}
    answer = bench.client.post(
        bench.url(f"{HOME}/inks"), data={"place": "w01", "note": "pink", "result": "slight"},
        files=files,
    )  # fmt: skip
    assert answer.status_code == 422 and "Say which colour" in answer.text
    assert 'value="pink"' in answer.text and "The picture you sent is kept." in answer.text
    kept = re.search(r'name="capture" value="([^"]+)"', answer.text)
    assert kept and kept[1] in bench.state.captures
    post(bench, "inks", place="w01", colour="red", result="slight", capture=kept[1])
    assert [one.capture for one in bench.state.spot_tests.values()] == [kept[1]]


def test_what_is_no_picture_is_refused_with_the_words_kept(bench: Bench) -> None:
    files = {"files": ("note.png", b"no picture at all", "image/png")}
    answer = bench.client.post(
        bench.url(f"{HOME}/keeps"), data={"what": "pencil price"}, files=files
    )
    assert answer.status_code == 422 and 'value="pencil price"' in answer.text
    assert bench.state.keeps == {}


def test_keeps_and_colours_are_listed_asked_for_and_set_aside(bench: Bench) -> None:
    post(bench, "keeps", what="violet date stamp", place="w02.outer.left", why="the day it came")
    post(bench, "colours", colour="blue pencil", places=["w01"])
    seen = page(bench)
    assert "violet date stamp on wrap 2, outer side, left (the day it came)" in seen
    assert "(to be kept)" in seen and "blue pencil" in seen
    (keep,), (check,) = bench.state.keeps, bench.state.checks
    post(bench, "aside", id=keep)
    post(bench, "aside", id=check)
    assert bench.state.keeps == {} == bench.state.checks


def test_a_scrap_goes_through_and_is_accepted_and_then_a_sheet_may_go_in(bench: Bench) -> None:
    answer_all(bench)
    post(bench, "inks", place="item", colour="black", liquid="water", result="no change")
    assert "the pilot" in page(bench).split("How it stands")[1].split("</ul>")[0]
    post(bench, "pilot", scrap="a blank strip")
    (pilot,) = bench.state.pilots
    early = post(bench, "judge", id=pilot, accepted="yes", measured="by rule")
    assert early.status_code == 422 and "not been washed yet" in early.text
    assert 'value="by rule"' in early.text
    post(bench, "scrap", id=pilot, through=["wash", "lime-bath"], washed_at="2026-01-08T13:00",
         dried_at="2026-01-09T13:00")  # fmt: skip
    answer = post(bench, "judge", id=pilot, accepted="yes", measured="by rule")
    assert answer.status_code == 200 and "accepted</span>" in answer.text
    assert "May go in:" in answer.text
    step = {"kind": "wash", "places": "w01"}
    bench.client.post(bench.url("/treat/plan"), data=step)
    bench.client.post(bench.url("/treat/start"), data={"id": list(bench.state.steps)[-1]})
    assert next(iter(bench.state.steps.values())).state == "started"
    assert bench.state.overrides == {}


@pytest.mark.parametrize("form", [{"scrap": "x", "place": "w01"}, {"place": ""}, {"place": "<b>"}])
def test_what_is_no_pilot_is_refused_in_place(bench: Bench, form: dict[str, str]) -> None:
    answer = post(bench, "pilot", **form)
    assert answer.status_code == 422 and bench.state.pilots == {}
    assert "<b>" not in answer.text.split('id="pilot"')[1].split("The least important")[0]


def test_a_lot_past_its_day_is_told_here_and_taken_in_a_step(bench: Bench) -> None:
    bench.client.post("/books/stock/keep", data={
        "material": "methyl cellulose", "lot": "MC-09", "amount": "100 g",
        "keeps_until": "2020-01-01",
    })  # fmt: skip
    if not bench.studio.bench().stock:
        pytest.fail("the shelf took no lot; its form has another address now")
    assert "past its day" in page(bench)
    bench.client.post(bench.url("/treat/plan"), data={"kind": "surface-clean", "places": "w01"})
    (step,) = bench.state.steps
    (lot,) = bench.studio.bench().stock
    refused = bench.client.post(bench.url("/treat/start"), data={"id": step, "shelf": lot})
    assert refused.status_code == 422 and "past its day (2020-01-01)" in refused.text
    form = {"id": step, "shelf": lot, "used": "2 g", "override": "tried on waste, it holds well"}
    assert bench.client.post(bench.url("/treat/start"), data=form).status_code == 200
    (used,) = bench.state.steps[step].lots
    assert (used.material, used.lot, used.amount) == ("methyl cellulose", "MC-09", "2 g")
