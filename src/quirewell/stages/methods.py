"""Registered methods: pure measurements that can be run again years later.

A method takes files (by role) and text parameters and returns an :class:`Outcome`. It knows
no studio and no clock, so the same call gives the same findings: in a worker process while
measuring, and in ``recheck`` long afterwards.
"""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from quirewell.record.canonical import canonical
from quirewell.record.finding import Finding, Input, RecheckKind, Run

_MODULES = (
    "measuring",
    "comparing",
    "bathing",
    "characterising",
    "calibrating",
    "relieving",
    "reserving",
    "ledgering",
    "dosing",
    "watering",
    "outlooking",
    "adhesives",
    "treating_heat",
    "press_calibrating",
    "pressing",
    "ironing",
    "damping",
    "drying",
    "hole_finding",
    "aligning",
    "ordering",
    "creeping",
    "folding",
    "parcelling",
    "bench_planning",
    "returns_view",
    "grading",
    "worthing",
    "weighing",
    "bidding",
    "accounting",
    "memory",
    "trial_sizing",
    "proving_change",
    "proving_steps",
    "proving_readings",
    "trial_verdict",
    "later_compare",
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a method found: findings (ids not yet set), warnings, and geometry to draw."""

    findings: tuple[Finding, ...]
    warnings: tuple[str, ...] = ()
    drawing: dict[str, str] = field(default_factory=dict)


MethodFunction = Callable[[Mapping[str, Path], Mapping[str, str]], Outcome]


@dataclass(frozen=True, slots=True)
class Method:
    """A registered method: ``id`` and ``version`` name it in every finding it leaves."""

    id: str
    version: int
    kind: RecheckKind
    function: MethodFunction
    says: str


METHODS: dict[str, Method] = {}


def method(id: str, version: int, kind: RecheckKind) -> Callable[[MethodFunction], MethodFunction]:
    """Register a function as a method; its docstring's first line says what it does."""

    def register(function: MethodFunction) -> MethodFunction:
        says = (function.__doc__ or "").strip().splitlines()[0]
        METHODS[id] = Method(id, version, kind, function, says)
        return function

    return register


def find_method(id: str) -> Method:
    """The method called ``id``.

    Raises:
        KeyError: when no such method is registered; the message lists those that are.
    """
    if id not in METHODS:
        for name in _MODULES:
            importlib.import_module(f"quirewell.stages.{name}")
    if id not in METHODS:
        raise KeyError(f"no method {id!r}; there are {', '.join(sorted(METHODS))}")
    return METHODS[id]


def run_method(
    id: str,
    subject: str,
    files: Mapping[str, Path],
    inputs: tuple[Input, ...] = (),
    params: Mapping[str, str] | None = None,
) -> Run:
    """Run a method and give its findings their ids, derived from all that went in."""
    chosen = find_method(id)
    texts = dict(params or {})
    outcome = chosen.function(files, texts)
    seed: dict[str, Any] = {
        "method": id,
        "version": chosen.version,
        "subject": subject,
        "params": texts,
        "inputs": [[entry.role, entry.ref, entry.sha256] for entry in inputs],
    }
    run_id = "r" + hashlib.sha256(canonical(seed).encode()).hexdigest()[:15]
    findings = tuple(
        replace(finding, id=f"{run_id}.{index}", subject=finding.subject or subject)
        for index, finding in enumerate(outcome.findings)
    )
    return Run(
        run_id,
        id,
        chosen.version,
        chosen.kind,
        subject,
        inputs,
        texts,
        findings,
        outcome.warnings,
        outcome.drawing,
    )
