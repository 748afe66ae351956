"""``make crash``: kill the program at random moments and look for anything that was lost.

Each child is a process of its own and dies by SIGKILL: at a moment drawn from a seeded generator
over the length of the operation, or at a named point (before, inside or after a sync, a rename, a
commit, halfway through a write). After each kill the same studio is opened, checked whole and
used further, so that faults would add up; four studios are worked on at a time, since most of
the time a disk is waited for. What counts as acknowledged is what the parent read from the
child's pipe, the command's own line, or the server's answer, before the kill.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from crash.bench import Bench

RESULTS = Path(__file__).with_name("results.json")
WANTED = {
    "intake": 90, "save": 110, "web": 70, "cli": 30, "private": 20, "migration": 50,
    "backup": 30, "backup folder": 24, "restore": 50, "archive make": 40, "archive read": 40,
}  # fmt: skip
FAULTS = ("lost", "broken_chains", "saved_twice", "half_files", "other_faults", "processes_left")
SEED = 19360412
STUDIOS = 4


def main() -> int:
    """Kill, count, print, write; 0 where nothing was lost."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--share", type=float, default=1.0, help="share of the usual kills")
    options.add_argument("--seed", type=int, default=SEED)
    options.add_argument("--kind", choices=sorted(WANTED), help="this kind of kill alone")
    options.add_argument("--no-results", action="store_true", help="do not write results.json")
    options.add_argument("--one", action="store_true", help="one studio, its facts as a line")
    asked = options.parse_args()
    kinds = [asked.kind] if asked.kind else list(WANTED)
    wanted = {kind: math.ceil(WANTED[kind] * asked.share) for kind in kinds}
    if asked.one:
        print(json.dumps(in_one_studio(wanted, asked.seed)))
        return 0
    kind = ["--kind", asked.kind] if asked.kind else []
    facts = in_several(asked.share, asked.seed, kind)
    print(json.dumps(facts, indent=1))
    if not (asked.no_results or asked.kind):
        said = {"date": datetime.now(UTC).date().isoformat(), "seed": asked.seed,
                "studios": STUDIOS, **facts}  # fmt: skip
        RESULTS.write_text(json.dumps(said, indent=1) + "\n", encoding="utf-8")
    enough = all(facts["kills_by_kind"].get(kind, 0) >= count for kind, count in wanted.items())
    return 0 if enough and not any(facts[name] for name in FAULTS) else 1


def in_one_studio(wanted: dict[str, int], seed: int) -> dict[str, Any]:
    """The facts of one studio that was killed at."""
    with tempfile.TemporaryDirectory(prefix="crash-") as held:
        say = lambda text: print(text, file=sys.stderr, flush=True)  # noqa: E731
        with Bench(Path(held), seed, say) as bench:
            bench.run(wanted)
            return bench.facts()


def in_several(share: float, seed: int, more: list[str]) -> dict[str, Any]:
    """The facts of several studios, each in a process of its own, added up."""
    words = [sys.executable, __file__, "--one", "--share", str(share / STUDIOS), *more]
    runs = [
        subprocess.Popen([*words, "--seed", str(seed + number)], stdout=subprocess.PIPE)
        for number in range(STUDIOS)
    ]
    parts = [json.loads(run.communicate()[0]) for run in runs]
    return {name: _added([part[name] for part in parts]) for name in parts[0]}


def _added(parts: list[Any]) -> Any:
    if not isinstance(parts[0], dict):
        return sum(parts)
    names = sorted({name for part in parts for name in part})
    return {name: sum(part.get(name, 0) for part in parts) for name in names}


if __name__ == "__main__":
    sys.exit(main())
