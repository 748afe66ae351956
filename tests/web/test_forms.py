"""Forms save, refuse in place, notice a stale save, and lose nothing that was typed."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Assign, Margin
from quirewell.studio.studio import Studio
from web.conftest import ITEM, Bench


def post(bench: Bench, path: str, follow: bool = True, **form: Any) -> Any:
    return bench.client.post(bench.url(path), data=form, follow_redirects=follow)


def plan(bench: Bench, kind: str = "surface-clean", places: str = "w01") -> str:
    post(bench, "/treat/plan", kind=kind, places=places)
    return list(bench.state.steps)[-1]


def test_a_title_is_enough_for_a_new_item(bench: Bench) -> None:
    answer = bench.client.post("/new", data={"title": "Larkmoor seed list"})
    assert answer.status_code == 200
    assert answer.url.path == "/item/larkmoor-seed-list"
    assert "the item is open" in answer.text


def test_a_new_item_without_title_is_refused_in_place(bench: Bench) -> None:
    answer = bench.client.post("/new", data={"title": " ", "year": "1936"})
    assert answer.status_code == 422
    assert "Give the item a title" in answer.text
    assert 'value="1936"' in answer.text
    assert 'aria-invalid="true"' in answer.text


@pytest.mark.parametrize("wraps", ["0", "2.5", "many", "100", "1e9", "NaN"])
def test_a_wrong_count_of_wraps_is_refused_in_a_sentence(bench: Bench, wraps: str) -> None:
    answer = post(bench, "/gathering", wraps=wraps)
    assert answer.status_code == 422
    assert wraps in answer.text
    assert bench.state.gathering is not None and bench.state.gathering.wraps == 2


def test_hostile_text_is_shown_as_text(bench: Bench) -> None:
    nasty = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{7*7777}}"
    post(bench, "/describe", title=nasty, owner=nasty, notes=nasty)
    post(bench, "/examine/defect", term=nasty, place="w01", extent=nasty, note=nasty)
    post(bench, "/treat/test", colour=nasty, liquid="water", result="no change", place="w01")
    for path in ("", "/examine", "/examine/w01", "/treat", "/intake", "/prove"):
        text = bench.client.get(bench.url(path)).text
        assert "<script>alert" not in text and "<img src=x" not in text
        assert "54439" not in text
    assert "&lt;script&gt;" in bench.client.get("/").text


def test_a_saved_change_is_offered_for_undo_and_can_be_undone(bench: Bench) -> None:
    answer = post(
        bench, "/examine/defect", term="tideline", place="w01", back=bench.url("/examine")
    )
    assert "a defect (tideline), wrap 1" in answer.text
    seq = re.search(r'name="seq" value="(\d+)"', answer.text)
    assert seq is not None and bench.state.defects
    undone = post(bench, "/undo", seq=seq[1], back=bench.url("/examine"))
    assert undone.url.path == bench.url("/examine")
    assert not bench.state.defects


def test_a_form_put_right_after_a_refusal_leads_back_to_its_page(bench: Bench) -> None:
    refused = post(bench, "/examine/defect", term="", place="item", back=bench.url("/examine"))
    assert refused.status_code == 422
    leads = set(re.findall(r'name="back" value="([^"]+)"', refused.text))
    assert leads == {bench.url("/examine")}
    saved = post(bench, "/examine/defect", term="tear", place="item", back=leads.pop())
    assert saved.status_code == 200 and "a defect (tear)" in saved.text


def test_an_undo_that_cannot_be_says_why(bench: Bench) -> None:
    assert post(bench, "/undo", seq="999").status_code == 409
    assert post(bench, "/undo", seq="x").status_code == 400


@pytest.mark.parametrize(
    "back", ["//evil.example/", "https://evil.example/", "/\\evil.example", "javascript:alert(1)",
             "/\t/evil.example", "evil"],
)  # fmt: skip
def test_a_form_cannot_lead_away_from_here(bench: Bench, back: str) -> None:
    answer = post(bench, "/examine/defect", follow=False, term="tear", place="item", back=back)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith(bench.url("/examine?"))


def test_two_tabs_editing_one_step_see_both_values_and_choose(bench: Bench) -> None:
    step = plan(bench)
    shown = str(bench.state.touched[step])
    fields = {"id": step, "record": step, "touched": shown}
    post(bench, "/treat/correct", **fields, note="brushed from the centre", minutes="20")
    late = post(bench, "/treat/correct", **fields, note="brushed and erased", minutes="35")
    assert late.status_code == 409
    assert "brushed from the centre" in late.text and "brushed and erased" in late.text
    assert bench.state.steps[step].note == "brushed from the centre"
    again = re.search(r'name="touched" value="(\d+)"', late.text)
    assert again is not None and again[1] == str(bench.state.touched[step])
    form = late.text.partition('action="' + bench.url("/treat/correct"))[2].partition("</form>")[0]
    sent = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))
    mine = bench.client.post(bench.url("/treat/correct"), data=sent)
    assert mine.status_code == 200
    assert bench.state.steps[step].note == "brushed and erased"
    assert str(bench.state.steps[step].minutes) == "35"


def test_two_tabs_editing_two_records_do_not_disturb_each_other(bench: Bench) -> None:
    first, second = plan(bench), plan(bench, "mend")
    touched = {key: str(bench.state.touched[key]) for key in (first, second)}
    post(bench, "/treat/correct", id=first, record=first, touched=touched[first], note="one")
    answer = post(
        bench, "/treat/correct", id=second, record=second, touched=touched[second], note="two"
    )
    assert answer.status_code == 200
    assert [bench.state.steps[key].note for key in (first, second)] == ["one", "two"]


def test_a_wet_step_asks_for_an_ink_test_and_takes_a_reason(bench: Bench) -> None:
    step = plan(bench, "wash")
    page = bench.client.get(bench.url("/treat")).text
    caution, button = page.index("Before you begin"), page.index("Start: Washed")
    assert caution < button
    refused = post(bench, "/treat/start", id=step, override="")
    assert refused.status_code == 422
    assert "ink test" in refused.text and 'name="override"' in refused.text
    assert bench.state.steps[step].state == "planned"
    short = post(bench, "/treat/start", id=step, override="hm")
    assert short.status_code == 422
    started = post(
        bench, "/treat/start", id=step, override="black ink only, tested on the waste leaf"
    )
    assert started.status_code == 200
    assert bench.state.steps[step].state == "started"
    passed = {entry.rule: entry.reason for entry in bench.state.overrides.values()}
    assert {"ink-test", "pilot-first", "staples-out", "dry-clean"} <= set(passed)
    assert set(passed.values()) == {"black ink only, tested on the waste leaf"}
    assert "a step has begun" in started.text
    assert ">Undo<" not in started.text
    assert "wrap 1" in started.text.split("Wet now by this record")[1][:80]


def test_a_step_runs_from_plan_to_done(bench: Bench) -> None:
    step = plan(bench, "mend", "1-2")
    post(bench, "/treat/test", place="w01", colour="black", liquid="water", result="no change")
    post(bench, "/treat/test", place="w02", colour="black", liquid="water", result="no change")
    assert post(bench, "/treat/start", id=step).status_code == 200
    wrong = post(bench, "/treat/finish", id=step, minutes="soon", note="foot of the spine")
    assert wrong.status_code == 422 and "soon" in wrong.text
    assert post(bench, "/treat/finish", id=step, minutes="40", note="foot").status_code == 200
    done = bench.state.steps[step]
    assert (done.state, str(done.minutes), done.note) == ("done", "40", "foot")
    assert done.started_at.endswith("Z") and done.done_at >= done.started_at


def test_a_reading_is_kept_as_typed(bench: Bench) -> None:
    post(bench, "/treat/reading", quantity="pH", value="5,2 at 21C", place="w01",
         method="strip on the paper")  # fmt: skip
    reading = next(iter(bench.state.readings.values()))
    assert str(reading.value) == "5.2" and str(reading.temperature_c) == "21"
    wrong = post(bench, "/treat/reading", quantity="pH", value="seventeen", place="w01")
    assert wrong.status_code == 422 and "seventeen" in wrong.text


def test_what_a_reading_leaves_open_is_said_with_its_sign(bench: Bench) -> None:
    for quantity, value in (("temperature", "21C"), ("mass", "4.7 g")):
        post(bench, "/treat/reading", quantity=quantity, value=value, place="w01")
    page = bench.client.get(bench.url("/treat")).text
    # Half a degree and a tenth of a gram, evenly spread: step / sqrt(12) (JCGM 100, 4.3.7).
    assert "<dd>0.14 °C</dd>" in page and "smallest step 0.5 °C" in page
    assert "<dd>0.029 g</dd>" in page and "smallest step 0.1 g" in page


def test_a_bath_as_mixed_shows_numbers_that_can_be_asked(bench: Bench) -> None:
    answer = post(bench, "/treat/bath", strength="0.5", temperature_c="20", litres="4")
    assert answer.status_code == 200
    assert "On whose word" in answer.text and "bath.lime_water, version" in answer.text
    assert len(bench.state.baths) == 1


def test_the_owners_estimate_is_plain_fields(bench: Bench) -> None:
    post(bench, "/examine/grade", moment="before", value="3.5", words="brittle, spine split")
    assert str(bench.state.grades["grade.before"].value) == "3.5"
    for value in ("11", "0", "good"):
        assert post(bench, "/examine/grade", moment="before", value=value).status_code == 422


def nothing_after(bench: Bench) -> None:
    """Put the pictures taken after treatment back to those before: a margin comes first."""
    for one in bench.state.captures.values():
        if one.moment == "after":
            body = to_body(Assign(one.id, one.place, one.panel, "before", one.view))
            bench.studio.append(ITEM, None, [Draft(ITEM, "capture.assigned", body)])


def test_a_margin_is_refused_once_anything_was_measured_after_treatment(bench: Bench) -> None:
    late = post(bench, "/prove/margin", quantity="size.width_mm", value="0.5")
    assert late.status_code == 422 and "too late to lock" in late.text
    assert "proves nothing" in late.text and 'value="0.5"' in late.text
    assert not bench.state.margins


def test_a_locked_margin_cannot_be_moved(bench: Bench) -> None:
    nothing_after(bench)
    assert post(bench, "/prove/margin", quantity="change.width_pct", value="0.5").status_code == 200
    again = post(bench, "/prove/margin", quantity="change.width_pct", value="2")
    assert again.status_code == 422
    assert str(bench.state.margins["margin.change.width_pct"].value) == "0.5"


def test_a_margin_locked_by_a_double_press_is_locked_once_and_shown(bench: Bench) -> None:
    nothing_after(bench)
    for value in ("0.5", "0,50"):
        answer = post(bench, "/prove/margin", quantity="change.width_pct", value=value)
        assert answer.status_code == 200 and "0.5 %, locked" in answer.text
    assert [e.kind for e in bench.studio.events(ITEM)].count("margin.locked") == 1


def test_two_presses_that_cross_lock_the_margin_once(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second is read before the first is written, and written after it."""
    nothing_after(bench)
    first = to_body(Margin("change.width_pct", Decimal("0.5"), "%"))

    def append(studio: Studio, *rest: Any, **more: Any) -> Any:
        monkeypatch.undo()
        bench.studio.append(ITEM, None, [Draft(ITEM, "margin.locked", first)])
        return studio.append(*rest, **more)

    monkeypatch.setattr(Studio, "append", append)
    answer = post(bench, "/prove/margin", quantity="change.width_pct", value="0.5")
    assert answer.status_code == 200 and "0.5 %, locked" in answer.text
    assert [e.kind for e in bench.studio.events(ITEM)].count("margin.locked") == 1


