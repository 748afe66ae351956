"""Calls carried out by dask.distributed: on this machine by default, or at a scheduler's address.

What goes between dask's processes is pickle, which whoever can send it can run as code. So the
cluster made here listens on the loopback address only, with keys made for this one run (no
other person on the machine can connect), and a scheduler on another machine is asked for TLS
certificates.

Further workers are started so that each has one thread and the limits of our own workers:
``dask worker tls://HOST:8786 --nthreads 1 --preload quirewell.jobs.cluster``
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import io
import ipaddress
import logging
import math
import multiprocessing
import queue
import sys
import time
import uuid
import warnings
from collections import deque
from concurrent.futures import CancelledError
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from quirewell import __version__
from quirewell.jobs.engine import Closing, EngineLost
from quirewell.jobs.runner import DIED
from quirewell.jobs.worker import Answer, carry_out, pin_threads, prepare

_GONE = "the scheduler went away, so nothing more can be measured now; start it again"
CONNECT_S = 20.0
CLOSE_S = 15.0
_COUNT_EVERY_S = 5.0
_LOUD = ("distributed", "distributed.client", "tornado", "tornado.application", "asyncio")
_PRELOAD = "quirewell.jobs.cluster"
# A call whose worker died comes back at once (here it is tried again, alone); no page is
# served by scheduler or workers.
_NANNY = "distributed.nanny.pre-spawn-environ"
_SETTINGS = {
    "distributed.scheduler.allowed-failures": 0,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
    "distributed.worker.multiprocessing-method": "spawn",
    # Freed memory stays with a worker, up to 512 MB, instead of going back after each array: a
    # third of the time of a small picture (dask's own setting gives all of it back at once).
    f"{_NANNY}.MALLOC_TRIM_THRESHOLD_": 512 << 20,
    f"{_NANNY}.MALLOC_MMAP_THRESHOLD_": 64 << 20,
    # Also a worker begun in place of one that died says nothing of its own.
    f"{_NANNY}.DASK_LOGGING__DISTRIBUTED": "critical",
}


class NoCluster(ValueError):
    """A scheduler that is not or cannot be used; the message is a sentence."""


@dataclass(frozen=True, slots=True)
class Keys:
    """Files of a TLS certificate: who signed it (``ca``), the certificate, and its key."""

    ca: Path
    cert: Path
    key: Path


def check_address(address: str, keys: Keys | None, trusted: bool = False) -> None:
    """Refuse an address that is no scheduler's, or that would send pickles in the open.

    ``trusted`` says that a person vouches for the whole network between the machines.

    Raises
    ------
    NoCluster
        in a sentence that says what to give instead
    """
    scheme, host = _parts(address)
    if scheme == "tls" and keys is None:
        raise NoCluster(
            f"{address} speaks TLS, which needs certificates: give --tls-ca, --tls-cert and "
            "--tls-key with it"
        )
    if scheme == "tcp" and keys is not None:
        raise NoCluster(
            f"certificates were given, but {address} is not encrypted; give the scheduler's "
            "tls:// address, or leave the certificates out"
        )
    if scheme == "tcp" and not trusted and not _is_loopback(host):
        raise NoCluster(
            f"{address} is on another machine and not encrypted: whoever can reach that network "
            "could run programs on all the machines. Start the scheduler with certificates and "
            "give its tls:// address with --tls-ca, --tls-cert and --tls-key; or say "
            "--trust-network if nobody else can reach it"
        )
    for path in (keys.ca, keys.cert, keys.key) if keys is not None else ():
        if not path.is_file():
            raise NoCluster(f"there is no file {path}; give the certificate files' paths")


def _parts(address: str) -> tuple[str, str]:
    try:
        split = urlsplit(address)
        scheme, host, port = split.scheme, split.hostname or "", split.port
    except ValueError:
        scheme, host, port = "", "", None
    if scheme not in ("tcp", "tls") or not host or not port:
        raise NoCluster(
            f"a scheduler's address looks like tcp://127.0.0.1:8786 or tls://bench-two:8786, "
            f"got {address!r}"
        )
    return scheme, host


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class DaskEngine(Closing):
    """A dask cluster as an engine: one made here, or the one at ``address``.

    A call whose worker died is carried out again with nothing beside it, and fails when it dies
    twice so: dask may have had it only waiting on a worker that another call killed. Keys are
    explicit and used once: dask answers a known key from its memory.
    """

    def __init__(self, client: Any, cluster: Any = None) -> None:
        self._client, self._cluster = client, cluster
        self._run = uuid.uuid4().hex[:12]
        self._over: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._running: dict[Any, tuple[str, str, tuple[Any, ...], int]] = {}
        self._suspects: deque[tuple[str, str, tuple[Any, ...], int]] = deque()
        self._held: deque[tuple[str, str, tuple[Any, ...]]] = deque()
        self._count = 0
        self._threads, self._counted = 1, -math.inf

    @property
    def workers(self) -> int:
        """Threads of all workers that were there a moment ago."""
        if self._cluster is not None:
            return max(1, len(self._cluster.workers))
        if time.monotonic() - self._counted > _COUNT_EVERY_S:
            self._counted = time.monotonic()
            with contextlib.suppress(OSError, TimeoutError):
                self._threads = sum(self._client.nthreads().values())
        return max(1, self._threads)

    def submit(self, key: str, task: str, arguments: tuple[Any, ...]) -> None:
        """Send one call off; while a suspect is to run alone, keep it."""
        if self._alone():
            self._held.append((key, task, arguments))
        else:
            self._send(key, task, arguments, 0)

    def _alone(self) -> bool:
        """Whether a call waits or runs with nothing beside it."""
        return bool(self._suspects) or any(entry[3] for entry in self._running.values())

    def _send(self, key: str, task: str, arguments: tuple[Any, ...], deaths: int) -> None:
        self._count += 1
        future = self._client.submit(
            carry_out, task, arguments, key=f"quirewell-{self._run}-{self._count}", pure=False
        )
        self._running[future.key] = (key, task, arguments, deaths)
        future.add_done_callback(self._over.put)

    def take(self, timeout_s: float) -> tuple[str, Answer] | None:
        """The next answer; calls whose worker died wait until nothing else runs.

        Raises:
            EngineLost: the scheduler went away.
        """
        until = time.monotonic() + timeout_s
        while True:
            if self._suspects and not self._running:
                self._send(*self._suspects.popleft())
            while self._held and not self._alone():
                self._send(*self._held.popleft(), 0)
            try:
                future = self._over.get(timeout=max(until - time.monotonic(), 1e-3))
            except queue.Empty:
                self._still_there()
                return None
            answered = self._answer(future)
            if answered is not None:
                return answered

    def _answer(self, future: Any) -> tuple[str, Answer] | None:
        killed = _distributed().KilledWorker
        key, task, arguments, deaths = self._running.pop(future.key)
        try:
            return key, future.result(timeout=60)
        except killed:
            if deaths == 2:
                return key, Answer(error=DIED, ok=False)
            self._suspects.append((key, task, arguments, deaths + 1))
            return None
        except (CancelledError, asyncio.CancelledError):
            raise EngineLost(_GONE) from None
        except Exception as error:
            self._still_there()
            says = f"{type(error).__name__}: {error}"
            return key, Answer(error=says, expected=False, ok=False)
        finally:
            future.release()

    def _still_there(self) -> None:
        if self._client.status != "running":
            raise EngineLost(_GONE)

    def close(self) -> None:
        """Leave the cluster; end it if it was made here. Workers that do not end in time end
        with this process."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with contextlib.suppress(Exception):
                self._client.close(timeout=CLOSE_S)
            # One that could not be closed (its scheduler is gone) would try again, loudly, when it
            # is forgotten.
            self._client.status = "closed"
            if self._cluster is not None:
                with contextlib.suppress(Exception):
                    self._cluster.close(timeout=CLOSE_S)


