"""Inside a worker process: one thread a library, a cap on memory, errors as words."""

from __future__ import annotations

import importlib
import multiprocessing
import os
import resource
import signal
import threading
from dataclasses import dataclass
from typing import Any

from quirewell.studio.log import frames, kinds

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
MEMORY_SHARE = 0.6
LEAST_MEMORY_BYTES = 4 << 30


@dataclass(frozen=True, slots=True)
class Answer:
    """What a task gave: its result, or in words why there is none.

    ``expected`` tells a fault of the input (a sentence for the person) from one of ours.
    """

    result: Any = None
    error: str = ""
    expected: bool = True
    ok: bool = True
    # Where in the code a fault of ours came from; never what was worked on.
    kind: str = ""
    stack: tuple[str, ...] = ()


def pin_threads() -> None:
    """Let workers started from here use one thread a library; set before numpy is loaded."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")


def prepare() -> None:
    """Set up a worker: leave Ctrl-C to the parent, cap the memory, keep no picture of its memory
    when it dies, one thread for pictures, and end with the parent."""
    _end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    pin_threads()
    _cap_memory()
    import cv2

    cv2.setNumThreads(1)


def _end_with_parent() -> None:
    """End this process when the one that began it is gone, killed too: a worker that waits for
    its next call would never hear of it, and hold its memory for good."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _cap_memory() -> None:
    physical = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    cap = max(LEAST_MEMORY_BYTES, int(physical * MEMORY_SHARE))
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard == resource.RLIM_INFINITY or cap < hard:
        resource.setrlimit(resource.RLIMIT_AS, (cap, hard))


def find_task(name: str) -> Any:
    """The function a dotted name ("package.module.function" or "package.module:function") means.

    Raises:
        LookupError: there is no such function.
    """
    module_name, _, function_name = name.replace(":", ".").rpartition(".")
    try:
        return getattr(importlib.import_module(module_name), function_name)
    except (ImportError, AttributeError, ValueError) as error:
        raise LookupError(f"no task {name!r}: {error}") from error


def carry_out(name: str, arguments: tuple[Any, ...], limit_s: float = 0.0) -> Answer:
    """Run a task; an error becomes words, so that one bad picture never stops a run.

    After ``limit_s`` seconds (0 for no limit) the system ends the process, whatever holds it.
    """
    signal.setitimer(signal.ITIMER_REAL, limit_s)
    try:
        return Answer(find_task(name)(*arguments))
    except MemoryError:
        return Answer(error="this picture needs more memory than there is", ok=False)
    except (ValueError, OSError) as error:
        return Answer(error=str(error) or type(error).__name__, ok=False)
    except Exception as error:
        says = f"{type(error).__name__}: {error}"
        return Answer(error=says, expected=False, ok=False, kind=kinds(error), stack=frames(error))
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
