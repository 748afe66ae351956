"""The page of parcels and the send stage, as a person goes through them."""

from __future__ import annotations

import html
import re
import time

import pytest

from quirewell.stages.overview import open_item
from web.conftest import ITEM, Bench

PARCELS = "/parcels"


def _post(bench: Bench, path: str, status: int = 200, **form: str) -> str:
    answer = bench.client.post(path, data=form)
    assert answer.status_code == status, answer.text[:400]
    return html.unescape(answer.text)


def _get(bench: Bench, path: str = PARCELS) -> str:
    answer = bench.client.get(path)
    assert answer.status_code == 200
    return html.unescape(answer.text)


def _settle(bench: Bench, which: str = "plan") -> str:
    until = time.monotonic() + 90
    while bench.client.get(f"{PARCELS}/in-hand.json?which={which}").json()["running"]:
        assert time.monotonic() < until
        time.sleep(0.1)
    return _get(bench)


def _begin(bench: Bench) -> str:
    """The hand case: two good items and a filler that opens the cheap tier."""
    for name in ("Companion one", "Companion two"):
        id = bench.studio.new_id(name)
        bench.studio.append(id, 0, open_item(id, {"title": name, "year": "1937"}))
    _post(bench, f"{PARCELS}/service", name="the service", currency="crowns")
    service = next(iter(bench.studio.bench().services))
    for form in ({"name": "three or more", "fee": "25", "minimum": "3", "weeks": "10"},
                 {"name": "any number", "fee": "40"}):  # fmt: skip
        _post(bench, f"{PARCELS}/tier", service=service, **form)
    _post(bench, f"{PARCELS}/shipment", service=service, name="spring", fixed="10", cap="900")
    for id, back in ((ITEM, "160"), ("companion-one", "160"), ("companion-two", "117")):
        _post(bench, f"{PARCELS}/item", service=service, item=id, goes="yes", value_now="100",
              low=back, likely=back, high=back)  # fmt: skip
    return service


def _planned(bench: Bench) -> tuple[str, str]:
    service = _begin(bench)
    _post(bench, f"{PARCELS}/plan", service=service)
    return service, _settle(bench)


def test_an_empty_page_says_in_a_sentence_what_to_do(bench: Bench) -> None:
    page = _get(bench)
    assert "To get it, give the receiver a name of your own" in page
    assert "No receiver is named yet" in _get(bench, bench.url("/send"))
    said = _post(bench, f"{PARCELS}/service", 422, name="", currency="crowns")
    assert "Give the receiver a name of your own" in said and 'value="crowns"' in said
    said = _post(bench, f"{PARCELS}/plan", 422, service="")
    assert "Name the receiver first." in said


def test_the_way_from_terms_to_a_plan_a_parcel_and_what_came_back(bench: Bench) -> None:
    _, page = _planned(bench)
    assert "Send three now, with spring." in page
    assert "52 crowns" in page and "proved the best" in page
    assert "3 items, declared and insured for 437.00 crowns of 900 at most" in page
    plan = next(iter(bench.studio.bench().plans))

    # What if the filler stays: 20 + 20 - 10 = 30, which is 22 less (own arithmetic).
    _post(bench, f"{PARCELS}/what-if", plan=plan, stay="Companion two")
    page = _settle(bench, "what-if")
    assert "the plan gains 30.00 crowns, 22.00 less than the plan that stands" in page
    assert len(bench.studio.bench().plans) == 1, "asking keeps nothing"
    assert "Change one thing first" in _post(bench, f"{PARCELS}/what-if", 422, plan=plan)

    page = _post(bench, f"{PARCELS}/make", plan=plan, parcel="spring")
    parcel = next(iter(bench.studio.bench().parcels))
    assert "Every parcel of this plan is made." in page
    send = _get(bench, bench.url("/send"))
    assert "spring, now; tier three or more, as it is; to declare 160.00 crowns" in send
    assert "Expected gain: 35.00 crowns" in send
    assert "spring, packing" in send

    back = {"id": parcel, "state": "back", "sent_on": "2026-09-01", "back_on": "2026-08-01"}
    said = _post(bench, f"{PARCELS}/change", 422, **back)
    assert "It cannot be back on 2026-08-01" in said and 'value="2026-08-01"' in said
    page = _post(bench, f"{PARCELS}/change", **{**back, "back_on": "2026-11-12", "tracking": "x<1"})
    assert "2 days later than its tiers said" in page
    said = _post(bench, bench.url("/send/returned"), 422, grade="11", parcel=parcel)
    assert "a grade lies above 0 and up to 10, got 11" in said.lower() and 'value="11"' in said
    page = _post(bench, bench.url("/send/returned"), grade="6.5", on="2026-11-12", parcel=parcel)
    assert "6.5, on 2026-11-12" in page and "Undo" in page
    assert "Came back without an estimate made before they left" in _get(bench)
    page = _post(bench, bench.url("/send/sold"), price="150", currency="crowns")
    assert "Sold: 150.00 crowns." in page
    page = _post(bench, bench.url("/send/aside"), id="sold")
    assert "Sold: 150" not in page
    assert "<1" not in bench.client.get(PARCELS).text


