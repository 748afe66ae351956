"""A backup in a process of its own, out of the way of whoever works: low in the queue for the
processor and last for the disk. It prints what became of it as one line of JSON.

``python -m quirewell.studio.keep_run FOLDER``
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
from pathlib import Path
from typing import Any

import psutil

from quirewell.studio.faults import StudioError
from quirewell.studio.keep_make import keep_now
from quirewell.studio.keep_place import PlaceMissing


def stand_back() -> None:
    """Let everybody else go first, as far as the system knows how."""
    with contextlib.suppress(OSError):
        os.nice(10)
    with contextlib.suppress(AttributeError, OSError, psutil.Error):
        psutil.Process().ionice(psutil.IOPRIO_CLASS_IDLE)


def run(folder: Path) -> dict[str, Any]:
    """Make a backup; what it did, or in words why not."""
    try:
        return {"ok": True, **keep_now(folder).as_json()}
    except StudioError as error:
        return {"ok": False, "says": str(error), "missing": isinstance(error, PlaceMissing)}


def main() -> None:
    """The process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    stand_back()
    print(json.dumps(run(Path(sys.argv[1]))))


if __name__ == "__main__":
    main()
