"""A worker that may be lost: whatever a task does there costs that call only."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from quirewell.jobs.limited import LimitedWorkers
from quirewell.jobs.runner import Runner
from quirewell.studio.image_kind import ImageError

SAYS = {
    "crash": "broke down on it (a fault in memory)",
    "die": "it",
    "loop": "took longer than 2 s",
    "sleep_long": "took longer than 2 s",
    "hungry": "more memory than there is",
}


@pytest.fixture(scope="module")
def workers() -> Iterator[LimitedWorkers]:
    made = LimitedWorkers(1)
    yield made
    made.close()


@pytest.mark.parametrize("task", SAYS)
def test_a_task_that_goes_wrong_fails_alone_and_in_words(workers, task):
    began = time.monotonic()
    answer = workers.call(f"job_tasks.{task}", limit_s=2)
    assert not answer.ok and SAYS[task] in answer.error
    assert time.monotonic() - began < 60
    assert workers.call("job_tasks.double", 4).result == 8


@pytest.mark.skipif(sys.platform != "linux", reason="the filter of system calls is Linux's")
@pytest.mark.parametrize("task", ["fork_away", "start_program", "call_home"])
def test_no_new_process_no_other_program_no_network(workers, task):
    answer = workers.call(f"job_tasks.{task}", limit_s=20)
    assert not answer.ok and "not permitted" in answer.error
    assert workers.call("job_tasks.double", 4).result == 8


def test_it_writes_no_long_file(workers, tmp_path):
    answer = workers.call("job_tasks.write_much", str(tmp_path / "long"), limit_s=20)
    assert not answer.ok
    assert (tmp_path / "long").stat().st_size == 0
    assert workers.call("job_tasks.double", 4).result == 8


def test_arrays_come_back_as_they_are_and_can_be_written_to(workers):
    pixels, *rest = workers.call("job_tasks.arrays", 100_000).result
    assert np.array_equal(pixels, np.arange(100_000, dtype=np.uint16)) and pixels.flags.writeable
    assert rest == ["a word", None, (1.5, True)]
    assert workers.call("job_tasks.arrays", 0).result[0].size == 0


def test_a_worker_turned_against_us_hands_over_no_program(workers, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    answer = workers.call("job_tasks.hand_over")
    assert not answer.ok and "broke down" in answer.error
    assert not Path("handed-over").exists()
    assert workers.call("job_tasks.double", 4).result == 8


def test_a_worker_leaves_no_picture_of_its_memory(workers, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert workers.call("resource.getrlimit", 4).result == (0, 0)
    workers.call("job_tasks.crash")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_breaks_its_decoder_is_refused_by_name(workers):
    with pytest.raises(ImageError, match=r"^scan\.tif could not be opened: .*No such file"):
        workers.opened("os.listdir", "/nowhere/scan.tif")
    with pytest.raises(ImageError, match=r"^7 could not be opened: what opens it broke down"):
        workers.opened("job_tasks.crash_on", "7")


def test_a_call_of_the_runner_has_a_limit_in_time():
    with Runner(2) as runner:
        stuck = runner.submit("job_tasks.sleep_long", limit_s=1.5)
        others = [runner.submit("job_tasks.double", number) for number in range(4)]
        assert stuck.wait(60).state == "failed" and "longer than 1.5 s" in stuck.error
        assert [job.wait(60).result for job in others] == [0, 2, 4, 6]
