"""Evidence beside independent programs: GTC for budgets, statsmodels for tests and intervals."""

from __future__ import annotations

import json
import subprocess
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from quirewell.science.evidence.budget_many import observed_together, propagate_many
from quirewell.science.evidence.decimals import Array
from quirewell.science.evidence.equivalence import paired_equivalence, sign_test
from quirewell.science.evidence.line import fit
from quirewell.science.evidence.proportion import exact, wilson
from quirewell.science.evidence.uncertainty import Budget, BudgetTerm, rectangular
from quirewell.science.evidence.variance import one_way

ROOT = Path(__file__).parents[2]
PEERS = ROOT / ".venv-peers" / "bin" / "python"
# Readings of JCGM 100 H.2 and H.3 (``jcgm100``), from memory.
JOINT = [
    ["5.007", "4.994", "5.005", "4.990", "4.999"],
    ["19.663", "19.639", "19.640", "19.685", "19.678"],
    ["1.0456", "1.0438", "1.0468", "1.0428", "1.0433"],
]
LINE = [
    ["1.521", "2.012", "2.512", "3.003", "3.507", "3.999", "4.513", "5.002", "5.503", "6.010",
     "6.511"],
    ["-.171", "-.169", "-.166", "-.159", "-.164", "-.165", "-.156", "-.157", "-.159", "-.161",
     "-.160"],
]  # fmt: skip


def _given() -> dict[str, Any]:
    rng = np.random.default_rng(71)
    pairs = []
    for size in (2, 3, 5, 8, 12, 30, 100):
        before = rng.normal(168, 2, size)
        after = before + rng.normal(0.1, 0.2, size)
        pairs.append({"before": before.tolist(), "after": after.tolist(), "margin": 0.25})
    groups = [rng.normal(rng.normal(0, 1, (5, 1)), 1, (5, 4)).tolist() for _ in range(5)]
    signs = [rng.integers(-2, 3, 12).tolist() for _ in range(20)]
    counts = [(hits, n, level) for n in (1, 5, 12, 40) for hits in range(0, n + 1, max(1, n // 5))
              for level in (0.90, 0.95)]  # fmt: skip
    return {
        "pairs": pairs, "groups": groups, "signs": [one for one in signs if any(one)],
        "counts": counts, "joint": [[float(v) for v in row] for row in JOINT],
        "line": [[float(v) for v in row] for row in LINE],
    }  # fmt: skip


@pytest.mark.peers
def test_evidence_is_what_independent_programs_find(tmp_path: Path) -> None:
    given = _given()
    (tmp_path / "in.json").write_text(json.dumps(given))
    subprocess.run(
        [PEERS, Path(__file__).with_name("evidence_oracle.py"), tmp_path / "in.json",
         tmp_path / "out.json"],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    theirs = json.loads((tmp_path / "out.json").read_text())
    for one, p in zip(given["pairs"], theirs["tost"], strict=True):
        differences = [a - b for b, a in zip(one["before"], one["after"], strict=True)]
        assert paired_equivalence(differences, one["margin"]).p == pytest.approx(p, rel=1e-9)
    for (hits, n, level), ends in zip(given["counts"], theirs["limits"], strict=True):
        ours = [*exact(hits, n, level), *wilson(hits, n, level)]
        assert ours == pytest.approx(ends, abs=1e-12)
    for signs, p in zip(given["signs"], theirs["signs"], strict=True):
        assert sign_test([0] * len(signs), signs).p == pytest.approx(p, rel=1e-12)
    for groups, f in zip(given["groups"], theirs["anova"], strict=True):
        assert one_way(groups).f == pytest.approx(f, rel=1e-10)
    _budgets(theirs)


def _budgets(theirs: dict[str, Any]) -> None:
    length = 50.000623e6
    gauge = Budget((
        BudgetTerm("standard", 25.0, 18), BudgetTerm("repeat", 5.8, 24),
        BudgetTerm("random", 3.9, 5), BudgetTerm("systematic", 6.7, 8),
        BudgetTerm("expansion", length * 0.1 * rectangular(1e-6), 50),
        BudgetTerm("temperature", length * 11.5e-6 * rectangular(0.05), 2),
    ))  # fmt: skip
    assert (gauge.u, gauge.dof) == (
        pytest.approx(theirs["h1"][1], rel=1e-9), pytest.approx(theirs["h1"][2], rel=1e-9)
    )  # fmt: skip

    def circuit(at: Array) -> Array:
        ohms = 1000 * at[0] / at[1]
        return np.array([ohms * np.cos(at[2]), ohms * np.sin(at[2]), ohms])

    read = observed_together([[Decimal(v) for v in row] for row in JOINT])
    found = propagate_many(circuit, read)
    values, u, across = theirs["h2"]
    assert found.values == pytest.approx(values, rel=1e-12)
    assert found.u == pytest.approx(u, rel=1e-6)
    ours = [found.correlation(a, b) for a, b in ((0, 1), (0, 2), (1, 2))]
    assert ours == pytest.approx(across, rel=1e-6)
    line = fit(*([Decimal(v) for v in row] for row in LINE))
    mine = [line.intercept, line.u_intercept, line.slope, line.u_slope, line.r, *line.at(10.0)]
    assert mine == pytest.approx(theirs["h3"], rel=1e-9)
