"""Run every benchmark and write its figures to ``benchmarks/results.json``.

Ratios against a peer in the same run are what count: seconds depend on the machine.
"""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path

HERE = Path(__file__).parent
NAMES = (
    "intake",
    "measure",
    "leaf",
    "compare",
    "field",
    "colour",
    "ink_mask",
    "halftone",
    "relief",
    "scanner",
    "bath",
    "outlook",
    "press",
    "press_calibration",
    "rejoin",
    "staple_holes",
    "grade",
    "parcels",
    "worth",
    "weigh",
    "bench_plan",
    "bench_shop",
    "bench_page",
)


def main() -> None:
    """Run the named benchmarks, or all of them."""
    sys.path.insert(0, str(HERE))
    target = HERE / "results.json"
    results = json.loads(target.read_text()) if target.exists() else {}
    for name in sys.argv[1:] or NAMES:
        print(f"benchmark {name} ...", file=sys.stderr)
        results[name] = importlib.import_module(name).bench()
    target.write_text(json.dumps(results, indent=2, sort_keys=True) + "\n", encoding="utf-8")
    print(json.dumps(results, indent=2, sort_keys=True))


if __name__ == "__main__":
    main()
