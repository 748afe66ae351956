"""The evidence of an item: what is gathered, what each verdict says, when a margin counts."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import pytest

from quirewell.record.apply import apply
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.measured import Term
from quirewell.record.nouns import Capture, Gathering, Item, ItemState, Margin, Reading
from quirewell.stages import evidence, margins
from quirewell.stages.evidence_view import as_json, evidence_view
from quirewell.stages.methods import Outcome, find_method, run_method
from quirewell.stages.refusal import Refusal

RULE = "steel rule"


def reading(
    number: int, place: str, value: str, moment: str, quantity: str = "width", **more: object
) -> Reading:
    step = Decimal(str(more.pop("step", "0.5")))
    return Reading(
        f"reading-{number}", place, quantity, Decimal(value), "mm", resolution=step,
        moment=moment, instrument=RULE, **more,  # type: ignore[arg-type]
    )  # fmt: skip


def state_of(
    readings: Sequence[Reading], locked: Sequence[Margin] = (), **more: object
) -> ItemState:
    """An item whose margins were locked first, then its readings taken in their order."""
    touched = {f"margin.{one.quantity}": 1 for one in locked}
    touched |= {one.id: at + 2 for at, one in enumerate(readings)}
    return ItemState(
        "annual", 99, Item("Copperbeck Garden Annual"), Gathering(6),
        readings={one.id: one for one in readings},
        margins={f"margin.{one.quantity}": one for one in locked}, touched=touched,
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


def leaves(changes: Sequence[str], before: str = "184.5") -> list[Reading]:
    """A leaf of its own wrap for each change, read once before and once after."""
    out: list[Reading] = []
    for at, change in enumerate(changes):
        place = f"w{at + 1:02d}.outer.right"
        after = str(Decimal(before) + Decimal(change))
        out += [
            reading(2 * at, place, before, "before"),
            reading(2 * at + 1, place, after, "after"),
        ]
    return out


HALF = Margin("size.width_mm", Decimal("0.5"), "mm", at="2026-03-04T18:40:00Z")


def verdict(state: ItemState, key: str = "size.width_mm") -> tuple[Run, dict[str, Finding]]:
    (ask,) = [one for one in evidence.asks(state) if one.subject == key]
    run = run_method(ask.method, ask.subject, {}, ask.inputs, ask.params)
    return run, {one.quantity: one for one in run.findings}


def method(values: str, **params: str) -> dict[str, Finding]:
    given = {"quantity": "size.width_mm", "unit": "mm", "values": values, **params}
    out: Outcome = find_method("evidence.equivalence").function({}, given)
    return {one.quantity: one for one in out.findings}


def test_six_leaves_by_hand() -> None:
    # Changes 0.1 -0.2 0.3 0.0 0.2 -0.1: mean 0.05, s = sqrt(0.035), t(0.95, 5) = 2.015:
    # 0.05 +- 2.015 * 0.18708 / sqrt(6), the interval -0.104 to 0.204.
    changes = ("0.1", "-0.2", "0.3", "0.0", "0.2", "-0.1")
    rows = "\n".join(f"w0{at + 1}.outer.right | {one}" for at, one in enumerate(changes))
    found = method(rows, margin="0.5", margin_says="locked")
    change = found["evidence.change"]
    assert change.value == pytest.approx(0.05)
    assert change.low90 == pytest.approx(-0.1039, abs=1e-4)
    assert change.high90 == pytest.approx(0.2039, abs=1e-4)
    assert found["evidence.would_pass"].value == pytest.approx(0.2039, abs=1e-4)
    assert found["evidence.verdict"].text.startswith("unchanged within 0.5 mm")
    assert method(rows, margin="0.2")["evidence.verdict"].text.startswith("cannot tell whether")
    assert "leaves in place of 6" in method(rows, margin="0.2")["evidence.verdict"].text


def test_readings_of_one_leaf_are_averaged_in_decimal_and_are_no_leaves() -> None:
    rows = "w01.outer.right | 184.1 184.2 184.3 | 184.2\nw02.outer.right | 184.0 | 184.4"
    found = method(rows, step="0.1")
    assert found["evidence.units"].value == 2
    assert found["evidence.change"].value == pytest.approx(0.2, abs=1e-15)


def test_two_leaves_of_a_wrap_that_change_alike_count_as_one_sheet() -> None:
    rows = "\n".join(
        f"w0{wrap}.outer.{side} | {change}"
        for wrap, change in ((1, "0.3"), (2, "-0.3"), (3, "0.1"), (4, "-0.1"))
        for side in ("left", "right")
    )
    found = method(rows, margin="0.5", step="0.01")
    assert found["evidence.units"].value == 4 and found["evidence.units"].note == "wraps"
    by_leaf, whole = found["evidence.by_leaf"], found["evidence.change"]
    assert by_leaf.high90 < whole.high90  # type: ignore[operator]


def test_a_leaf_that_stands_apart_is_named_and_never_dropped() -> None:
    rows = "\n".join(
        f"w{at:02d}.outer.right | {change}"
        for at, change in enumerate(("0.02", "-0.01", "0.03", "0.0", "-0.02", "0.01", "1.4"), 1)
    )
    found = method(rows, margin="0.5", step="0.01")
    assert found["evidence.flagged"].text == "wrap 7, right leaf"
    assert found["evidence.change"].value == pytest.approx(1.43 / 7)
    assert found["evidence.without_flagged"].value == pytest.approx(0.03 / 6)
    assert "unchanged; with them cannot tell" in found["evidence.without_flagged"].note


def test_single_leaves_beyond_the_margin_are_said_beside_an_unchanged_mean() -> None:
    rows = "\n".join(
        f"w{at:02d}.outer.right | {change}"
        for at, change in enumerate(("0.6", "-0.55", "0.1", "0.0", "-0.1", "0.05", "0.0", "0"), 1)
    )
    said = method(rows, margin="0.5")["evidence.verdict"].text
    assert said.startswith("unchanged within 0.5 mm") and "2 of 8 read beyond it" in said


def test_a_steel_rule_is_enough_and_its_own_error_cancels() -> None:
    state = state_of(leaves(["0", "0.5", "0", "-0.5", "0", "0.5"]), [HALF])
    run, found = verdict(state)
    assert found["evidence.verdict"].text.startswith(("unchanged", "cannot tell"))
    names = {term.name for term in found["evidence.change"].terms}
    assert {"leaves", "humidity", "resolution, of one leaf"} <= names
    assert "rule" not in names
    assert found["evidence.margin"].note.endswith("on 2026-03-04")
    assert [one.ref for one in run.inputs] == [one.id for one in state.readings.values()]
    assert run.params["values"].splitlines()[1] == "w02.outer.right | 184.5 | 185.0"


def test_the_same_run_comes_out_again_and_is_then_not_out_of_date() -> None:
    state = state_of(leaves(["0.5", "0", "0", "0.5"]), [HALF])
    drafts = evidence.work_out(state, {})
    for at, one in enumerate(drafts, 100):
        at_ten = "2026-03-20T10:00:00Z"
        state = apply(
            state, Event(at, "annual", at, one.kind, one.body, at_ten, "UTC", "b", "", "")
        )
    assert drafts and evidence.work_out(state, {}) == ()
    assert evidence_view(state).stale == 0
    assert as_json(evidence_view(state))["evidence"][0]["quantity"] == "size.width_mm"


@pytest.mark.parametrize(("true", "least", "most"), [(0.0, 0.9, 1.0), (0.5, 0.0, 0.125)])
def test_planted_truth_an_unmoved_item_passes_and_one_moved_by_the_margin_does_not(
    true: float, least: float, most: float
) -> None:
    rng = np.random.default_rng(1936)
    hits = 0
    for _ in range(80):  # three standard errors of 5 in 100 are 7.5 in 100
        drawn = rng.normal(true, 0.3, 12)
        rows = "\n".join(
            f"w{at:02d}.outer.right | {184.5 + at / 7:.2f} | {184.5 + at / 7 + one:.2f}"
            for at, one in enumerate(drawn, 1)
        )
        said = method(rows, margin="0.5", step="0.01")["evidence.verdict"].text
        hits += said.startswith("unchanged")
    assert least <= hits / 80 <= most


def test_off_scale_and_bath_readings_are_told_and_not_counted() -> None:
    strip = {"quantity": "pH", "method": "strip on the paper"}
    rows = [
        reading(1, "w01", "4.5", "before", **strip), reading(2, "w01", "8.0", "after", **strip),
        reading(3, "w02", "5.0", "before", **strip), reading(4, "w02", "8.0", "after", **strip),
        reading(5, "w03", "4.5", "before", **strip),
        reading(6, "w03", "9.0", "after", off_scale="above", **strip),
        reading(7, "item", "12.4", "after", quantity="pH", method="electrode in the bath"),
    ]  # fmt: skip
    run, found = verdict(state_of(rows), "paper.ph")
    assert found["evidence.units"].value == 2
    assert any("off the instrument's scale" in says for says in run.warnings)
    assert found["evidence.verdict"].text.startswith("changed")


def test_one_leaf_gives_a_change_and_no_verdict_on_the_item() -> None:
    _, found = verdict(state_of(leaves(["0.5"]), [HALF]))
    assert found["evidence.verdict"].text.startswith("cannot tell: wrap 1, right leaf alone")
    assert found["evidence.change"].u == pytest.approx(0.5 / 6**0.5, rel=0.5)


def test_nothing_recorded_is_refused_with_what_to_do() -> None:
    with pytest.raises(Refusal, match="steel rule"):
        evidence.work_out(state_of([]), {})
    assert evidence_view(state_of([])).first


def test_a_margin_counts_only_when_it_came_first() -> None:
    state = state_of(leaves(["0", "0.5", "0"]), [HALF])
    late = ItemState(
        **{**{name: getattr(state, name) for name in state.__slots__},
           "touched": state.touched | {"margin.size.width_mm": 50}}
    )  # fmt: skip
    assert "evidence.margin" in verdict(state)[1]
    run, found = verdict(late)
    assert "evidence.margin" not in found and "evidence.p" not in found
    assert any("chosen afterwards proves nothing" in says for says in run.warnings)
    assert "would have passed" in found["evidence.verdict"].text


def test_locking_is_refused_after_the_first_reading_or_scan_and_allowed_before() -> None:
    form = {"quantity": "size.width_mm", "value": "0.5", "at": "2026-03-04T18:40:00Z"}
    (draft,) = margins.lock(state_of([reading(1, "w01.outer.left", "184", "before")]), form)
    assert draft.body["unit"] == "mm" and draft.body["at"].startswith("2026-03-04")
    with pytest.raises(Refusal, match="too late to lock"):
        margins.lock(state_of([reading(1, "w01.outer.left", "184", "after")]), form)
    scan = Capture("p1", "0" * 64, "a.tif", "image/tiff", 9, 9, 9, moment="after",
                   place="w01.outer", panel="left")  # fmt: skip
    with pytest.raises(Refusal, match="scanned after treatment"):
        margins.lock(state_of([], captures={"p1": scan}), form)
    # A pH read afterwards says nothing of the size.
    other = reading(1, "w01", "8.0", "after", quantity="pH", method="strip on the paper")
    assert margins.lock(state_of([other]), form)
    assert [one.key for one in margins.offers(state_of([])) if one.preset] == [
        "size.width_mm", "size.height_mm", "tone.step",
    ]  # fmt: skip


def test_an_older_margin_in_per_cent_still_works() -> None:
    old = Margin("change.width_pct", Decimal("0.5"), "%")
    _, found = verdict(state_of(leaves(["0", "0.5", "0", "0.5"]), [old]))
    assert found["evidence.margin"].value == pytest.approx(0.9225, abs=1e-3)
    assert "0.5 % of 184.5 mm" in found["evidence.margin"].note


def test_steps_of_the_card_are_ranked_and_their_share_is_exact() -> None:
    rows = "\n".join(f"w{at:02d}.outer.right | 8 | {after}" for at, after in
                     enumerate((6, 6, 7, 6, 7, 6), 1))  # fmt: skip
    given = {"quantity": "tone.step", "unit": "step", "values": rows, "margin": "1"}
    found = {one.quantity: one for one in
             find_method("evidence.steps").function({}, given).findings}  # fmt: skip
    assert found["evidence.verdict"].text.startswith("changed: the middle shift is")
    assert found["evidence.p_signs"].value == pytest.approx(2 / 64)  # all six down: 2 / 2^6
    assert found["evidence.moved"].value == pytest.approx(100.0)
    # Six of six: the exact 90 % interval begins at 0.05^(1/6) (clopper1934).
    assert found["evidence.moved"].low90 == pytest.approx(100 * 0.05 ** (1 / 6))
    none = given | {"values": "\n".join(f"w{at:02d}.outer.right | 8 | 8" for at in range(1, 7))}
    said = find_method("evidence.steps").function({}, none).findings[0].text
    assert said.startswith("unchanged within 1 step on most leaves")


def test_duplicates_give_the_rules_own_scatter_pooled_over_leaves() -> None:
    twice = [
        reading(at, f"w{at // 2 + 1:02d}.outer.right", value, "before")
        for at, value in enumerate(("184.5", "184.0", "183.0", "183.0", "184.0", "185.0"))
    ]
    # Differences 0.5, 0, 1: pooled variance (0.125 + 0 + 0.5) / 3.
    (ask,) = [
        one for one in evidence.asks(state_of(twice)) if one.method == "evidence.repeatability"
    ]
    run = run_method(ask.method, ask.subject, {}, ask.inputs, ask.params)
    found = {one.quantity: one for one in run.findings}
    assert found["repeat.s_r"].value == pytest.approx((0.625 / 3) ** 0.5)
    assert found["repeat.duplicates"].value == 3
    assert found["repeat.mdc_1"].value == pytest.approx(1.959964 * 2**0.5 * (0.625 / 3) ** 0.5)
    assert ask.subject == "width: steel rule"
    assert any("Few duplicates" in says for says in run.warnings)


def test_equal_duplicates_fall_back_on_the_rules_step() -> None:
    twice = [reading(at, "w01.outer.right", "184.5", "before") for at in range(2)]
    (ask,) = evidence.asks(state_of(twice))
    found = {one.quantity: one for one in run_method(
        ask.method, ask.subject, {}, ask.inputs, ask.params).findings}  # fmt: skip
    assert found["repeat.s_r"].value == pytest.approx(0.5 / 12**0.5)
    assert "hides what is smaller" in found["repeat.s_r"].note


@pytest.mark.parametrize(
    "params",
    [
        {"values": ""}, {"values": "w01 | 1 | 2 | 3"}, {"values": "w01 | one"},
        {"values": "w01 | 1\nw01 | 2"}, {"values": "w01 | NaN\nw02 | 1"},
        {"values": "w01 | 1e99\nw02 | 1"}, {"values": "w01 | 1\nw02 | 2", "margin": "0"},
        {"values": "w01 | 1\nw02 | 2", "shared": "humidity"},
        {"values": "w01 | 1\nw02 | 2", "shared": "humidity | -1 | x"},
        {"values": "w01 | 1\nw02 | 2", "step": "-0.5"}, {"values": "w01 | 1", "colour": "red"},
        {"values": "w01 | 1", "quantity": "size.depth"}, {"values": "w01 | 1\nw02 | 1"},
        {"values": "\n".join(f"w{at} | 1" for at in range(500))},
    ],
)  # fmt: skip
def test_ugly_parameters_are_refused_in_a_sentence(params: dict[str, str]) -> None:
    with pytest.raises(ValueError) as told:
        find_method("evidence.equivalence").function({}, {"quantity": "size.width_mm", **params})
    assert len(f"{told.value}") > 20


def test_scans_give_the_change_in_millimetres_and_keep_what_pages_share() -> None:
    runs: dict[str, Run] = {}
    for at, change in enumerate((0.1, 0.12, -0.05), 1):
        place = f"w{at:02d}.outer.right"
        size = Finding(f"m{at}.0", "leaf.width_mm", place, 200.0, 0.1, "mm")
        pair = Finding(f"c{at}.0", "change.width_pct", place, change, 0.06, "%",
                       terms=(_term("match", 0.001), _term("humidity", 0.05)))  # fmt: skip
        before = Input("image", f"p{at}")
        runs[f"m{at}"] = Run(f"m{at}", "leaf.measure", 2, "exact", place, (before,), {}, (size,))
        runs[f"c{at}"] = Run(f"c{at}", "pair.compare", 1, "exact", place, (), {}, (pair,))
    scans = {
        f"p{at}": Capture(f"p{at}", "0" * 64, "a.tif", "image/tiff", 9, 9, 9, moment="before",
                          place=f"w{at:02d}.outer", panel="right")
        for at in (1, 2, 3)
    }  # fmt: skip
    run, found = verdict(state_of([], runs=runs, captures=scans))
    mean = found["evidence.change"]
    assert mean.value == pytest.approx(200 * (0.1 + 0.12 - 0.05) / 300)
    terms = {term.name: term.u for term in mean.terms}
    assert terms["humidity"] == pytest.approx(0.1) and "match, of one leaf" in terms
    assert [one.ref for one in run.inputs] == ["c1.0", "c2.0", "c3.0"]


def _term(name: str, u: float) -> Term:
    return Term(name, u, "as planted")


def test_a_draft_is_kept_as_a_run() -> None:
    (draft, *_) = evidence.work_out(state_of(leaves(["0.5", "0"])), {})
    assert isinstance(draft, Draft) and draft.kind == "run.recorded"
    assert to_body(run_method(*_call(state_of(leaves(["0.5", "0"]))))) == draft.body


def _call(state: ItemState):  # type: ignore[no-untyped-def]
    ask = evidence.asks(state)[0]
    return ask.method, ask.subject, {}, ask.inputs, ask.params
