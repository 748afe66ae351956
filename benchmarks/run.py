"""Run every benchmark and write its figures to ``benchmarks/results.json``.

Ratios against a peer in the same run are what count: seconds depend on the machine.
"""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
TARGET = HERE / "results.json"
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
    "archive",
    "growth",
    "survey",
    "originals",
    "report",
)


def main() -> None:
    """Run the named benchmarks, or all of them."""
    sys.path.insert(0, str(HERE))
    for name in sys.argv[1:] or NAMES:
        print(f"benchmark {name} ...", file=sys.stderr)
        keep(name, importlib.import_module(name).bench())
    print(TARGET.read_text(encoding="utf-8"), end="")


def keep(name: str, figures: Any) -> None:
    """Write one benchmark's figures at once, beside what others have written by now."""
    results = json.loads(TARGET.read_text(encoding="utf-8")) if TARGET.exists() else {}
    results[name] = figures
    TARGET.write_text(json.dumps(results, indent=2, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
