"""Taking originals in beside plain copying and hashing, and the same into a store elsewhere.

The peer copies every file durably (written, synced, renamed, folder synced) while it takes its
SHA-256. The studio's own folder should take about as long; a folder elsewhere reads everything
back, so it takes longer by that. The store is a test server of S3 on this machine, written in
Python: its time says only that nothing waits for long, not how fast a real store is.
"""

from __future__ import annotations

import hashlib
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROUNDS, FILES, FILE_BYTES = 5, 20, 12_000_000


def bench() -> dict[str, Any]:
    """Median seconds for the files, and ratio to the peer of the same round, by place."""
    sys.path.insert(0, str(HERE.parent / "tests"))
    from store_server import SERVER

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sources = _files(folder / "scans")
        places: dict[str, Callable[[int], Any]] = {"own folder": lambda n: _own(folder / f"own{n}")}
        places["shared folder"] = lambda n: _shared(folder / f"shared{n}", folder / f"share{n}")
        said = _times(places, sources, folder)
        if SERVER.is_file():
            said["S3 test server"] = _s3(sources, folder)
        return {"files": FILES, "file_mb": FILE_BYTES / 1e6, "load": os.getloadavg()[0], **said}


def _files(folder: Path) -> list[Path]:
    folder.mkdir()
    for number in range(FILES):
        (folder / f"{number}.tif").write_bytes(os.urandom(FILE_BYTES))
    return sorted(folder.iterdir())


def _times(
    places: dict[str, Callable[[int], Any]], sources: list[Path], folder: Path
) -> dict[str, Any]:
    ratios: dict[str, list[float]] = {name: [] for name in places}
    times: dict[str, list[float]] = {name: [] for name in ("plain copy", *places)}
    for number in range(ROUNDS):
        peer = _timed(lambda target=folder / f"copy{number}": _copy_and_hash(sources, target))
        times["plain copy"].append(peer)
        for name, make in places.items():
            blobs = make(number)
            took = _timed(lambda blobs=blobs: [blobs.put(source) for source in sources])
            times[name].append(took)
            ratios[name].append(took / peer)
    return {
        name: {"s": statistics.median(took)}
        | ({"ratio": statistics.median(ratios[name])} if name in ratios else {})
        for name, took in times.items()
    }


def _timed(work: Callable[[], Any]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _copy_and_hash(sources: list[Path], target: Path) -> None:
    target.mkdir()
    for source in sources:
        digest = hashlib.sha256()
        with source.open("rb") as stream, (target / "part").open("xb") as out:
            while chunk := stream.read(1 << 20):
                digest.update(chunk)
                out.write(chunk)
            out.flush()
            os.fsync(out.fileno())
        (target / "part").replace(target / digest.hexdigest())
        handle = os.open(target, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)


def _own(folder: Path) -> Any:
    from quirewell.studio.originals import Originals

    (folder / "originals").mkdir(parents=True)
    return Originals(folder)


def _shared(folder: Path, share: Path) -> Any:
    from quirewell.studio.moving_originals import move_originals

    blobs = _own(folder)
    move_originals(blobs, str(share))
    return blobs


def _s3(sources: list[Path], folder: Path) -> dict[str, float]:
    from fsspec import filesystem

    from quirewell.studio.moving_originals import move_originals
    from store_server import BUCKET, credentials, s3_server

    with s3_server(folder / "server.log") as port:
        os.environ.update(credentials(port))
        filesystem("s3", skip_instance_cache=True).mkdir(BUCKET)
        blobs = _own(folder / "own-s3")
        move_originals(blobs, f"s3://{BUCKET}/originals")
        return {"s": _timed(lambda: [blobs.put(source) for source in sources])}


if __name__ == "__main__":
    import json

    print(json.dumps(bench(), indent=1))
