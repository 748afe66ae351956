"""Workers end with the process that began them, also when it was killed."""

from __future__ import annotations

import signal
import subprocess
import sys
import time

import psutil

RUN = """
import sys
from quirewell.jobs.runner import Runner
if __name__ == "__main__":
    runner = Runner(2)
    for job in [runner.submit("os.getpid"), runner.submit("os.getpid")]:
        print(job.wait().result, flush=True)
    print(runner.limited.call("os.getpid").result, flush=True)
    sys.stdin.read()
"""


def test_workers_of_a_killed_process_end(tmp_path) -> None:  # type: ignore[no-untyped-def]
    script = tmp_path / "run.py"
    script.write_text(RUN)
    parent = subprocess.Popen(
        [sys.executable, str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert parent.stdout is not None and parent.stdin is not None
        workers = [psutil.Process(int(parent.stdout.readline())) for _ in range(3)]
        assert all(worker.is_running() for worker in workers)
        parent.send_signal(signal.SIGKILL)
        parent.wait(20)
        until = time.monotonic() + 60
        while any(map(_lives, workers)) and time.monotonic() < until:
            time.sleep(0.05)
        assert not [worker.pid for worker in workers if _lives(worker)]
    finally:
        parent.kill()
        parent.stdin.close()
        parent.stdout.close()


def _lives(worker: psutil.Process) -> bool:
    return worker.is_running() and worker.status() != psutil.STATUS_ZOMBIE
