"""The search for a bench plan in a worker."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quirewell.record.codec import to_body
from quirewell.stages import bench_planning

TASK = "quirewell.stages.plan_job.search"


def search(params: Mapping[str, str]) -> dict[str, Any]:
    """Search for a plan (in a worker); the run as a body."""
    return to_body(bench_planning.ask(params))
