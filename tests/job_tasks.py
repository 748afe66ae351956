"""Tasks that the tests of the runner call by dotted name."""

from __future__ import annotations

import os
import signal
from pathlib import Path


def double(number: int) -> int:
    return 2 * number


def refuse(number: int) -> int:
    if number == 3:
        raise ValueError("picture 3 is cut short")
    return number


def blunder() -> int:
    return [][1]


def threads() -> tuple[str, int]:
    import cv2

    return os.environ["OMP_NUM_THREADS"], cv2.getNumThreads()


def die_once(mark: str) -> str:
    """Kill the worker the first time; answer the second."""
    if not Path(mark).exists():
        Path(mark).write_text("died")
        os.kill(os.getpid(), signal.SIGKILL)
    return "alive"


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def wait_for(mark: str) -> str:
    """Answer once a file is there (a minute at most)."""
    import time

    for _ in range(6000):
        if Path(mark).exists():
            return "seen"
        time.sleep(0.01)
    raise TimeoutError(mark)


def hungry() -> int:
    return len(bytearray(1 << 46))


def bookkeep(
    method: str,
    subject: str,
    files: dict[str, str],
    inputs: tuple[tuple[str, str, str], ...],
    params: dict[str, str],
) -> dict[str, object]:
    """A run without findings, as the measuring task leaves one; wrap 2 cannot be measured."""
    from quirewell.record.codec import to_body
    from quirewell.record.finding import Input, Run

    if subject.startswith("w02") and method == "leaf.measure":
        raise ValueError("no leaf was found in the picture")
    assert all(Path(path).is_file() for path in files.values())
    name = f"{method}-{subject}-{'-'.join(entry[1] for entry in inputs)}"
    made = tuple(Input(*entry) for entry in inputs)
    return to_body(Run(name, method, 1, "exact", subject, made, dict(params)))


def spin_within(seconds):
    """Work without end under a limit of processor time."""
    from quirewell.studio.images import cpu_limit

    with cpu_limit(seconds):
        while True:
            pass


def crash():
    """Read where there is nothing."""
    import ctypes

    return ctypes.string_at(8)


def loop():
    while True:
        pass


def sleep_long():
    import time

    time.sleep(600)


def fork_away():
    return os.fork()


def start_program():
    import subprocess

    return subprocess.run(["/bin/true"], check=True).returncode


def call_home():
    import socket

    with socket.socket() as one:
        one.connect(("127.0.0.1", 9))


def write_much(path):
    """Write more than a limited worker may."""
    with Path(path).open("wb") as out:
        out.seek(8 << 30)
        out.write(b"x")


class Handed:
    """What a worker turned against us might hand over: a call of a function of its choice."""

    def __reduce__(self):
        return os.mkdir, ("handed-over",)


def hand_over():
    return Handed()


def arrays(count):
    import numpy as np

    return [np.arange(count, dtype=np.uint16), "a word", None, (1.5, True)]


def crash_on(path):
    return crash()


def wider(
    method: str,
    subject: str,
    files: dict[str, str],
    inputs: tuple[tuple[str, str, str], ...],
    params: dict[str, str],
) -> dict[str, object]:
    """A run with a width, or with a change of it, as the measuring task leaves one."""
    from quirewell.record.codec import to_body
    from quirewell.record.finding import Finding, Input, Run

    name = f"{method}-{subject}-{'-'.join(entry[1] for entry in inputs)}"
    found = Finding(f"{name}.0", "leaf.width_mm", subject, 194.0, 0.1, "mm")
    if method == "pair.compare":
        change = 0.1 if subject.startswith("w01") else 0.13
        found = Finding(f"{name}.0", "change.width_pct", subject, change, 0.05, "%")
    made = tuple(Input(*entry) for entry in inputs)
    return to_body(Run(name, method, 1, "exact", subject, made, dict(params), (found,)))
