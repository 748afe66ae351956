"""Files from outside are opened here: in a process that may be lost.

A worker of its own (:mod:`quirewell.jobs.fences`) does one call at a time. Whatever a decoder
does there, crash, loop, ask for all the memory there is or try to start other programs, costs
that call and nothing else: it comes back as a sentence, the worker is replaced, the server goes
on. What comes back is read by a reader that knows plain values, arrays and our own frozen records
only, so that a worker turned against us cannot hand over a program either.
"""

from __future__ import annotations

import importlib
import io
import multiprocessing
import os
import pickle
import queue
import signal
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import is_dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from quirewell.jobs.fences import fence_in
from quirewell.jobs.worker import Answer, carry_out, pin_threads, prepare
from quirewell.studio.image_kind import ImageError

LIMIT_S = 600.0
# A worker is renewed after so many calls: what a broken decoder left in its memory goes with it.
CALLS_EACH = 500
STARTING_S = 120.0
_MOST_BYTES = 4 << 30
_ARRAYS = {
    (module, name)
    for core in ("numpy.core", "numpy._core")
    for module, name in (
        (f"{core}.numeric", "_frombuffer"), (f"{core}.multiarray", "_reconstruct"),
        (f"{core}.multiarray", "scalar"),
    )
} | {("numpy", "ndarray"), ("numpy", "dtype")}  # fmt: skip

SLOW = "it took longer than {limit:g} s and was ended; save it anew, or scan it again"
_BROKE = (
    "what opens it broke down on it ({how}); it is damaged, or made to do harm: save it anew, or "
    "scan it again"
)
_HOW = {
    signal.SIGSEGV: "a fault in memory", signal.SIGBUS: "a fault in memory",
    signal.SIGABRT: "a fault in memory", signal.SIGILL: "a fault in the decoder",
    signal.SIGFPE: "a fault in the decoder", signal.SIGXFSZ: "it wrote too much",
    signal.SIGKILL: "ended by the system, most likely for want of memory",
}  # fmt: skip


class LimitedWorkers:
    """At most ``count`` limited worker processes, started when first needed. Safe to share
    between threads. ``preload`` names modules that each imports before it is fenced in."""

    def __init__(self, count: int = 2, preload: Sequence[str] = ()) -> None:
        self._free: queue.LifoQueue[_Worker] = queue.LifoQueue()
        self._all = [_Worker(tuple(preload)) for _ in range(count)]
        for worker in self._all:
            self._free.put(worker)

    def call(self, task: str, *arguments: Any, limit_s: float = LIMIT_S) -> Answer:
        """The answer of a task by its dotted name; waits for it. Never raises for what the task
        did: its error, its death and its lateness are words."""
        worker = self._free.get()
        try:
            return worker.call(task, arguments, limit_s)
        finally:
            self._free.put(worker)

    def opened(self, task: str, path: str, *arguments: Any) -> Any:
        """What a task gives for the file at ``path``.

        Raises:
            ImageError: in a sentence with the file's name, whatever became of it.
        """
        answer = self.call(task, path, *arguments)
        if answer.ok:
            return answer.result
        name = Path(path).name
        if answer.expected and name in answer.error and not answer.error.startswith("["):
            raise ImageError(answer.error)
        says = answer.error if answer.expected else _BROKE.format(how=answer.error)
        raise ImageError(f"{name} could not be opened: {says}")

    def close(self) -> None:
        """End the workers."""
        for worker in self._all:
            worker.end()


