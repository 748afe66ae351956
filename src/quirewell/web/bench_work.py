"""A bench plan in a worker: told while it is looked for, and stopped with the best so far."""

from __future__ import annotations

from quirewell.stages import plan_search
from quirewell.web.planning import Planning

BENCH = "bench:plan"


class BenchPlanning(Planning):
    """One search for a bench plan."""

    task, told = plan_search.TASK, staticmethod(plan_search.told)
