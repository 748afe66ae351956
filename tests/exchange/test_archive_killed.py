"""Killed at any moment, a making leaves no archive and a reading leaves no studio."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from archive_case import archive_studio, journal_rows
from quirewell.exchange.look_over import check_archive
from quirewell.exchange.make import Wish, make
from quirewell.studio.check import check
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

# The child dies by SIGKILL inside its n-th system call of one kind.
CHILD = """
import os, signal, sys
from pathlib import Path
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive

count = int(sys.argv[1])

def dying(real):
    def call(*arguments, **named):
        global count
        count -= 1
        if count == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*arguments, **named)
    return call

os.fsync = dying(os.fsync)
Path.replace = dying(Path.replace)
if sys.argv[2] == "make":
    make(sys.argv[3], sys.argv[4], Wish(tiles=False))
else:
    read_archive(sys.argv[3], sys.argv[4])
print("finished", count, flush=True)
"""


def _run(count: int, *words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", CHILD, str(count), *map(str, words)],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


def _moments(total: int) -> list[int]:
    """A few early, the last three, and one between."""
    return sorted({1, total // 2, total - 2, total - 1, total})


@pytest.mark.slow
def test_a_making_cut_short_leaves_no_archive(tmp_path: Path) -> None:
    archive_studio(tmp_path / "home").close()
    whole = _run(10_000, "make", tmp_path / "home", tmp_path / "first")
    total = 10_000 - int(whole.stdout.split()[-1])
    for moment in _moments(total):
        target = tmp_path / f"bag-{moment}"
        died = _run(moment, "make", tmp_path / "home", target)
        assert died.returncode == -9, died.stderr
        if target.exists():  # killed after it got its name: then it is whole
            assert moment == total and check_archive(target).ok
    assert check(tmp_path / "home").ok


@pytest.mark.slow
def test_a_reading_cut_short_leaves_nothing_that_opens(tmp_path: Path) -> None:
    archive_studio(tmp_path / "home").close()
    make(tmp_path / "home", tmp_path / "bag", Wish(tiles=False))
    whole = _run(10_000, "read", tmp_path / "bag", tmp_path / "first")
    total = 10_000 - int(whole.stdout.split()[-1])
    for moment in _moments(total):
        place = tmp_path / f"new-{moment}"
        died = _run(moment, "read", tmp_path / "bag", place)
        assert died.returncode == -9, died.stderr
        folders = [place, *tmp_path.glob(f".{place.name}.*")]
        for folder in folders:
            if (folder / "studio.db").exists():  # then all of it is there
                assert check(folder).ok
                assert journal_rows(folder) == journal_rows(tmp_path / "home")
            else:
                with pytest.raises(StudioError, match="there is no studio"):
                    Studio.open(folder)
