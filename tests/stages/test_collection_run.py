"""A survey of a folder: planted truth, a zoo of bad files, going on after any stop."""

from __future__ import annotations

import csv
import errno
import json
import math
import os
import shutil
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from quirewell.jobs.engine import SerialEngine
from quirewell.jobs.worker import Answer
from quirewell.stages import collection_rows, collection_run
from quirewell.stages.collection_files import plain_name
from quirewell.stages.collection_rows import RowStore, write_csv
from quirewell.stages.collection_run import IN_FLIGHT_PER_WORKER, NotSurveyed, Survey
from quirewell.stages.measuring_said import BadParameter
from quirewell.stages.methods import run_method
from survey_case import scan, write


class Counting(SerialEngine):
    """Counts calls, and how many were ever under way at once; may do something before one."""

    def __init__(self, before: Any = None) -> None:
        super().__init__()
        self.calls: list[str] = []
        self.most = 0
        self._before = before

    def submit(self, key: str, task: str, arguments: tuple[Any, ...]) -> None:
        self.calls.append(Path(arguments[0]).name)
        super().submit(key, task, arguments)
        self.most = max(self.most, len(self._waiting))

    def take(self, timeout_s: float) -> tuple[str, Answer] | None:
        if self._before is not None:
            self._before()
        return super().take(timeout_s)


