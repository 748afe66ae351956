"""After a treatment: when a check is due, what it says against the end, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from quirewell.record.afterwards import Claim, Later, NextCheck
from quirewell.record.apply import apply
from quirewell.record.codec import from_body, to_body
from quirewell.record.dealing import Sold
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Gathering, Item, ItemState, Reading, Step
from quirewell.stages import afterwards, afterwards_keep, claims
from quirewell.stages.later_compare import METHOD, LaterError
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal

AT = "2027-04-02T10:00:00Z"
STRIP, METER = "strip on the paper", "electrode on the paper"


def treated() -> ItemState:
    """Washed to 24 March 2026, read after."""
    steps = {
        "s1": Step("s1", "wash", ("w01",), "done", done_at="2026-03-20T18:00:00Z"),
        "s2": Step("s2", "house", ("item",), "done", done_at="2026-03-24T21:00:00Z"),
    }
    readings = {
        "r1": Reading("r1", "w05", "pH", Decimal("8.5"), "pH", STRIP, moment="after",
                      resolution=Decimal("0.5")),
        "r2": Reading("r2", "w05.outer.right", "tone_step", Decimal(6), "step", moment="after",
                      resolution=Decimal(1)),
        "r3": Reading("r3", "w05", "pH", Decimal("4.5"), "pH", STRIP, moment="before"),
    }  # fmt: skip
    return ItemState("annual", 1, Item("Copperbeck Garden Annual"), gathering=Gathering(12),
                     steps=steps, readings=readings)  # fmt: skip


def kept(state: ItemState, drafts: tuple[Draft, ...]) -> ItemState:
    for draft in drafts:
        event = Event(
            state.version + 1, state.id, state.version + 1, draft.kind, draft.body, AT, "UTC",
            "bench", "", "",
        )  # fmt: skip
        state = apply(state, event)
    return state


def check(state: ItemState, **form: str) -> ItemState:
    return kept(state, afterwards_keep.keep_check(state, {"at": AT, **form}))


def only(state: ItemState) -> afterwards.CheckRow:
    (row,) = afterwards.after_view(state, "2027-04-02").rows
    return row


def test_a_check_is_due_a_year_after_the_last_step_and_then_a_year_after_the_last_check() -> None:
    state = treated()
    assert afterwards.due(state, "2027-03-24") == afterwards.Due(
        "2027-03-24", "a year after the last step", 0, ("s2",)
    )
    late = afterwards.due(state, "2027-04-02")
    assert late.overdue and late.late_days == 9
    assert afterwards.due_words(state, "2027-04-02") == "check overdue since 2027-03-24"
    state = check(state, words="no mould, staples bright", on="2027-04-01")
    assert afterwards.due(state, "2027-04-02").on == "2028-04-01"
    assert afterwards.due_words(state, "2027-04-02") == ""


def test_another_day_holds_until_a_check_was_made_on_it_or_later() -> None:
    state = treated()
    asked = afterwards_keep.ask_for_check(state, {"on": "2026-09-01", "note": "a damp summer"})
    state = kept(state, asked)
    assert afterwards.due(state, "2026-08-01").on == "2026-09-01"
    assert "a damp summer" in afterwards.due(state, "2026-08-01").why
    early = check(state, words="as it was", on="2026-08-01")
    assert afterwards.due(early, "2027-01-01").on == "2026-09-01"
    done = check(state, words="as it was", on="2026-09-02")
    assert afterwards.due(done, "2027-01-01").on == "2027-09-02"


def test_the_29th_of_february_and_a_sale_and_nothing_done() -> None:
    leap = {"s": Step("s", "wash", ("w01",), "done", done_at="2028-02-29T10:00:00Z")}
    assert afterwards.due(replace(treated(), steps=leap), "2028-03-01").on == "2029-03-01"
    sold = replace(treated(), sold={"sold": Sold(Decimal(1))})
    assert afterwards.due(sold, "2030-01-01").on == ""
    none = replace(treated(), steps={})
    assert afterwards.due(none, "2030-01-01") == afterwards.Due(
        "", "No step of a treatment is recorded as done yet.", 0
    )


def test_a_fall_by_half_a_unit_of_a_strip_is_within_what_it_could_have_missed() -> None:
    """Two strips of u 0.4: u of the change 0.57, called beyond 1.96 of it (1.1), and a true fall
    of (1.96 + 1.645) 0.57 = 2.04 called in 95 of 100."""
    row = only(check(treated(), value="pH 8.0 at 20C", place="w05", method=STRIP, on="2027-04-01"))
    assert row.change is not None and row.change.value == pytest.approx(-0.5)
    assert row.change.u == pytest.approx(0.4 * 2**0.5)
    assert row.change.smallest_seen == pytest.approx(3.6048 * 0.4 * 2**0.5, abs=1e-3)
    assert row.says == "no change seen; 2.1 pH or more would surely have been seen"
    assert row.then == "8.5"


def test_a_fall_by_two_units_is_a_change() -> None:
    row = only(check(treated(), value="pH 6.5", place="w05", method=STRIP, on="2027-04-01"))
    assert row.says == "lower by 2.0 pH than after treatment"


def test_a_step_either_way_of_the_tone_card_is_nothing_and_two_are_a_change() -> None:
    place = {"place": "w05.outer.right", "on": "2027-04-01"}
    assert only(check(treated(), value="tone 7", **place)).says.startswith(
        "no change seen; 3 steps"
    )
    assert only(check(treated(), value="tone 8", **place)).says == (
        "higher by 2 steps than after treatment"
    )


def test_a_meter_is_not_set_against_a_strip() -> None:
    row = only(check(treated(), value="pH 7.4 at 20C", place="w05", method=METER, on="2027-04-01"))
    assert row.change is None and "strip on the damp surface" in row.says
    assert "read otherwise" in row.says


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"value": "pH 7.4", "place": "w01", "method": STRIP}, "read elsewhere (wrap 5)"),
        ({"value": "pH below 4", "place": "w05", "method": STRIP}, "off its scale"),
        ({"value": "L* 78", "place": "w05"}, "nothing of the kind"),
    ],
)
def test_what_cannot_be_compared_says_why(form: dict[str, str], says: str) -> None:
    row = only(check(treated(), on="2027-04-01", **form))
    assert row.change is None and says in row.says


def test_three_checks_over_years_give_a_slope_with_its_uncertainty() -> None:
    """8.5, 8.0, 7.5 a year apart: -0.5 a year; u = 0.4 over the root of the squared years (2)."""
    state = treated()
    for on, value in (("2027-03-24", "8.0"), ("2028-03-24", "7.5")):
        form = {"value": f"pH {value}", "place": "w05", "method": STRIP, "on": on}
        drafts = afterwards_keep.keep_check(state, {"at": "2029-01-01T00:00:00Z", **form})
        state = kept(state, drafts)
    (series,) = afterwards.after_view(state, "2029-01-01").series
    assert series.kept and series.trend is not None
    assert series.trend.value == pytest.approx(-0.5, abs=2e-3)
    assert series.trend.u == pytest.approx(0.4 / 2**0.5, abs=2e-3)
    assert series.trend.unit == "pH/a"


def test_a_reading_corrected_since_is_compared_anew_on_request() -> None:
    state = check(treated(), value="pH 8.0", place="w05", method=STRIP, on="2027-04-01")
    right = replace(state.readings["r1"], value=Decimal("8.0"))
    state = replace(state, readings={**state.readings, "r1": right})
    assert not afterwards.series_of(state)[0].kept
    state = kept(state, afterwards_keep.compare_anew(state, {}))
    assert afterwards.series_of(state)[0].kept
    assert afterwards_keep.compare_anew(state, {}) == ()


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({}, "value"),
        ({"value": "7.9"}, "value"),
        ({"value": "4.7 g", "place": "w05"}, "value"),
        ({"words": "mould", "on": "yesterday"}, "on"),
        ({"words": "mould", "on": "2028-01-01"}, "on"),
        ({"words": "mould", "on": "2026-03-01"}, "on"),
        ({"words": "mould", "capture": "none"}, "capture"),
        ({"words": "mould", "place": "w40"}, "place"),
        ({"value": "pH 7.4", "place": "w05", "method": METER}, "value"),
    ],
)
def test_a_check_that_cannot_be_is_refused_in_its_field(form: dict[str, str], field: str) -> None:
    with pytest.raises(Refusal) as refused:
        check(treated(), **form)
    assert refused.value.problems[0].field == field


def claim(**form: str) -> tuple[Draft, ...]:
    given = {"against": "carrier", "what": "a corner crushed on the way", "at": AT}
    return afterwards_keep.keep_claim(treated(), {**given, **form})


def test_a_claim_is_told_with_its_money_to_its_keeper_and_without_to_others() -> None:
    state = kept(treated(), claim(amount="120.50", currency="crowns", state="part paid", paid="60",
                                  name="Larkmoor Carriers", closed_on="2027-04-01",
                                  on="2027-03-01"))  # fmt: skip
    (line,) = claims.claim_lines(state)
    assert line.says == (
        "Against the carrier (Larkmoor Carriers), 2027-03-01: a corner crushed on the way, "
        "120.50 crowns claimed; part paid on 2027-04-01, 60.00 crowns paid"
    )
    told = claims.public_words(line.claim)
    assert told == "A claim against the carrier was made; it is part paid."


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"against": "the moon"}, "against"), ({"what": " "}, "what"), ({"amount": "-3"}, "amount"),
        ({"amount": "many"}, "amount"), ({"paid": "3"}, "paid"), ({"state": "lost"}, "state"),
        ({"state": "paid", "amount": "3", "paid": "4"}, "paid"), ({"on": "2028-01-01"}, "on"),
        ({"state": "paid", "on": "2027-03-01", "closed_on": "2027-02-01"}, "closed_on"),
        ({"closed_on": "2027-04-01", "on": "2027-03-01"}, "closed_on"),
    ],
)  # fmt: skip
def test_a_claim_that_cannot_be_is_refused_in_its_field(form: dict[str, str], field: str) -> None:
    with pytest.raises(Refusal) as refused:
        claim(**form)
    assert refused.value.problems[0].field == field


@pytest.mark.parametrize(
    "noun",
    [
        Later("later-3", "2027-04-01", "w05", "pH", Decimal("8.0"), "pH", STRIP, Decimal("0.5"),
              "looks well", "c1", "a note", Decimal(20), None, "pH 8.0 at 20C"),
        Later("later-4", "2027-04-01", words="no mould"),
        NextCheck("2027-09-01", "a damp summer"),
        Claim("claim-2", "insurer", "2027-03-01", "water", Decimal("10"), "crowns", "paid",
              Decimal("9.5"), "2027-04-01", "note", "name"),
    ],
)  # fmt: skip
def test_the_nouns_come_back_from_their_bodies(noun: Later | NextCheck | Claim) -> None:
    assert from_body(type(noun), to_body(noun)) == noun


def test_a_check_set_aside_and_undone_is_gone_and_the_others_are_compared_again() -> None:
    state = check(treated(), value="pH 8.0", place="w05", method=STRIP, on="2027-04-01")
    (id,) = state.laters
    state = kept(state, afterwards_keep.aside(state, {"id": id}))
    assert not state.laters and afterwards.series_of(state) == ()
    with pytest.raises(Refusal, match="already set aside"):
        afterwards_keep.aside(state, {"id": id})


@pytest.mark.parametrize("checks", ["", "2027-13-01 8", "2027-03-01 eight", "8.0"])
def test_lines_that_cannot_be_read_are_refused(checks: str) -> None:
    with pytest.raises(LaterError):
        run_method(METHOD, "later.pH.w05", {}, params={"unit": "pH", "end": "8", "u": "0.4",
                                                       "checks": checks})  # fmt: skip
