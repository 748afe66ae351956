"""What is true of the bench: its own stream, its own fold, apart from every item."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.record.apply import RecordError
from quirewell.record.apply_bench import fold_bench
from quirewell.record.bench import EMPTY_BENCH, ScannerCalibration, StripGreys, StripReading
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Capture, Retract
from quirewell.stages import survey
from quirewell.stages.bench_params import strip_params
from quirewell.stages.reading_entry import record_reading
from quirewell.studio.studio import STUDIO, Studio
from studio_help import ITEM, defect, new_studio, studio_with_item


def reading(id="strip-reading-1", length="159.8", strip="1"):
    return Draft(STUDIO, "strip.measured", to_body(StripReading(id, Decimal(length), strip=strip)))


def test_the_bench_is_rebuilt_from_the_journal_alone(tmp_path):
    with new_studio(tmp_path / "s") as studio:
        assert studio.bench().lengths() == ()
        studio.append(STUDIO, None, [reading(), reading("strip-reading-2", "159.9")])
        greys = StripGreys("g", (20, 35, 50, 65, 80, 92), 0.3, "instrument")
        studio.append(STUDIO, None, [Draft(STUDIO, "strip.greys_set", to_body(greys))])
        live = studio.bench()
        assert len(live.lengths()) == 2
        assert live.greys() == greys
        studio.rebuild()
        assert studio.bench() == live
        assert fold_bench(studio.events(STUDIO)) == live
        assert studio.rebuild_differs() == []
        assert studio.connection_check() == ([], [])
    with Studio.open(tmp_path / "s") as again:
        assert again.bench() == live


def test_a_new_strip_begins_without_readings_and_one_set_aside_no_longer_counts(tmp_path):
    with new_studio(tmp_path / "s") as studio:
        studio.append(STUDIO, None, [reading(), reading("b", "160.4", "2")])
        assert [one.id for one in studio.bench().lengths()] == ["b"]
        studio.append(STUDIO, None, [Draft(STUDIO, "record.retracted", to_body(Retract("b")))])
        assert [one.id for one in studio.bench().lengths()] == ["strip-reading-1"]
        with pytest.raises(RecordError, match="no record"):
            studio.append(STUDIO, None, [Draft(STUDIO, "record.retracted", to_body(Retract("b")))])


def test_what_is_true_of_an_item_is_not_true_of_the_bench_and_the_other_way_round(tmp_path):
    with studio_with_item(tmp_path / "s") as studio:
        before = len(studio.events())
        with pytest.raises(RecordError, match="true of an item"):
            note = defect()
            studio.append(STUDIO, None, [Draft(STUDIO, note.kind, note.body)])
        with pytest.raises(RecordError, match="true of the studio"):
            studio.append(ITEM, None, [Draft(ITEM, "strip.measured", reading().body)])
        with pytest.raises(RecordError, match="before version"):
            studio.append(STUDIO, 99, [reading()])
        assert len(studio.events()) == before


def test_impossible_strips_and_greys_are_refused_in_a_sentence():
    with pytest.raises(ValueError, match="both left edges"):
        StripReading("a", Decimal("16"))
    with pytest.raises(ValueError, match="rule's step"):
        StripReading("a", Decimal("160"), Decimal("5"))
    for steps, says in (
        ((20, 35), "6 grey steps"),
        ((20, 35, 50, 65, 80, 120), "between 0 and 100"),
        ((20, 50, 35, 65, 80, 92), "grow lighter"),
    ):
        with pytest.raises(ValueError, match=says):
            StripGreys("g", steps, 0.3, "instrument")
    with pytest.raises(ValueError, match="between 0 and 10"):
        StripGreys("g", (20, 35, 50, 65, 80, 92), 0.0, "scan")
    with pytest.raises(ValueError, match="scanner's name"):
        ScannerCalibration("s", " ", 300.0, Run("r", "m", 1, "exact", "scanner", ()))


def test_a_calibration_goes_through_the_journal_whole():
    findings = (Finding("r.0", "scanner.length_u_um", "scanner", 40.0, 9.0, "um"),)
    run = Run("r", "scanner.calibrate", 1, "exact", "scanner", (), {"dpi": "300"}, findings)
    held = ScannerCalibration("s", "Larkmoor F2", 300.0, run, True)
    assert from_body(ScannerCalibration, to_body(held)) == held
    assert held.fits("Larkmoor F2", 300.4)
    assert held.fits("", 300.0)
    assert not held.fits("Elm 9", 300.0)
    assert not held.fits("Larkmoor F2", 600.0)
    assert not held.fits("Larkmoor F2", None)
    assert held.finding("nothing") is None


def test_old_readings_of_an_item_still_count_until_the_bench_has_its_own(tmp_path):
    with studio_with_item(tmp_path / "s") as studio:
        state = studio.state(ITEM)
        assert strip_params(state) == {}
        form = {"quantity": "strip_length", "value": "159.8 mm"}
        studio.append(ITEM, state.version, record_reading(state, form))
        state = studio.state(ITEM)
        assert strip_params(state, EMPTY_BENCH)["strip_length_mm"] == "159.8000"
        studio.append(STUDIO, None, [reading(length="160.3")])
        assert strip_params(state, studio.bench())["strip_length_mm"] == "160.3000"
        scan = Capture("p", "a" * 64, "s.tif", "image/tiff", 9, 9, 9, place="w01.outer.left")
        assert survey.measure_params(state, scan, studio.bench()) == {
            "panel": "left", "strip_length_mm": "160.3000", "strip_length_u_mm": "0.0408",
        }  # fmt: skip


def test_a_capture_recorded_before_scanners_had_names_reads_as_it_was():
    old = Capture("p", "a" * 64, "s.tif", "image/tiff", 9, 9, 9)
    body = to_body(old)
    assert "scanner" not in body
    assert from_body(Capture, body) == old