def test_a_returned_grade_with_an_estimate_is_scored_and_handed_to_the_next_estimate(
    bench: Bench,
) -> None:
    _planned(bench)
    _post(bench, bench.url("/decide/grade"), defects="code,location,extent\ntear,c,12 mm\n")
    plan = next(iter(bench.studio.bench().plans))
    _post(bench, f"{PARCELS}/make", plan=plan, parcel="spring")
    parcel = next(iter(bench.studio.bench().parcels))
    _post(bench, bench.url("/send/returned"), grade="9", parcel=parcel)
    page = _get(bench)
    assert "Not enough returns yet: 1 of 10" in page
    other = _get(bench, "/item/companion-one/decide")
    assert "Copperbeck Garden Annual,9,tear,c,12 mm" in other
    assert "Copperbeck Garden Annual,9" not in _get(bench, bench.url("/decide"))


def test_sheets_come_as_pdf_and_as_a_table(bench: Bench) -> None:
    _planned(bench)
    _post(bench, bench.url("/describe"), title="=1+1 Annual", record="item",
          touched=str(bench.state.touched["item"]))  # fmt: skip
    plan = next(iter(bench.studio.bench().plans))
    _post(bench, f"{PARCELS}/make", plan=plan, parcel="spring")
    parcel = next(iter(bench.studio.bench().parcels))
    assert "This parcel is made" in _get(bench, PARCELS)
    for kind in ("packing", "declared"):
        pdf = bench.client.get(f"{PARCELS}/kept/{parcel}/{kind}.pdf")
        assert pdf.content[:5] == b"%PDF-" and "attachment" in pdf.headers["content-disposition"]
        table = bench.client.get(f"{PARCELS}/kept/{parcel}/{kind}.csv")
        assert "'=1+1 Annual" in table.text
    assert bench.client.get(f"{PARCELS}/kept/{parcel}/other.pdf").status_code == 404
    assert bench.client.get(f"{PARCELS}/kept/none/packing.pdf").status_code == 404


def test_a_change_makes_the_plan_stale_and_no_parcel_is_made_by_it(bench: Bench) -> None:
    service, page = _planned(bench)
    assert "Make this parcel" in page
    page = _post(bench, f"{PARCELS}/tier", service=service, was="any number", name="any number",
                 fee="41")  # fmt: skip
    assert "Changed since" in page and "Make this parcel" not in page


def test_the_asked_plan_may_be_kept_or_put_away(bench: Bench) -> None:
    _planned(bench)
    plan = next(iter(bench.studio.bench().plans))
    _post(bench, f"{PARCELS}/what-if", plan=plan, tier="three or more", fee="26")
    assert "If three or more costs 26 instead of 25" in _settle(bench, "what-if")
    page = _post(bench, f"{PARCELS}/seen", which="what-if")
    assert "If three or more" not in page
    assert bench.client.post(f"{PARCELS}/what-if/keep", data={"a": ""}).status_code == 409
    _post(bench, f"{PARCELS}/what-if", plan=plan, tier="three or more", fee="26")
    _settle(bench, "what-if")
    _post(bench, f"{PARCELS}/what-if/keep", a="")
    newest = list(bench.studio.bench().plans.values())[-1]
    assert newest.note.startswith("what if: three or more costs 26")
    assert bench.client.post(f"{PARCELS}/what-if", data={"plan": "no"}).status_code == 404


@pytest.mark.parametrize(
    ("path", "form", "says"),
    [
        ("tier", {"name": "t", "fee": "3", "minimum": "5", "maximum": "2"}, "which cannot be"),
        ("shipment", {"name": "p", "insurance_pct": "300"}, "between 0 and 100"),
        ("item", {"item": ITEM, "low": "9", "likely": "3"}, "go up"),
        ("drop", {"kind": "tier", "name": "x"}, "There is no such row"),
        ("make", {"name": "hand", "items": ""}, "Choose at least one item"),
        ("aside", {"id": "nothing"}, "There is no such record"),
        ("paste", {"text": "nonsense ["}, "no plan text"),
    ],
)  # fmt: skip
def test_a_refusal_stands_in_place_with_what_was_typed(
    bench: Bench, path: str, form: dict[str, str], says: str
) -> None:
    service = _begin(bench)
    page = _post(bench, f"{PARCELS}/{path}", 422, service=service, **form)
    assert says in page
    if form.get("name") and path != "drop":
        assert f'value="{form["name"]}"' in page


def test_an_item_typed_on_its_own_page_and_a_parcel_by_hand(bench: Bench) -> None:
    service = _begin(bench)
    page = _post(bench, bench.url("/send/typed"), service=service, goes="no")
    assert "stays, as you said" in page
    page = _post(bench, bench.url("/send/typed"), 422, service=service, value_now="x")
    assert "is not a number" in page
    page = _post(bench, f"{PARCELS}/make", service=service, name="by hand", items=ITEM)
    assert "by hand" in page and "nothing declared yet" in page
    page = _post(bench, f"{PARCELS}/make", 422, service=service, name="second", items=ITEM)
    assert "is already in by hand" in page
    assert re.search(r'name="items" value="[^"]+" checked', page)


def test_a_search_that_is_stopped_gives_the_best_so_far(bench: Bench) -> None:
    service = _begin(bench)
    _post(bench, f"{PARCELS}/plan", service=service)
    _post(bench, f"{PARCELS}/stop", which="plan")
    page = _settle(bench)
    assert bench.studio.bench().plans, page[:200]
    assert "The plan gains" in page


def test_a_parcel_without_a_word_of_its_items_is_refused_and_not_broken(bench: Bench) -> None:
    answer = bench.client.post(f"{PARCELS}/make", data={"name": "hand"})
    assert answer.status_code == 422 and "Choose at least one item" in answer.text
