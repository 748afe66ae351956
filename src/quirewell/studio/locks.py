"""A lock between processes of one machine, held on a local folder itself."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def locked(folder: Path, shared: bool = False) -> Iterator[None]:
    """Hold the folder's lock, with others (``shared``) or alone; let go when the process ends.

    No file is made for it. It holds between processes of one machine, which is all that is asked:
    what other machines do to a place they share needs none.
    """
    folder.mkdir(parents=True, exist_ok=True)
    handle = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.flock(handle, fcntl.LOCK_SH if shared else fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
