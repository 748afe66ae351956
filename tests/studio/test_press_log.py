"""A log of a pressing: places by name, times by clock or number, what is odd told."""

from pathlib import Path

import numpy as np
import pytest

from quirewell.studio.loggers import LogError
from quirewell.studio.press_log import read_press_log

ROWS = [(0, 20.1, 21.0), (60, 31.5, 22.4), (120, 39.0, 25.9), (180, 44.2, 29.1)]


def _kept(folder: Path, text: str) -> Path:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def _plain(header: str, sign: str = ",", point: str = ".") -> str:
    lines = [header]
    for t, a, b in ROWS:
        lines.append(sign.join(str(one).replace(".", point) for one in (t, a, b)))
    return "\n".join(lines) + "\n"


def test_places_and_times_are_found_by_name(tmp_path: Path) -> None:
    log = read_press_log(_kept(tmp_path, _plain("time_s,centre C,cool cover C")))
    assert [(one.place, one.kind) for one in log.signals] == [("centre", "C"), ("cool", "C")]
    assert log.signals[0].t_s.tolist() == [0, 60, 120, 180]
    assert log.signals[0].values[1] == 31.5


def test_decimal_commas_minutes_and_humidity(tmp_path: Path) -> None:
    text = "minutes;fold (C);RH lower %\n0;20,5;61,0\n1;25,5;62,0\n2,5;30,0;66,0\n3;31,0;70,0\n"
    log = read_press_log(_kept(tmp_path, text))
    assert log.signals[0].t_s.tolist() == [0, 60, 150, 180]
    assert (log.signals[1].place, log.signals[1].kind) == ("cool", "RH")
    assert np.allclose(log.signals[1].values, [0.61, 0.62, 0.66, 0.70])


def test_a_clock_may_pass_midnight(tmp_path: Path) -> None:
    text = "clock,centre C\n23:59:00,20\n23:59:30,22\n00:00:10,25\n00:01:00,30\n"
    log = read_press_log(_kept(tmp_path, text))
    assert log.signals[0].t_s.tolist() == [0, 30, 70, 120]


def test_dates_are_read_as_loggers_write_them(tmp_path: Path) -> None:
    text = (
        "stamp,centre C\n2026-03-31 14:00:00,20\n2026-03-31 14:01:00,25\n2026-03-31 14:02:00,30\n"
    )
    log = read_press_log(_kept(tmp_path, text))
    assert log.signals[0].t_s.tolist() == [0, 60, 120]


def test_fahrenheit_by_its_name_and_by_question(tmp_path: Path) -> None:
    text = "time_min,centre F\n0,68\n1,77\n2,86\n"
    assert np.allclose(read_press_log(_kept(tmp_path, text)).signals[0].values, [20, 25, 30])
    with pytest.raises(LogError, match="is it Fahrenheit"):
        read_press_log(_kept(tmp_path, text.replace("centre F", "centre")))


def test_columns_can_be_said(tmp_path: Path) -> None:
    path = _kept(tmp_path, _plain("time_s,T1,T2"))
    with pytest.raises(LogError, match="which column"):
        read_press_log(path)
    log = read_press_log(path, "centre=T1, cool=3")
    assert [one.place for one in log.signals] == ["centre", "cool"]
    with pytest.raises(LogError, match="names no column"):
        read_press_log(path, "spine=T1")
    with pytest.raises(LogError, match="no single column"):
        read_press_log(path, "centre=T9")


def test_seconds_or_minutes_are_asked_for(tmp_path: Path) -> None:
    path = _kept(tmp_path, _plain("time,centre C,cool C"))
    with pytest.raises(LogError, match="in seconds or minutes"):
        read_press_log(path)
    assert read_press_log(path, time_unit="min").signals[0].t_s[1] == 3600


def test_impossible_readings_are_left_out_and_told(tmp_path: Path) -> None:
    text = "time_s,centre C\n0,20\n60,-999\n120,30\n180,35\n"
    log = read_press_log(_kept(tmp_path, text))
    assert log.signals[0].values.tolist() == [20, 30, 35]
    assert any("1 readings of 'centre C'" in note for note in log.notes)


def test_a_formula_is_no_reading_and_hides_no_header(tmp_path: Path) -> None:
    text = "time_s,centre C\n0,=cmd|calc\n10,25\n20,30\n"
    log = read_press_log(_kept(tmp_path, text))
    assert log.signals[0].values.tolist() == [25, 30]
    assert any("held no readings" in note for note in log.notes)


@pytest.mark.parametrize(
    "text",
    ["", "time_s,centre\n", "hello\nworld\n", "time_s,centre C\n5,20\n4,21\n3,22\n", "\0\1\2"],
    ids=["empty", "no rows", "no columns", "backwards", "no text"],
)
def test_what_is_no_log_is_a_sentence(tmp_path: Path, text: str) -> None:
    with pytest.raises(LogError):
        read_press_log(_kept(tmp_path, text))