def test_a_picture_is_assigned_by_hand(bench: Bench) -> None:
    loose = next(entry for entry in bench.state.captures.values() if not entry.place)
    fields = {"capture": loose.id, "panel": "left", "moment": "before"}
    taken = post(bench, "/intake/assign", **fields, place="w01.outer")
    assert taken.status_code == 422 and "has a picture already" in taken.text
    post(bench, "/intake/assign", **fields, place="w02.inner")
    assert bench.state.captures[loose.id].place.startswith("w02.inner")


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"{}", "application/json", 400),
        (b"", "", 400),
        (b"--x\r\nbroken", "multipart/form-data; boundary=x", 400),
        (b"no boundary", "multipart/form-data", 400),
        (b"term=" + b"a" * 300_000, "application/x-www-form-urlencoded", 413),
    ],
)
def test_a_body_that_is_no_form_saves_nothing(
    bench: Bench, body: bytes, kind: str, status: int
) -> None:
    before = bench.state.version
    answer = bench.client.post(
        bench.url("/examine/defect"), content=body, headers={"Content-Type": kind}
    )
    assert answer.status_code == status
    assert "Traceback" not in answer.text
    assert bench.state.version == before


def _mixed(bench: Bench) -> str:
    post(bench, "/treat/bath", strength="0.5", temperature_c="20", litres="4")
    return next(iter(bench.state.baths))