def local_cluster(workers: int = 2) -> DaskEngine:
    """A cluster of worker processes on this machine: loopback, keys of its own, no dashboard.

    Raises
    ------
    NoCluster
        in a sentence, when it does not come up
    """
    if not 1 <= workers <= 64:
        raise NoCluster(f"workers must be between 1 and 64, got {workers}")
    pin_threads()
    distributed = _distributed()
    importlib.import_module("dask").config.set(_SETTINGS)
    try:
        cluster = distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address=None, security=distributed.Security.temporary(), memory_limit=0,
            silence_logs=logging.CRITICAL, preload=[_PRELOAD],
            scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
        )  # fmt: skip
    except Exception as error:
        raise NoCluster(
            f"the workers could not be started: {_first_line(_root(error))}; give the command "
            "again, or with --workers 1"
        ) from error
    return DaskEngine(distributed.Client(cluster), cluster)


def cluster_at(
    address: str, keys: Keys | None = None, *, folder: Path, trusted: bool = False
) -> DaskEngine:
    """The cluster whose scheduler listens at ``address``, once its workers are seen to be fit:
    they hold this version and see ``folder`` under the same path.

    Raises
    ------
    NoCluster
        in a sentence
    """
    check_address(address, keys, trusted)
    distributed = _distributed()
    security = None
    if keys is not None:
        security = distributed.Security(
            tls_ca_file=str(keys.ca), tls_client_cert=str(keys.cert), tls_client_key=str(keys.key),
            require_encryption=True,
        )  # fmt: skip
    try:
        client = distributed.Client(
            address, timeout=CONNECT_S, security=security, set_as_default=False
        )
    except Exception as error:
        raise NoCluster(
            f"no scheduler answers at {address} ({_first_line(error)}); start it with: "
            "dask scheduler --host 127.0.0.1 --no-dashboard, and the workers with it"
        ) from error
    engine = DaskEngine(client)
    try:
        _check_workers(client, address, folder)
    except BaseException:
        engine.close()
        raise
    return engine


