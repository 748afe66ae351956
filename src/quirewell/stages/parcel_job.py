"""The search for a plan in a worker, told and stopped through two small files.

A worker cannot speak while it works: the best plan so far is written beside it, and a file called
``stop`` there asks it to take that one (between two cases of the search).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.codec import to_body
from quirewell.science.planning.parcel_search import Found
from quirewell.stages import parcelling

TASK = "quirewell.stages.parcel_job.search"
TOLD, STOP = "told.json", "stop"


def search(params: Mapping[str, str], folder: str) -> dict[str, Any]:
    """Search for a plan (in a worker); the run as a body."""
    place = Path(folder)

    def tell(found: Found) -> None:
        new = place / "told.new"
        new.write_text(json.dumps({"gain": found.gain, "gap": found.gap}), encoding="utf-8")
        new.replace(place / TOLD)

    return to_body(parcelling.ask(params, tell, (place / STOP).exists))


def told(folder: Path) -> str:
    """The best plan so far in words; empty before there is one."""
    try:
        held = json.loads((folder / TOLD).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return ""
    gap = held["gap"]
    much = "" if gap in (None, float("inf")) else f"; at most {100 * gap:.2g} % better is possible"
    return f"best so far gains {held['gain'] / 100:.2f}{much}"
