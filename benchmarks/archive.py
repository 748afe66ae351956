"""Making an archive beside plain copying and hashing of the same originals, in the same run.

The peer copies every original durably and takes its SHA-256 while it does (one reading). What the
archive adds is the journal, record, tables, manifests, and that everything is read back and
hashed once more. Tiles are made apart, per megapixel, since no copy has them. The wish is that
making takes at most twice the time of the peer.
"""

from __future__ import annotations

import hashlib
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROUNDS = 3


def bench() -> dict[str, Any]:
    """Rows by size of the originals: seconds, ratio to the peer, peak megabytes."""
    sys.path.insert(0, str(HERE))
    sys.path.insert(0, str(HERE.parent / "tests"))
    with tempfile.TemporaryDirectory() as folder:
        return {
            "24 originals of 12 MB": _case(Path(folder) / "large", 24, 2000),
            "60 originals of 0.8 MB": _case(Path(folder) / "small", 60, 500),
            "tiles": _tiles(Path(folder) / "tiles"),
            "load": {"at_the_end": os.getloadavg()[0]},
        }


def _studio(folder: Path, count: int, side_px: int) -> Path:
    """A studio with measured pages, whose originals are ``count`` pictures of noise."""
    import numpy as np
    import tifffile

    from quirewell.record.nouns import Capture
    from report_case import add, report_studio

    rng = np.random.default_rng(36)
    picture = folder / "scan.tif"
    folder.mkdir()
    with report_studio(folder / "home", pairs=4) as studio:
        for number in range(count):
            pixels = rng.integers(0, 255, (side_px, side_px, 3), dtype=np.uint8)
            tifffile.imwrite(picture, pixels, photometric="rgb")
            sha256 = studio.blobs.put(picture)
            capture = Capture(
                f"scan-{number}", sha256, f"{number}.tif", "image/tiff", side_px, side_px,
                picture.stat().st_size,
            )  # fmt: skip
            add(studio, "annual", ("capture.added", capture))
    picture.unlink()
    return folder / "home"


def _case(folder: Path, count: int, side_px: int) -> dict[str, float]:
    from peak import fresh_peak_mb, peak_mb

    from quirewell.exchange.make import Wish, make

    home = _studio(folder, count, side_px)
    ratios, copies, makes = [], [], []
    before = fresh_peak_mb()
    for number in range(ROUNDS):
        start = time.perf_counter()
        copied = _copy_and_hash(home / "originals", folder / f"copy-{number}")
        copies.append(time.perf_counter() - start)
        start = time.perf_counter()
        made = make(home, folder / f"bag-{number}", Wish(tiles=False))
        makes.append(time.perf_counter() - start)
        assert made.originals_bytes == copied
        ratios.append(makes[-1] / copies[-1])
    return {
        "originals_mb": copied / 1e6,
        "copy_and_hash_s": statistics.median(copies),
        "make_s": statistics.median(makes),
        "times_copy_and_hash": statistics.median(ratios),
        "peak_mb_above_start": peak_mb() - before,
    }


def _copy_and_hash(source: Path, target: Path) -> int:
    total = 0
    for place in sorted(source.glob("??/*")):
        there = target / place.parent.name / place.name
        there.parent.mkdir(parents=True, exist_ok=True)
        digest = hashlib.sha256()
        with place.open("rb") as read, there.open("xb") as write:
            while chunk := read.read(1 << 20):
                digest.update(chunk)
                write.write(chunk)
            write.flush()
            os.fsync(write.fileno())
        assert digest.hexdigest() == place.name
        total += place.stat().st_size
    return total


def _tiles(folder: Path) -> dict[str, float]:
    from quirewell.exchange.make import Wish, make

    home = _studio(folder, 12, 2000)
    seconds = {}
    for tiles in (False, True):
        start = time.perf_counter()
        make(home, folder / f"bag-{tiles}", Wish(tiles=tiles))
        seconds[tiles] = time.perf_counter() - start
    megapixels = 12 * 2000 * 2000 / 1e6
    return {"megapixels": megapixels, "s_per_mpx": (seconds[True] - seconds[False]) / megapixels}


if __name__ == "__main__":
    for name, row in bench().items():
        print(name, {key: round(value, 3) for key, value in row.items()})
