"""Whose unfinished file is whose: what a killed program left goes, what another writes stays."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from quirewell.studio import durable
from quirewell.studio.durable import clear_left, is_being_written, write_whole

SLEEPS = [sys.executable, "-c", "import time; print('up', flush=True); time.sleep(60)"]


@pytest.fixture
def other() -> Iterator[subprocess.Popen[str]]:
    made = subprocess.Popen(SLEEPS, stdout=subprocess.PIPE, text=True)
    assert made.stdout is not None and made.stdout.readline() == "up\n"
    yield made
    made.kill()
    made.wait()
    made.stdout.close()


def part_of(target: Path, process: int) -> Path:
    """The hidden name under which a process would write a target, made by that module itself."""
    write_whole(target, b"first")
    part = target.with_name(f"{durable._begins(target)}{process}-0123abcd.part")
    part.write_bytes(b"half")
    return part


def test_what_a_living_program_writes_stays(tmp_path: Path, other: subprocess.Popen[str]) -> None:
    part = part_of(tmp_path / "kept.json", other.pid)
    assert is_being_written(part, other.pid)
    assert clear_left(tmp_path / "kept.json") == 0 and part.exists()


def test_what_a_dead_program_left_goes(tmp_path: Path, other: subprocess.Popen[str]) -> None:
    part = part_of(tmp_path / "kept.json", other.pid)
    other.kill()
    time.sleep(0.2)
    assert not is_being_written(part, other.pid), "killed, and nobody has asked after it yet"
    other.wait()
    assert clear_left(tmp_path / "kept.json") == 1 and not part.exists()


def test_a_number_given_to_another_program_since_does_not_keep_it(
    tmp_path: Path, other: subprocess.Popen[str]
) -> None:
    part = part_of(tmp_path / "kept.json", other.pid)
    long_ago = time.time() - 3600
    os.utime(part, (long_ago, long_ago))
    assert not is_being_written(part, other.pid)
    assert clear_left(tmp_path / "kept.json") == 1 and not part.exists()
    assert (tmp_path / "kept.json").read_bytes() == b"first"
