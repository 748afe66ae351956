"""``apply`` and ``fold``: pure, and the only way anything becomes true."""

from __future__ import annotations

import copy

import pytest

from quirewell.record.apply import KINDS, RecordError, apply, fold, key_of, noun_of
from quirewell.record.codec import BodyError, from_body, to_body
from quirewell.record.event import Event
from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term


def event(version: int, kind: str, body: dict[str, object]) -> Event:
    return Event(version + 1, "a", version, kind, body, "2031-04-02T18:30:00Z", "UTC", "x", "", "")


OPENED = event(1, "item.opened", {"title": "Annual"})
PICTURE = {
    "id": "c1", "sha256": "a" * 64, "filename": "x.png", "media": "image/png",
    "width_px": "9", "height_px": "9", "bytes": "9",
}  # fmt: skip


def test_apply_leaves_the_state_it_was_given_alone() -> None:
    before = apply(None, OPENED)
    kept = copy.deepcopy(before)
    after = apply(before, event(2, "capture.added", PICTURE))
    apply(after, event(3, "record.retracted", {"id": "c1"}))
    assert before == kept and "c1" in after.captures
    assert apply(before, event(2, "capture.added", PICTURE)) == after


@pytest.mark.parametrize(
    ("second", "said"),
    [
        (event(2, "item.opened", {"title": "Again"}), "already open"),
        (event(3, "defect.noted", {"id": "d", "place": "w01", "term": "fold"}), "cannot follow"),
        (event(2, "defect.noted", {"id": "d", "place": "attic", "term": "fold"}), "names no place"),
        (event(2, "defect.noted", {"id": "d", "place": "w01"}), "term"),
        (event(2, "defect.noted", {"id": "d", "plaice": "w01"}), "no field 'plaice'"),
        (event(2, "dreamt.up", {}), "unknown kind"),
        (event(2, "record.retracted", {"id": "d"}), "no record 'd'"),
        (event(2, "capture.assigned", {"capture": "c9"}), "no picture 'c9'"),
        (event(2, "reading.corrected", {"id": "r", "place": "w01", "quantity": "pH", "value": "7",
                                        "unit": "1"}), "no record 'r' to correct"),
    ],
)  # fmt: skip
def test_event_that_cannot_be_is_refused_in_a_sentence(second: Event, said: str) -> None:
    with pytest.raises(RecordError, match=said):
        apply(apply(None, OPENED), second)
    with pytest.raises(RecordError, match=r"before item\.opened"):
        apply(None, event(1, "defect.noted", {"id": "d", "place": "w01", "term": "fold"}))


def test_locked_margin_cannot_be_moved() -> None:
    margin = {"quantity": "change.width_pct", "value": "0.2", "unit": "%"}
    state = apply(apply(None, OPENED), event(2, "margin.locked", margin))
    with pytest.raises(RecordError, match="locked and cannot be moved"):
        apply(state, event(3, "margin.locked", {**margin, "value": "0.9"}))


def test_undone_event_is_left_out_and_its_record_counts_as_touched() -> None:
    noted = event(2, "defect.noted", {"id": "d", "place": "w01", "term": "fold"})
    state = fold([OPENED, noted, event(3, "event.undone", {"seq": "3"})])
    assert state is not None and state.version == 3
    assert not state.defects and state.touched["d"] == 3


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-inf", "1e999999"])
def test_number_that_no_instrument_shows_is_refused(value: str) -> None:
    for kind, field in (("capture.added", "resolution_dpi"), ("margin.locked", "value")):
        body = PICTURE if kind == "capture.added" else {"quantity": "q", "unit": "%"}
        if field == "value" and value == "1e999999":
            continue
        with pytest.raises(RecordError, match=field):
            noun_of(kind, {**body, field: value})


def test_every_kind_names_its_record() -> None:
    assert key_of("defect.noted", {"id": "d", "place": "w01", "term": "fold"}) == "d"
    assert key_of("grade.estimated", {"moment": "after"}) == "grade.after"
    assert set(KINDS) >= {"item.opened", "run.recorded", "event.undone"}


def test_run_travels_through_text_and_back() -> None:
    finding = Finding(
        "r.0", "leaf.width_mm", "w01", 195.25, 0.05, "mm", low90=195.17, high90=195.33,
        terms=(Term("scale", 0.04, "resolution tag"),), sources=("jcgm100",),
    )  # fmt: skip
    run = Run("r", "leaf.measure", 1, "exact", "w01", (), {"dpi": "300"}, (finding,), ("soft",))
    assert from_body(Run, to_body(run)) == run
    assert noun_of("run.recorded", to_body(run)) == run


@pytest.mark.parametrize("value", ["seven", None, [], True])
def test_body_that_does_not_fit_is_named(value: object) -> None:
    with pytest.raises(BodyError, match=r"Capture\.width_px"):
        from_body(KINDS["capture.added"].body, {**PICTURE, "width_px": value})