def test_a_ledger_is_drawn_with_what_was_read_and_when_to_change(bench: Bench) -> None:
    bath = _mixed(bench)
    lines = "\n".join(["wrap 4.7 g 15 min"] * 5)
    read = "after 0: pH 12.4 @ 20\nafter 3: 10 mL took 3.9 mL of 0.05"
    answer = post(bench, "/treat/ledger", bath=bath, entries=lines, readings=read, open="yes")
    assert answer.status_code == 200
    assert "Fresh bath every" in answer.text
    assert answer.text.count("<polyline") == 3 and answer.text.count("<circle") == 2
    assert "after 3: 10 mL took 3.9 mL of 0.05" in answer.text
    run = next(one for one in bench.state.runs.values() if one.method == "bath.ledger")
    assert run.subject == bath and run.params["open"] == "yes"


def test_a_ledger_line_that_cannot_be_read_is_told_and_kept(bench: Bench) -> None:
    bath = _mixed(bench)
    answer = post(bench, "/treat/ledger", bath=bath, entries="a handful of wraps", readings="")
    assert answer.status_code == 422
    assert "wrap 4.7 g 15 min" in answer.text and "a handful of wraps" in answer.text
    wrong = post(bench, "/treat/ledger", bath=bath, entries="wrap 9 g", readings="about 12")
    assert wrong.status_code == 422 and "after 3: 10 mL took" in wrong.text
    assert not [one for one in bench.state.runs.values() if one.method == "bath.ledger"]