def _check_workers(client: Any, address: str, folder: Path) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
        seen = client.run(look_about, str(folder))
    except TimeoutError:
        raise NoCluster(
            f"the scheduler at {address} has no workers; start one: dask worker {address} "
            f"--nthreads 1 --preload {_PRELOAD}"
        ) from None
    except Exception as error:
        raise NoCluster(
            f"the workers of {address} cannot run this program ({_first_line(error)}); install "
            f"quirewell {__version__} where they run"
        ) from error
    for worker, (version, sees) in seen.items():
        if version != __version__:
            raise NoCluster(
                f"the worker {worker} has quirewell {version}, here it is {__version__}; "
                "measure with one version"
            )
        if not sees:
            raise NoCluster(
                f"the worker {worker} does not see {folder}; the pictures must lie under the "
                "same path on every machine"
            )


def _distributed() -> Any:
    """dask.distributed, loaded when first needed (half a second), and quiet: what it has to say is
    said here in words."""
    loaded = importlib.import_module("distributed")
    for name in _LOUD:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    if sys.unraisablehook is not _last_words:
        _hooks.append(sys.unraisablehook)
        sys.unraisablehook = _last_words
    return loaded


_hooks: list[Any] = []


def _last_words(said: Any) -> None:
    """Pass over what dask's own objects say when they are forgotten after their cluster is gone
    or Ctrl-C was pressed; all else is said as before."""
    if not str(getattr(said.object, "__module__", "")).startswith("distributed"):
        _hooks[-1](said)


def _first_line(error: BaseException) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:200]


def _root(error: BaseException) -> BaseException:
    """What was first amiss: dask says of its own processes only that they failed to start."""
    met = {id(error)}
    while (cause := error.__cause__ or error.__context__) is not None and id(cause) not in met:
        met.add(id(cause))
        error = cause
    return error


def look_about(folder: str) -> tuple[str, bool]:
    """In a worker: the version there, and whether the folder is seen."""
    return __version__, Path(folder).is_dir()


_limited = False


def is_limited() -> bool:
    """Whether this is a worker process of a cluster under our own limits, one call at a time."""
    return _limited


def dask_setup(worker: Any) -> None:
    """Called by dask in each worker process as it starts (``--preload``): our own limits."""
    global _limited
    prepare()
    _limited = int(worker.state.nthreads) == 1
    if multiprocessing.parent_process() is not None:
        # A worker that is ended while another is just asked to close it prints a traceback of
        # dask's own; what becomes of a call is told by its answer. Logs keep their own stream.
        sys.stderr = io.StringIO()