def survey(folder: Path, out: Path, engine: Any = None, **more: Any) -> dict[str, dict[str, Any]]:
    table = Survey(folder, out, **more).run(engine or SerialEngine())
    return {row["file"]: row for row in table.to_pylist()}


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Measure in no time: what is kept, and when, does not hang on what is measured."""
    monkeypatch.setattr(collection_run, "TASK", "survey_quick.measure")


def test_planted_sizes_losses_and_tones_come_back_with_their_bands(tmp_path: Path) -> None:
    truths = {}
    for seed in range(4):
        pixels, truths[f"w/{seed}.tif"] = scan(seed, dark=3.0 * seed)
        write(tmp_path / f"in/w/{seed}.tif", pixels)
    found = survey(tmp_path / "in", tmp_path / "out")
    assert sorted(found) == sorted(truths)
    for name, truth in truths.items():
        row = found[name]
        assert row["scale_source"] and row["error"] == "" and row["leaf_found"]
        for column, planted in (
            ("width_mm", truth.width_mm), ("height_mm", truth.height_mm),
            ("loss_mm2", truth.loss_mm2), ("tone_L", truth.tone_median[0]),
        ):  # fmt: skip
            assert abs(row[column] - planted) < 3 * row[f"{column}_u"], (name, column)
        share = 100 * truth.loss_mm2 / (truth.width_mm * truth.height_mm)
        assert row["loss_pct"] == pytest.approx(share, abs=3 * row["loss_pct_u"] + 0.01)
        assert 0 < row["tone_L_within_u"] < row["tone_L_u"]


def test_a_row_says_what_the_measuring_method_says(tmp_path: Path) -> None:
    path = write(tmp_path / "in/a.tif", scan(5)[0])
    row = survey(tmp_path / "in", tmp_path / "out", params={"strip_length_mm": "159.8"})["a.tif"]
    run = run_method("leaf.measure", "image", {"image": path}, params={"strip_length_mm": "159.8"})
    said = {finding.quantity: finding for finding in run.findings}
    for column, quantity in (("width_mm", "leaf.width_mm"), ("loss_mm2", "leaf.loss_mm2"),
                             ("tone_b", "tone.b"), ("um_per_px", "scale.um_per_px")):  # fmt: skip
        assert (row[column], row[f"{column}_u"]) == (said[quantity].value, said[quantity].u)
    assert (row["method"], row["method_version"]) == (run.method, run.version)
    assert row["params"] == '{"strip_length_mm":"159.8"}' and row["left_out"] == "stains"
    assert tuple(row["warnings"]) == run.warnings


def test_without_a_scale_nothing_is_said_in_millimetres(tmp_path: Path) -> None:
    write(tmp_path / "in/a.tif", scan(1)[0], dpi=72)
    row = survey(tmp_path / "in", tmp_path / "out")["a.tif"]
    assert row["scale_source"] == "none" and row["width_px"] > 100 and row["tone_L"] > 50
    mm = [k for k in row if "_mm" in k or k == "tears"]
    assert len(mm) > 8 and all(row[name] is None for name in mm)
    assert "pixels only" in row["size_says"]


def bomb(pixels: int) -> bytes:
    """A small PNG that claims to be ``pixels`` wide and high."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(
            ">I", zlib.crc32(kind + data))  # fmt: skip

    head = struct.pack(">IIBBBBB", pixels, pixels, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", b"x") + chunk(b"IEND", b"")


def zoo(folder: Path) -> dict[str, str]:
    """Bad files of every kind in ``folder``, and a word that each one's row must hold."""
    good = write(folder / "good.tif", scan(2)[0])
    data = good.read_bytes()
    (folder / "short.tif").write_bytes(data[: len(data) // 2])
    (folder / "empty.tif").write_bytes(b"")
    (folder / "notes.txt").write_text("no picture")
    (folder / "=1+1.tif").write_text("=SUM(A1)")
    (folder / "bomb.png").write_bytes(bomb(100_000))
    os.mkfifo(folder / "pipe.tif")
    (folder / "nowhere.tif").symlink_to(folder / "gone.tif")
    (folder / "round.tif").symlink_to(folder / "round.tif")
    (folder / "sub").mkdir()
    (folder / "sub/up").symlink_to(folder)
    write(folder / "blank.tif", np.full((200, 160, 3), 40, np.uint8))
    return {
        "short.tif": "cut short", "empty.tif": "empty", "notes.txt": "not a picture",
        "=1+1.tif": "not a picture", "bomb.png": "megapixels", "pipe.tif": "pipe",
        "nowhere.tif": "nowhere", "round.tif": "circle", "sub/up": "met before",
    }  # fmt: skip


def test_every_bad_file_is_a_row_with_words_and_stops_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    words = zoo(folder)
    shutil.copy(folder / "good.tif", folder / "twin.tif")
    odd = os.fsencode(folder) + b"/caf\xe9.tif"
    shutil.copy(os.fsencode(folder / "good.tif"), odd)
    with open(odd, "ab") as stream:  # noqa: PTH123 (a name that is no text)
        stream.write(b"\0")
    out = folder / "out"
    out.mkdir()
    found = survey(folder, out)
    for name, word in words.items():
        assert word in found[name]["error"], (name, found[name]["error"])
        assert found[name]["width_mm"] is None
    assert "results of this survey" in found["out"]["error"]
    assert found["blank.tif"]["error"] == "" and not found["blank.tif"]["leaf_found"]
    assert found["twin.tif"]["same_as"] == "good.tif"
    assert found["twin.tif"]["width_mm"] == found["good.tif"]["width_mm"]
    assert found["caf\\xe9.tif"]["width_mm"] == found["good.tif"]["width_mm"]
    assert len(found) == len(words) + 5


def test_no_two_names_become_the_same_text() -> None:
    names = [os.fsdecode(name) for name in (b"a\xe9", b"a\\xe9", b"a\\\\xe9", b"a\xc3\xa9")]
    assert len({plain_name(name) for name in names}) == 4


@pytest.mark.usefixtures("quick")
def test_same_files_are_measured_once(tmp_path: Path) -> None:
    for name in ("a.tif", "b.tif", "c.tif"):
        (tmp_path / "in").mkdir(exist_ok=True)
        (tmp_path / "in" / name).write_bytes(b"one" if name != "b.tif" else b"two")
    engine = Counting()
    found = survey(tmp_path / "in", tmp_path / "out", engine)
    assert engine.calls == ["a.tif", "b.tif"]
    assert [found[name]["same_as"] for name in sorted(found)] == ["", "", "a.tif"]


@pytest.mark.usefixtures("quick")
def test_only_a_few_calls_are_under_way(tmp_path: Path) -> None:
    folder = many(tmp_path / "in", 40)
    engine = Counting()
    survey(folder, tmp_path / "out", engine)
    assert len(engine.calls) == 40 and engine.most == IN_FLIGHT_PER_WORKER


def many(folder: Path, count: int) -> Path:
    folder.mkdir()
    for number in range(count):
        (folder / f"{number:04d}.tif").write_bytes(b"%d" % number)
    return folder


@pytest.mark.usefixtures("quick")
def test_a_file_that_vanishes_in_mid_run_is_tried_again_next_time(tmp_path: Path) -> None:
    folder = many(tmp_path / "in", 3)
    gone = folder / "0001.tif"
    found = survey(folder, tmp_path / "out", Counting(lambda: gone.unlink(missing_ok=True)))
    assert "went away" in found["0001.tif"]["error"] and found["0002.tif"]["error"] == ""
    gone.write_bytes(b"1")
    engine = Counting()
    found = survey(folder, tmp_path / "out", engine)
    assert engine.calls == ["0001.tif"] and found["0001.tif"]["error"] == ""


class Stopped(BaseException):
    """What ends a run between two rows."""


@pytest.mark.usefixtures("quick")
def test_a_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    folder, out = many(tmp_path / "in", 30), tmp_path / "out"
    whole = survey(folder, tmp_path / "other")
    left = [7]

    def stop() -> None:
        left[0] -= 1
        if left[0] < 0:
            raise Stopped

    with pytest.raises(Stopped):
        survey(folder, out, Counting(stop))
    engine = Counting()
    assert survey(folder, out, engine) == whole
    assert len(engine.calls) == 23
    engine = Counting()
    assert survey(folder, out, engine) == whole and engine.calls == []


@pytest.mark.usefixtures("quick")
def test_what_changed_is_measured_again_and_what_was_renamed_is_not(tmp_path: Path) -> None:
    folder, out = many(tmp_path / "in", 5), tmp_path / "out"
    survey(folder, out)
    (folder / "0003.tif").rename(folder / "renamed.tif")
    (folder / "0001.tif").write_bytes(b"changed")
    os.utime(folder / "0002.tif", ns=(1, 1))
    engine = Counting()
    found = survey(folder, out, engine)
    assert engine.calls == ["0001.tif"]
    assert "0003.tif" not in found and found["renamed.tif"]["tone_L"] == 3.0
    assert found["0001.tif"]["tone_L"] == 7.0
    engine = Counting()
    survey(folder, out, engine, params={"dpi": "300"})
    assert len(engine.calls) == 5


@pytest.mark.usefixtures("quick")
def test_a_half_is_measured_as_its_name_says_and_anew_when_the_name_is_put_right(
    tmp_path: Path,
) -> None:
    folder, out = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    left = folder / "w03-outer-left-before.tif"
    left.write_bytes(b"5")
    assert survey(folder, out)[left.name]["panel"] == "left"
    right = left.rename(folder / "w03-outer-right-before.tif")
    engine = Counting()
    found = survey(folder, out, engine)
    assert engine.calls == [right.name] and found[right.name]["panel"] == "right"
    assert found[right.name]["warnings"][-1] == "panel right"
    engine = Counting()
    survey(folder, out, engine)
    assert engine.calls == []


@pytest.mark.usefixtures("quick")
def test_a_failure_that_lies_in_the_file_is_not_tried_again_unless_asked(tmp_path: Path) -> None:
    folder, out = many(tmp_path / "in", 2), tmp_path / "out"
    (folder / "bad.tif").write_bytes(b"bad")
    assert "cut short" in survey(folder, out)["bad.tif"]["error"]
    engine = Counting()
    assert "cut short" in survey(folder, out, engine)["bad.tif"]["error"] and not engine.calls
    survey(folder, out, engine, again=True)
    assert engine.calls == ["bad.tif"]


def test_a_row_that_is_on_the_disk_stays_when_ctrl_c_comes_while_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = RowStore(tmp_path)
    row = dict.fromkeys(("file", "sha256", "error"), "") | {"bytes": 1, "mtime_ns": 1}
    store.add(row | {"file": "a"})
    monkeypatch.setattr(collection_rows, "_SYNC_S", -1.0)

    def stop(_: int) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as within:
        within.setattr(collection_rows.os, "fsync", stop)
        with pytest.raises(KeyboardInterrupt):
            store.add(row | {"file": "b"})
    store.seal()
    assert [name for table in store.tables() for name in table["file"].to_pylist()] == ["a", "b"]


def test_rows_survive_a_line_cut_short_and_a_damaged_part(tmp_path: Path) -> None:
    store = RowStore(tmp_path)
    row = dict.fromkeys(("file", "sha256", "error"), "") | {"bytes": 1, "mtime_ns": 1}
    store.add(row | {"file": "a"})
    store.add(row | {"file": "b"})
    assert store._stream is not None
    store._stream.close()  # as the end of the process does
    with (tmp_path / "open.jsonl").open("a") as stream:
        stream.write('{"file": "c", "sha')
    again = RowStore(tmp_path)
    assert [len(table) for table in again.tables()] == [2]
    part = again.parts()[0]
    part.write_bytes(part.read_bytes()[:-40])
    assert list(RowStore(tmp_path).tables()) == []
    assert part.with_suffix(".damaged").exists()


@pytest.mark.usefixtures("quick")
def test_a_spreadsheet_takes_no_cell_for_a_formula(tmp_path: Path) -> None:
    folder = many(tmp_path / "in", 1)
    for name in ("=cmd.tif", "+1.tif", "-2.tif", "@x.tif"):
        (folder / name).write_bytes(name.encode())
    table = Survey(folder, tmp_path / "out").run(SerialEngine())
    write_csv(tmp_path / "t.csv", table)
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as stream:
        lines = list(csv.DictReader(stream))
    assert sorted(line["file"] for line in lines) == ["'+1.tif", "'-2.tif", "'=cmd.tif", "'@x.tif",
                                                      "0000.tif"]  # fmt: skip
    assert all(float(line["tone_a"]) == -1.5 for line in lines)


def test_places_that_cannot_be_used_are_refused_in_a_sentence(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    with pytest.raises(NotSurveyed, match="cannot be looked into"):
        Survey(folder, tmp_path / "out")
    folder.mkdir()
    for out in (folder, tmp_path):
        with pytest.raises(NotSurveyed, match="another --out"):
            Survey(folder, out)
    with pytest.raises(BadParameter, match="dpi must be"):
        Survey(folder, tmp_path / "out", {"dpi": "7"})
    Survey(folder, tmp_path / "out").run(SerialEngine())
    other = tmp_path / "second"
    other.mkdir()
    with pytest.raises(NotSurveyed, match="holds the survey of"):
        Survey(other, tmp_path / "out").run(SerialEngine())


def test_two_surveys_do_not_write_to_one_place(tmp_path: Path) -> None:
    folder = many(tmp_path / "in", 1)
    first = Survey(folder, tmp_path / "out")
    with first._alone(), pytest.raises(NotSurveyed, match="another survey"):
        Survey(folder, tmp_path / "out").run(SerialEngine())


@pytest.mark.usefixtures("quick")
def test_a_full_disk_is_said_and_costs_no_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = many(tmp_path / "in", 4), tmp_path / "out"
    whole = survey(folder, tmp_path / "other")

    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as within:
        within.setattr(collection_rows, "write_whole", full)
        with pytest.raises(NotSurveyed, match="no room left"):
            survey(folder, out)
    engine = Counting()
    assert survey(folder, out, engine) == whole and engine.calls == []


@pytest.mark.usefixtures("quick")
def test_progress_tells_where_it_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(collection_run, "_TOLD_EVERY_S", 0.0)
    told: list[Any] = []
    survey(many(tmp_path / "in", 6), tmp_path / "out", on_standing=told.append)
    assert [one.done for one in told] == [*range(1, 7), 6] and told[-1].total == 6
    assert all(one.left_s is not None and math.isfinite(one.left_s) for one in told)
    assert json.loads((tmp_path / "out/survey.json").read_text())["folder"].endswith("/in")
