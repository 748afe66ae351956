"""Two ways compared: pairs, a lot that can be drawn again, a margin locked before measuring.

The pairs needed and the powers are those of exact paired TOST (Schuirmann 1987) as computed twice
before this was written; see tests/science/evidence for the same values at the ground.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from quirewell.record.apply import RecordError, apply, noun_of
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Gathering, Item, ItemState, Reading, Step
from quirewell.stages import trial_measured, trials
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.stages.trial_measured import Read, Source
from quirewell.stages.trial_sizing import METHOD, SizingError

AT = "2026-11-28T20:00:00Z"
COLD, WARM = "cold, one wrap at a time", "warm with surfactant, two wraps at a time"
FORM = {"kind": "wash", "way_a": COLD, "way_b": WARM, "seed": "larkmoor"}


def start(wraps: int = 12) -> ItemState:
    return ItemState(
        "annual", 1, Item("Copperbeck Garden Annual"), gathering=Gathering(wraps, True)
    )


def kept(state: ItemState, drafts: tuple[Draft, ...]) -> ItemState:
    for draft in drafts:
        event = Event(
            state.version + 1, state.id, state.version + 1, draft.kind, draft.body, AT, "UTC",
            "bench", "", "",
        )  # fmt: skip
        state = apply(state, event)
    return state


def value(state: ItemState, quantity: str) -> float | None:
    run = state.newest_run(METHOD, next(iter(state.trials)))
    assert run is not None
    return next(one.value for one in run.findings if one.quantity == quantity)


def test_twelve_wraps_are_six_neighbouring_pairs_and_the_lot_can_be_drawn_again() -> None:
    state = kept(start(), trials.plan_trial(start(), FORM))
    (trial,) = state.trials.values()
    assert [set(pair.split()) for pair in trial.pairs] == [
        {f"w{n:02d}", f"w{n + 1:02d}"} for n in range(1, 13, 2)
    ]
    again = kept(start(), trials.plan_trial(start(), FORM)).trials
    assert next(iter(again.values())).pairs == trial.pairs
    for pair in trial.pairs:
        first, second = pair.split()
        outer = f"{min(first, second)} {max(first, second)}"
        assert (trials.lot("larkmoor", outer) == 1) == (first > second)
        assert trials.way_for(state, "wash", first) == COLD
        assert trials.way_for(state, "wash", second) == WARM


def test_over_many_seeds_the_lot_is_even_and_pairs_fall_independently() -> None:
    drawn = [
        [trials.lot(f"seed {n}", pair) for pair in ("w01 w02", "w03 w04")] for n in range(4000)
    ]
    ones = sum(first for first, _ in drawn)
    both = sum(first == second for first, second in drawn)
    for count in (ones, both):
        assert abs(count - 2000) < 5 * 31.6, "five standard deviations of a fair coin"


@pytest.mark.parametrize(
    ("margin", "sd", "needed", "likely", "shifted"),
    [("1", "1", 11, 13, 16), ("0.5", "1", 36, 45, 58), ("1.5", "1", 6, 7, 8), ("2", "1", 4, 5, 6)],
)
def test_pairs_needed_are_those_of_exact_paired_tost(
    margin: str, sd: str, needed: int, likely: int, shifted: int
) -> None:
    run = run_method(METHOD, "t", {}, params={"pairs": "12", "margin": margin, "sd": sd})
    got = {one.quantity: one.value for one in run.findings}
    assert (got["trial.needed"], got["trial.needed_likely"], got["trial.needed_shifted"]) == (
        needed, likely, shifted,
    )  # fmt: skip


def test_power_and_the_margin_that_the_pairs_can_hold_agree() -> None:
    run = run_method(METHOD, "t", {}, params={"pairs": "12", "margin": "1", "sd": "1"})
    got = {one.quantity: one.value for one in run.findings}
    assert got["trial.power"] == pytest.approx(0.8894, abs=2e-4)
    held = got["trial.margin_held"]
    assert held is not None
    back = run_method(METHOD, "t", {}, params={"pairs": "12", "margin": str(held), "sd": "1"})
    power = next(one.value for one in back.findings if one.quantity == "trial.power")
    assert power == pytest.approx(0.80, abs=1e-6)


def test_a_locked_margin_stays_whoever_asks() -> None:
    state = kept(start(), trials.plan_trial(start(), FORM))
    (trial,) = state.trials.values()
    state = kept(state, trials.lock_trial(state, {"id": trial.id, "at": AT}))
    assert state.trials[trial.id].locked_at == AT
    assert trials.lock_trial(state, {"id": trial.id, "at": "later"}) == ()
    with pytest.raises(Refusal, match="proves nothing"):
        trials.change_trial(state, {"id": trial.id, "margin": "5"})
    with pytest.raises(Refusal, match="not set aside"):
        trials.drop_trial(state, {"id": trial.id})
    moved = replace(trial, margin=Decimal("5"))
    from quirewell.record.codec import to_body

    with pytest.raises(RecordError, match="locked"):
        kept(state, (Draft(state.id, "trial.kept", to_body(moved)),))


def test_what_was_measured_before_the_lock_forbids_it() -> None:
    state = kept(start(), trials.plan_trial(start(), FORM))
    (trial,) = state.trials.values()
    read = Reading("r", "w03.outer", "tone_step", Decimal(6), "step", moment="after")
    early = replace(state, readings={"r": read})
    with pytest.raises(Refusal, match="wrap 3 was measured"):
        trials.lock_trial(early, {"id": trial.id, "at": AT})
    assert not trials.trials_view(early)[0].can_lock
    before = replace(state, readings={"r": replace(read, moment="before")})
    assert trials.trials_view(before)[0].can_lock


def test_a_sheet_that_went_the_other_way_is_named() -> None:
    state = kept(start(), trials.plan_trial(start(), FORM))
    (trial,) = state.trials.values()
    first = trial.pairs[0].split()[0]
    step = Step("s", "wash", (first,), "done", way=WARM)
    said = trials.trials_view(replace(state, steps={"s": step}))[0].says
    assert any("not as the lot fell" in line for line in said)


def test_ugly_forms_are_refused_at_their_box() -> None:
    for form, field in (
        ({**FORM, "way_b": COLD}, "way_b"), ({**FORM, "seed": " "}, "seed"),
        ({**FORM, "kind": "press"}, "kind"), ({**FORM, "margin": "-1"}, "margin"),
        ({**FORM, "margin": "one"}, "margin"), ({**FORM, "sheets": "w44"}, "sheets"),
        ({**FORM, "sheets": "w01"}, "sheets"), ({**FORM, "quantity": "charm"}, "quantity"),
    ):  # fmt: skip
        with pytest.raises(Refusal) as refusal:
            trials.plan_trial(start(), form)
        assert refusal.value.problems[0].field == field
    for params in ({"pairs": "x"}, {"pairs": "3", "margin": "0", "sd": "1"},
                   {"pairs": "3", "margin": "1", "sd": "nan"}):  # fmt: skip
        with pytest.raises((SizingError, ValueError)):
            run_method(METHOD, "t", {}, params=params)


def test_no_record_of_one_kind_is_taken_for_another() -> None:
    draft = trials.plan_trial(start(), FORM)[1]
    assert noun_of(draft.kind, draft.body).kind == "wash"


def test_a_change_that_was_compared_goes_before_scans_read_apart(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    state = kept(start(4), trials.plan_trial(start(4), {**FORM, "quantity": "paper.L"}))
    (trial,) = state.trials.values()
    read = [Read(f"w{at:02d}.outer.right", when, Decimal(70), f"r{at}{when}")
            for at in range(1, 5) for when in ("before", "after")]  # fmt: skip
    late = tuple(one for one in read if one.moment == "after")
    compared = Source("compared", Decimal("0.01"), late, given=True)
    apart = Source("apart", Decimal("0.01"), tuple(read))
    monkeypatch.setattr(trial_measured, "sources", lambda *_: (compared, apart))
    assert trial_measured.best_source(state, trial).name == "compared"
    fewer = replace(compared, read=late[:2])
    monkeypatch.setattr(trial_measured, "sources", lambda *_: (fewer, apart))
    assert trial_measured.best_source(state, trial).name == "apart"
