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
