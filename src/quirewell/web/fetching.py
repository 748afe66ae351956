"""Work that begins once the originals it needs are on this machine."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence

from quirewell.jobs.batch import Batch, Call
from quirewell.studio import log
from quirewell.studio.faults import StudioError
from quirewell.web.desk import InHand, Measuring, Work
from quirewell.web.house import House

TITLE = "Fetching pictures"


class Fetching:
    """Originals that lie elsewhere are fetched in a thread of the server, then the batch begins."""

    def __init__(
        self, hashes: Sequence[str], fetch: Callable[[str], object], start: Callable[[], Batch]
    ) -> None:
        self._hashes = hashes
        self._done = 0
        self._failures: tuple[str, ...] = ()
        self._over = False
        self._ended = False
        self._batch: Measuring | None = None
        self._thread = threading.Thread(target=self._run, args=(fetch, start), daemon=True)
        self._thread.start()

    def _run(self, fetch: Callable[[str], object], start: Callable[[], Batch]) -> None:
        try:
            for sha256 in self._hashes:
                if self._ended:
                    break
                fetch(sha256)
                self._done += 1
            if self._ended:  # What was not done is offered again.
                self._failures = (f"{TITLE}: the server was stopped before the work began",)
            else:
                self._batch = Measuring(start())
        except (StudioError, OSError) as error:
            self._failures = (f"{TITLE}: {error}",)
        except Exception as error:
            log.fault(error, job="fetching")
            self._failures = (f"{TITLE}: a fault of the program ({type(error).__name__})",)
            raise
        finally:
            self._over = True

    def end(self, timeout_s: float) -> None:
        """Fetch no further picture and begin no batch."""
        self._ended = True
        self._thread.join(timeout_s)

    def work(self) -> Work:
        """Where the fetching stands, then where the batch does."""
        if self._batch is not None:
            return self._batch.work()
        total = len(self._hashes)
        says = f"{TITLE}: {self._done} of {total}"
        return Work(says, self._done, total, not self._over, self._failures)


def begun(house: House, hashes: Iterable[str], start: Callable[[], Batch]) -> InHand:
    """The batch of ``start``, and before it the fetching of what is not on this machine."""
    blobs = house.studio.blobs
    missing = [sha256 for sha256 in dict.fromkeys(hashes) if not blobs.near(sha256)]
    return Fetching(missing, blobs.path, start) if missing else Measuring(start())


def hashes_of(calls: Iterable[Call]) -> list[str]:
    """Hashes of the originals that calls of methods (method, subject, files, inputs, params)
    read."""
    return [sha256 for call in calls for _, _, sha256 in call.arguments[3]]