class _Worker:
    """One process and the pipe to it."""

    def __init__(self, preload: tuple[str, ...]) -> None:
        self._preload = preload
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._calls = 0

    def call(self, task: str, arguments: tuple[Any, ...], limit_s: float) -> Answer:
        if self._calls >= CALLS_EACH:
            self.end()
        try:
            pipe = self._started()
            pipe.send_bytes(pickle.dumps((task, arguments)))
        except (OSError, EOFError):
            self.end()
            return Answer(error="no worker could be started to open it; try again", ok=False)
        self._calls += 1
        late = threading.Event()
        watch = threading.Timer(limit_s, self._give_up, (self._process, late))
        watch.daemon = True
        watch.start()
        try:
            return _received(pipe)
        except (OSError, EOFError, pickle.UnpicklingError, ValueError, MemoryError) as error:
            how = self.end()
            if late.is_set() or how == signal.SIGXCPU:
                return Answer(error=SLOW.format(limit=limit_s), ok=False)
            if isinstance(error, MemoryError):
                return Answer(error="it needs more memory than there is", ok=False)
            return Answer(error=_BROKE.format(how=_HOW.get(how, "it ended")), ok=False)
        finally:
            watch.cancel()

    def _started(self) -> Connection:
        if self._pipe is not None and self._process is not None and self._process.is_alive():
            return self._pipe
        self.end()
        pin_threads()
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, self._preload), daemon=True)
        self._process.start()
        theirs.close()
        self._pipe, self._calls = ours, 0
        if not ours.poll(STARTING_S):
            raise OSError("the worker does not start")
        ours.recv_bytes(64)
        return ours

    @staticmethod
    def _give_up(process: BaseProcess | None, late: threading.Event) -> None:
        late.set()
        _kill(process)

    def end(self) -> signal.Signals:
        """End the process, if there is one; by which signal it ended."""
        process, self._process = self._process, None
        pipe, self._pipe = self._pipe, None
        if pipe is not None:
            pipe.close()
        if process is None:
            return signal.SIGTERM
        process.join(0.5)
        _kill(process)
        process.join()
        code = process.exitcode or 0
        return signal.Signals(-code) if code < 0 else signal.SIGTERM


def _kill(process: BaseProcess | None) -> None:
    """Kill a worker, and with it what it may have started."""
    if process is None or process.pid is None:
        return
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
    with suppress(ValueError):
        process.kill()


def _serve(pipe: Connection, preload: tuple[str, ...]) -> None:
    """The worker: answer call after call until the pipe is closed."""
    with suppress(OSError):
        os.setsid()
    prepare()
    for name in preload:
        importlib.import_module(name)
    fence_in()
    _say_nothing()
    pipe.send_bytes(b"ready")
    with suppress(EOFError, OSError):
        while True:
            task, arguments = pickle.loads(pipe.recv_bytes())
            _send(pipe, carry_out(task, arguments))


def _say_nothing() -> None:
    """Decoders talk of what is odd in a file; a hostile one would fill the server's log."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    os.close(nowhere)


def _send(pipe: Connection, answer: Answer) -> None:
    """An answer, its arrays as they lie in memory."""
    arrays: list[pickle.PickleBuffer] = []
    body = pickle.dumps(answer, protocol=5, buffer_callback=arrays.append)
    raw = [array.raw() for array in arrays]
    pipe.send_bytes(pickle.dumps([part.nbytes for part in raw]))
    pipe.send_bytes(body)
    for part in raw:
        if part.nbytes:
            pipe.send_bytes(part)


def _received(pipe: Connection) -> Answer:
    sizes = _Reader(io.BytesIO(pipe.recv_bytes(1 << 16))).load()
    body = pipe.recv_bytes(_MOST_BYTES)
    if not isinstance(sizes, list) or sum(sizes) > _MOST_BYTES:
        raise pickle.UnpicklingError("not an answer")
    arrays = [bytearray(size) for size in sizes]
    for part in arrays:
        if part:
            pipe.recv_bytes_into(part)
    answer = _Reader(io.BytesIO(body), buffers=arrays).load()
    if not isinstance(answer, Answer):
        raise pickle.UnpicklingError("not an answer")
    return answer


class _Reader(pickle.Unpickler):
    """Reads plain values, arrays and our own frozen records; nothing that could be run."""

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) in _ARRAYS:
            return super().find_class(module, name)
        if module.startswith("quirewell.") and "." not in name:
            found = super().find_class(module, name)
            if isinstance(found, type) and is_dataclass(found):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is no part of an answer")