def test_the_bath_card_is_one_pdf_and_an_unknown_bath_none(bench: Bench) -> None:
    bath = _mixed(bench)
    card = bench.client.get(bench.url(f"/treat/card/{bath}.pdf"))
    assert card.status_code == 200 and card.content.startswith(b"%PDF")
    assert bench.client.get(bench.url("/treat/card/bath-99.pdf")).status_code == 404


def test_an_outlook_begins_with_the_strips_that_were_read_and_gives_words(bench: Bench) -> None:
    for moment, value in (("before", "5.0 at 21C"), ("after", "8.0 at 20C")):
        post(
            bench, "/treat/reading", quantity="pH", value=value, place="w01", moment=moment,
            method="strip on the paper",
        )  # fmt: skip
    page = bench.client.get(bench.url("/prove")).text
    assert "surface strip 5.0 @ 21" in page and "surface strip 8.0 @ 20" in page
    answer = post(
        bench, "/prove/outlook", ph_before="surface strip 5.0 @ 21", ph_after="surface strip 8.0"
    )
    assert "strips cannot say by how much" in answer.text
    both = post(bench, "/prove/outlook", ph_before="5.0", ph_after="8.0", store_after="17 C, 45 %")
    assert "times as long" in both.text and "Life after by life before" in both.text
    assert "from memory" in both.text


def test_an_outlook_that_cannot_be_is_refused_in_place(bench: Bench) -> None:
    answer = post(bench, "/prove/outlook", ph_before="about five", ph_after="8")
    assert answer.status_code == 422 and "about five" in answer.text
    assert "surface strip 7.5" in answer.text


def test_baths_stand_side_by_side_before_one_is_mixed(bench: Bench) -> None:
    page = bench.client.get(bench.url("/treat")).text
    assert page.index(bench.url("/decide")) < page.index("Mix a bath")
    page = bench.client.get(bench.url("/decide")).text
    assert "lime water, 1:3" in page and "magnesium hydrogen carbonate" in page
    assert page.index("Before you begin") < page.index("lime water, 1:3")
