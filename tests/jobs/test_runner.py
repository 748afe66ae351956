"""The runner: order, errors as words, dying workers, cancel, one job a key."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from quirewell.jobs.batch import Call, Job, Progress
from quirewell.jobs.runner import Runner


@pytest.fixture(scope="module")
def runner() -> Iterator[Runner]:
    with Runner(2) as made:
        yield made


def test_results_come_in_the_order_given(runner: Runner) -> None:
    jobs = runner.map("job_tasks.double", [(number,) for number in range(8)])
    assert [job.result for job in jobs] == [0, 2, 4, 6, 8, 10, 12, 14]


def test_one_bad_picture_does_not_stop_the_run(runner: Runner) -> None:
    seen: list[Job] = []
    shown: list[Progress] = []
    jobs = runner.map(
        "job_tasks.refuse", [(number,) for number in range(6)], seen.append, shown.append
    )
    assert [job.state for job in jobs] == ["done"] * 3 + ["failed"] + ["done"] * 2
    assert jobs[3].error == "picture 3 is cut short" and jobs[3].expected
    assert sorted(job.result for job in seen) == [0, 1, 2, 4, 5]
    assert [(one.done, one.total) for one in shown] == [(n, 6) for n in range(1, 7)]
    assert shown[-1].state == "done" and shown[-1].failed == 1
    assert "1 could not be done" in shown[-1].says


def test_fault_of_ours_is_told_from_a_fault_of_the_picture(runner: Runner) -> None:
    job = runner.submit("job_tasks.blunder").wait(60)
    assert job.state == "failed" and not job.expected and "IndexError" in job.error
    lost = runner.submit("job_tasks.nothing_here").wait(60)
    assert lost.state == "failed" and "no task" in lost.error


def test_workers_use_one_thread_each(runner: Runner) -> None:
    assert runner.submit("job_tasks:threads").wait(60).result == ("1", 1)


def test_memory_beyond_the_cap_is_words(runner: Runner) -> None:
    job = runner.submit("job_tasks.hungry").wait(60)
    assert job.state == "failed" and "more memory" in job.error


def test_result_that_cannot_be_written_counts_as_failed(runner: Runner) -> None:
    def refuse(job: Job) -> None:
        raise OSError("the disk is full")

    batch = runner.start("writing", [Call("job_tasks.double", (2,), "wrap 1")], refuse)
    assert batch.wait(60).errors == ("wrap 1: the disk is full",)


def test_the_end_of_a_batch_comes_once_after_its_last_call_and_its_fault_is_told(
    runner: Runner,
) -> None:
    seen: list[object] = []
    calls = [Call("job_tasks.refuse", (number,), f"{number}") for number in range(5)]
    batch = runner.start("work", calls, seen.append, None, lambda: seen.append("end"))
    assert batch.wait(60).failed == 1
    assert seen[-1] == "end" and len(seen) == 5
    runner.start("nothing", [], None, None, lambda: seen.append("end")).wait(60)
    assert seen[-2:] == ["end", "end"]

    def refuse() -> None:
        raise OSError("the disk is full")

    batch = runner.start("writing", [Call("job_tasks.double", (2,))], None, None, refuse)
    assert batch.wait(60).errors == ("the disk is full",)


def test_killed_worker_is_replaced_and_its_call_tried_again(tmp_path: Path) -> None:
    with Runner(2) as runner:
        calls = [Call("job_tasks.die_once", (str(tmp_path / "mark"),), "poor one")]
        calls += [Call("job_tasks.double", (number,)) for number in range(6)]
        batch = runner.start("work", calls)
        assert batch.wait(120).failed == 0
        assert [job.result for job in batch.jobs] == ["alive", 0, 2, 4, 6, 8, 10]


def test_call_that_kills_twice_fails_alone(tmp_path: Path) -> None:
    with Runner(2) as runner:
        calls = [Call("job_tasks.double", (number,)) for number in range(4)]
        calls.insert(1, Call("job_tasks.die", (), "wrap 7"))
        batch = runner.start("work", calls)
        progress = batch.wait(120)
        assert (
            progress.failed == 1 and "wrap 7: the worker process died twice" in progress.errors[0]
        )
        assert [job.state for job in batch.jobs] == ["done", "failed", "done", "done", "done"]


def test_cancel_lets_the_begun_end_and_the_rest_never_begin(tmp_path: Path) -> None:
    mark = tmp_path / "go"
    with Runner(1) as runner:
        batch = runner.start("work", [Call("job_tasks.wait_for", (str(mark),))] * 4)
        runner.cancel(batch.id)
        mark.write_text("go")
        progress = batch.wait(60)
        assert progress.state == "cancelled" and progress.done == 4
        assert [job.state for job in batch.jobs] == ["done", "cancelled", "cancelled", "cancelled"]
        assert runner.batches()[0].says == "work: 4 of 4, stopped"


def test_same_key_is_one_job(tmp_path: Path) -> None:
    mark = tmp_path / "go"
    with Runner(1) as runner:
        first = runner.submit("job_tasks.wait_for", str(mark), key="k")
        assert runner.submit("job_tasks.wait_for", str(mark), key="k") is first
        mark.write_text("go")
        assert first.wait(60).result == "seen"
        assert runner.submit("job_tasks.wait_for", str(mark), key="k") is first


def test_failed_key_may_be_tried_again(runner: Runner) -> None:
    first = runner.submit("job_tasks.refuse", 3, key="bad").wait(60)
    assert runner.submit("job_tasks.refuse", 3, key="bad").wait(60) is not first


def test_closing_gives_up_what_waits(tmp_path: Path) -> None:
    runner = Runner(1)
    jobs = [runner.submit("job_tasks.wait_for", str(tmp_path / "never")) for _ in range(3)]
    runner.close()
    assert [job.wait(60).state for job in jobs] == ["cancelled"] * 3
    with pytest.raises(RuntimeError, match="closed"):
        runner.submit("job_tasks.double", 1)


def test_empty_batch_is_over_at_once(runner: Runner) -> None:
    assert runner.start("nothing", []).wait(5).state == "done"
