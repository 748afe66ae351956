"""Counts what is tried against the doors, and what was met as it must be, for ``make attacks``."""

from __future__ import annotations

import json
import os
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

# Set by ``make attacks`` to the file that is to be written.
WRITES = "QUIREWELL_ATTACKS_RESULTS"


class Tally:
    """``tried`` and ``held`` by kind of trick; ``routes`` walked."""

    def __init__(self) -> None:
        self.tried: Counter[str] = Counter()
        self.held: Counter[str] = Counter()
        self.routes = 0

    def count(self, kind: str, held: bool, what: object = "") -> None:
        """One try; a try that was not met as it must be fails the test there and then."""
        self.tried[kind] += 1
        self.held[kind] += held
        assert held, (kind, what)

    def write(self) -> None:
        """Write the figures where ``make attacks`` wants them."""
        target = os.environ.get(WRITES, "")
        if not target or not self.tried:
            return
        told = {
            "at": datetime.now(UTC).strftime("%Y-%m-%d"),
            "routes": self.routes,
            "requests": self.tried.total(),
            "met_as_they_must": self.held.total(),
            "got_through": self.tried.total() - self.held.total(),
            "by_kind": {kind: self.tried[kind] for kind in sorted(self.tried)},
        }
        Path(target).write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


TALLY = Tally()
