"""A logger's file, whatever made it: columns, units, dates, and everything that is odd."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from quirewell.studio.loggers import LogError, parse_log

START = datetime(2025, 1, 30)


def rows(count: int = 60, step_h: float = 1.0) -> list[tuple[datetime, float, float]]:
    return [
        (START + timedelta(hours=step_h * n), 18 + 2 * np.sin(n / 4), 48 + 5 * np.cos(n / 5))
        for n in range(count)
    ]


def text(header: str, line: str, when: str = "%Y-%m-%d %H:%M", **change: object) -> str:
    out = [header] if header else []
    for at, t, h in rows(**change):  # type: ignore[arg-type]
        out.append(line.format(at=at.strftime(when), t=t, h=h))
    return "\n".join(out)


PLAIN = text("Time,Temperature (C),RH (%)", "{at},{t:.2f},{h:.1f}")


def read(data: str | bytes, **options: str):  # type: ignore[no-untyped-def]
    return parse_log(data.encode() if isinstance(data, str) else data, "attic.csv", **options)


def good(log) -> bool:  # type: ignore[no-untyped-def]
    t, h = (np.array([row[i] for row in rows()]) for i in (1, 2))
    same = np.allclose(log.temperature_c, t, atol=0.06) and np.allclose(log.rh, h / 100, atol=6e-3)
    return bool(same and log.hours.sum() == pytest.approx(59.0))


@pytest.mark.parametrize(
    "data",
    [
        PLAIN,
        text("Zeit;Temp. [°C];rel. Feuchte [%]", "{at};{t:.2f};{h:.1f}").replace(".", ","),
        text("date\ttemp_c\thumidity", "{at}\t{t:.2f}\t{h:.1f}"),
        "Logger 7\nserial, 12\n\n" + PLAIN,
        text("Date,T (°F),Humidity %", "{at},{t:.3f},{h:.1f}").replace("x", ""),
    ],
    ids=["plain", "commas", "tabs", "preamble", "unit"],
)
def test_files_of_many_makers_say_the_same(data: str) -> None:
    if "°F" in data:
        lines = data.splitlines()
        turned = []
        for line in lines[1:]:
            at, t, h = line.split(",")
            turned.append(f"{at},{float(t) * 1.8 + 32:.2f},{h}")
        data = "\n".join([lines[0], *turned])
    assert good(read(data))


def test_byte_order_marks_and_wide_characters_are_read() -> None:
    assert good(read(b"\xef\xbb\xbf" + PLAIN.encode()))
    assert good(read(PLAIN.encode("utf-16")))


def test_a_date_and_a_clock_in_two_columns_are_one_time() -> None:
    data = text("Date,Time,Temp C,RH", "{at},{t:.2f},{h:.1f}", "%d.%m.%Y,%H:%M:%S")
    assert good(read(data))


def test_half_days_of_twelve_hours_are_read() -> None:
    data = text("Time,Temp C,RH", "{at},{t:.2f},{h:.1f}", "%m/%d/%Y %I:%M %p")
    assert good(read(data))


def test_a_date_that_could_be_either_is_asked_for() -> None:
    lines = ["Time,Temp C,RH"] + [f"0{n + 1}/02/2025 12:00,18.{n},50" for n in range(6)]
    with pytest.raises(LogError, match="day first or month first"):
        read("\n".join(lines))
    days = read("\n".join(lines), day_first="yes")
    months = read("\n".join(lines), day_first="no")
    assert days.hours.sum() == pytest.approx(24 * 5)
    assert months.hours.sum() > 24 * 140


def test_fahrenheit_without_a_unit_is_asked_for_and_never_guessed() -> None:
    data = PLAIN.replace("Temperature (C)", "Temperature").replace(",1", ",6")
    with pytest.raises(LogError, match="Fahrenheit"):
        read(data)
    assert read(data, unit="F").temperature_c.max() < 22
    with pytest.raises(LogError, match=r"says C: is it Fahrenheit.*--unit F"):
        read(PLAIN.replace(",1", ",6"))
    assert "names no unit" in " ".join(read(PLAIN.replace(" (C)", "")).notes)


def test_humidity_as_a_share_is_taken_so_and_said() -> None:
    data = text("Time,Temp C,RH", "{at},{t:.2f},{h:.1f}").splitlines()
    share = [data[0]] + [
        ",".join([*line.split(",")[:2], f"{float(line.split(',')[2]) / 100:.4f}"])
        for line in data[1:]
    ]
    log = read("\n".join(share))
    assert good(log) and "share of 1" in " ".join(log.notes)


def test_swapped_columns_are_caught() -> None:
    with pytest.raises(LogError, match="swapped"):
        read(text("Time,Temperature C,RH %", "{at},{h:.1f},{t:.2f}"))
    assert good(read(text("Time,RH,Temp C", "{at},{h:.1f},{t:.2f}")))


def test_a_dry_winter_swapped_is_caught_and_a_store_that_is_so_can_be_named() -> None:
    """Humidity of a heated room, 30 to 33 %, stands where the temperature should."""
    rows = [f"2025-01-31 {h:02d}:00,{30 + h / 8:.1f},{20 + h / 24:.1f}" for h in range(24)]
    data = "\n".join(["Time,Temp C,RH %", *rows])
    with pytest.raises(LogError, match="look swapped"):
        read(data)
    assert read(data, columns="1,2,3").temperature_c.min() == pytest.approx(30.0)
    assert read(data, columns="1,3,2").temperature_c.min() == pytest.approx(20.0)


def test_columns_without_names_are_asked_for_with_what_there_is() -> None:
    nameless = text("", "{at},{t:.2f},{h:.1f}")
    with pytest.raises(LogError, match="--columns"):
        read(nameless)
    assert good(read(nameless, columns="1,2,3"))


def test_duplicates_gaps_disorder_and_nonsense_are_told_and_nothing_else_is_lost() -> None:
    lines = PLAIN.splitlines()
    odd = [
        *lines,
        lines[5],
        "2025-01-30 03:30,999,50",
        "2025-02-01 99:00,18,50",
        "2025-02-02 10:00,,",
    ]
    odd[10], odd[20] = odd[20], odd[10]
    odd += ["2025-03-01 00:00,18.0,50.0", "2025-03-01 01:00,18.0,50.0"]
    log = read("\n".join(odd))
    said = " ".join(log.notes)
    for words in (
        "already read",
        "impossible value",
        "not in order",
        "one gap holds",
        "passed over",
    ):
        assert words in said, words
    assert log.hours.sum() == pytest.approx(61.0, abs=1.1)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "no rows"),
        (b"\x00\x01\x02\x03" * 50, "no text file"),
        (b"hello\nworld\n", "no columns"),
        (b"a,b,c\n1,2,3\n4,5,6\n", "no row with a time"),
    ],
)
def test_what_is_no_log_is_refused_with_a_sentence(data: bytes, says: str) -> None:
    with pytest.raises(LogError, match=says):
        read(data)


def test_a_formula_is_a_text_and_no_more() -> None:
    log = read(PLAIN + '\n=HYPERLINK("x"),18.0,50.0')
    assert good(log)
