"""``make fuzz``: every door, thousands of bad files, requests and stories; figures at the end.

    python tests/fuzz/run.py [--files 10000] [--only images,csv,cgats,toml,json,web,journal]

Writes ``tests/fuzz/results.json``. Exit 1 when anything but "read" and "refused" was found; what
was found is then left in a folder that is named.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from fuzz import files  # noqa: E402
from fuzz.readers import by_kind  # noqa: E402
from quirewell.jobs.limited import LimitedWorkers  # noqa: E402

TEXTS = ("csv", "cgats", "toml", "json")
DOORS = ("images", *TEXTS, "web", "journal")
RESULTS = HERE / "results.json"


def main() -> int:
    """Run what is asked for; the exit code."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--files", type=int, default=10_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default=",".join(DOORS))
    given = asked.parse_args()
    made: dict[str, Any] = {}
    bad = False
    for door in given.only.split(","):
        figures, faults = _run(door, given.files, given.seed)
        made[door] = {"on": f"{datetime.now(UTC):%Y-%m-%d}", "seed": given.seed, **figures}
        bad = bad or bool(faults)
        _keep(door, faults)
    if not bad:
        before = json.loads(RESULTS.read_text()) if RESULTS.is_file() else {}
        said = before | made
        RESULTS.write_text(json.dumps(said, indent=1, sort_keys=True) + "\n")
    return int(bad)


def _run(door: str, count: int, seed: int) -> tuple[dict[str, Any], list[tuple[str, str, bytes]]]:
    if door == "web":
        from fuzz.web_run import run_web

        return run_web(seed)
    if door == "journal":
        from fuzz.journal_run import run_journal

        return run_journal()
    if door == "images":
        workers = LimitedWorkers(1)
        try:
            found = files.images(workers, count, seed, _tell)
        finally:
            workers.close()
    else:
        found = files.texts(door, by_kind()[door], count, seed)
    line = ", ".join(f"{name}: {n}" for name, n in sorted(found.did.items()))
    other = found.as_json()["other"]
    print(f"\r{door}: {found.files} files, {line}, other: {other}, "
          f"slowest {found.slowest_s:.2f} s, {found.seconds:.0f} s in all")  # fmt: skip
    return found.as_json(), found.faults


def _tell(done: int) -> None:
    if sys.stdout.isatty():
        print(f"\rimages: {done}", end="", flush=True)


def _keep(door: str, faults: list[tuple[str, str, bytes]]) -> None:
    if not faults:
        return
    folder = Path(tempfile.mkdtemp(prefix="quirewell-fuzz-found-"))
    for number, (reader, says, data) in enumerate(faults):
        (folder / f"{number:03d}").write_bytes(data)
        print(f"  {door}: {reader}: {says[:200]} ({folder}/{number:03d})")


if __name__ == "__main__":
    sys.exit(main())
