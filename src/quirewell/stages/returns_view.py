"""What was foreseen against what came back: a registered method, and the page's view of it.

Method ``returns.held``: parameter ``returned`` is a table (CSV) with the columns ``item``,
``grade`` (what came back) and ``chances`` (the estimate's chance of each step, "5:0.3 5.5:0.7").
Of each item: its ranked probability score (``epstein1969``, 0 is best), and whether the grade lies
in the band of whole steps that holds 80 % or more. Of all: how many did, between which counts
honest bands so wide lie in 95 of 100 cases (exact binomial, as if all held their mean chance),
and the mean of returned minus estimated with its 95 % half-width by Student's t.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy

from quirewell.record.bench import BenchState
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.science.condition.agreement import ranked_score
from quirewell.science.condition.returns import LEAST, SELECTION, honest_hits
from quirewell.science.condition.rules import TOP
from quirewell.science.condition.scale import TRADE
from quirewell.stages.methods import Outcome, method, run_method
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.returns_table import CameBack, came_back
from quirewell.stages.rule_table import read_scale
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import refuse_unknown

METHOD = "returns.held"
COLUMNS = ("item", "grade", "chances")
LEVEL = 0.8
POINTS = "points"


@dataclass(frozen=True, slots=True)
class Row:
    """One item: the grade that came back, and the chance each step of the scale had beforehand."""

    item: str
    grade: float
    steps: tuple[float, ...]
    chances: tuple[float, ...]

    @property
    def outcome(self) -> int:
        """The step that came back: the one its grade falls on, the lowest for all below it."""
        return max(0, sum(step <= self.grade + 1e-9 for step in self.steps) - 1)

    @property
    def band(self) -> tuple[int, int]:
        """First and last step of the band that holds ``LEVEL`` or more, a tenth off each end."""
        upto = np.cumsum(self.chances)
        edge = (1 - LEVEL) / 2
        low = int(np.searchsorted(upto, edge + 1e-9))
        return low, min(int(np.searchsorted(upto, 1 - edge - 1e-9)), len(self.steps) - 1)

    @property
    def mean(self) -> float:
        """Mean of the estimate [points]."""
        return float(np.dot(self.steps, self.chances))


@method(METHOD, 1, "exact")
def held(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """How well the grades that came back were foreseen: score, bands that held, bias."""
    refuse_unknown(params, ("returned",), f"{METHOD} knows no parameter")
    rows = read_returned(params.get("returned", ""))
    out: list[Finding] = []
    hits, within = 0, []
    for row in rows:
        low, high = row.band
        hit = low <= row.outcome <= high
        hits += hit
        within.append(sum(row.chances[low : high + 1]))
        note = f"band {row.steps[low]:g} to {row.steps[high]:g}, {'held' if hit else 'not held'}"
        out.append(Finding("", "returns.score", row.item, ranked_score(row.chances, row.outcome),
                           sources=("epstein1969",), note=note))  # fmt: skip
    off = np.array([row.grade - row.mean for row in rows])
    low_hits, high_hits = honest_hits(len(rows), min(float(np.mean(within)), 1.0))
    out += [
        Finding("", "returns.mean_score", "studio", float(np.mean([f.value for f in out])),
                sources=("epstein1969",), note="0 is best"),
        Finding("", "returns.hits", "studio", float(hits), 0.0, "",
                f"{hits} of {len(rows)} bands of 80 % or more (whole steps) held their grade; of "
                f"honest ones so wide {low_hits} to {high_hits} do"),
        _bias(off),
    ]  # fmt: skip
    says = _says(len(rows), hits, off, (low_hits, high_hits))
    out.append(Finding("", "returns.says", "studio", text=says))
    return Outcome(tuple(out), (SELECTION,))


def _bias(off: np.ndarray) -> Finding:
    mean = float(off.mean())
    note = "returned minus the mean of the estimate; u is that of the mean"
    if len(off) < 2:
        return Finding("", "returns.bias", "studio", mean, None, POINTS, note=note)
    u = float(off.std(ddof=1)) / math.sqrt(len(off))
    half = u * float(scipy.stats.t.ppf(0.975, len(off) - 1))
    return Finding("", "returns.bias", "studio", mean, u, POINTS,
                   f"{mean:+.2f} points, 95 % {mean - half:+.2f} to {mean + half:+.2f}",
                   note=note)  # fmt: skip


def _says(count: int, hits: int, off: np.ndarray, honest: tuple[int, int]) -> str:
    if count < LEAST:
        return (
            f"Not enough returns yet: {count} of {LEAST}. Nothing is corrected by so few, and what "
            f"is shown may be chance. {SELECTION}"
        )
    low, high = honest
    bands = "as many as honest bands would" if low <= hits <= high else (
        "fewer than honest bands would: the estimates are too sure of themselves"
        if hits < low else "more than honest bands would: they could be narrower"
    )  # fmt: skip
    mean = float(off.mean())
    half = float(off.std(ddof=1)) / math.sqrt(count) * float(scipy.stats.t.ppf(0.975, count - 1))
    if abs(mean) <= half:
        bias = "no bias can be told from chance"
    else:
        bias = (
            f"they come back {abs(mean):.2f} points {'lower' if mean < 0 else 'higher'} on average"
        )
    return f"{hits} of {count} came back inside their band, {bands}; {bias}. {SELECTION}"


def read_returned(text: str) -> tuple[Row, ...]:
    """Rows of returned grades.

    Raises:
        TableError: in a sentence with the number of the line.
    """
    out = []
    for line, row in read_rows(text, COLUMNS, COLUMNS, "a table of returned grades"):
        try:
            grade = float(number(row["grade"]))
            pairs = [part.partition(":")[::2] for part in row["chances"].split()]
            steps = sorted((float(number(step)), float(number(chance))) for step, chance in pairs)
        except Unreadable as error:
            raise TableError(f"line {line}: {error}; write chances as 5:0.3 5.5:0.7") from error
        if not 0 < grade <= TOP:
            raise TableError(f"line {line}: a grade lies above 0 and up to 10, got {grade:g}")
        whole = sum(chance for _, chance in steps)
        if not steps or any(chance < 0 for _, chance in steps) or abs(whole - 1) > 0.01:
            raise TableError(f"line {line}: chances are 0 or more and add up to 1, got {whole:g}")
        out.append(Row(row["item"][:80], grade, tuple(step for step, _ in steps),
                       tuple(chance / whole for _, chance in steps)))  # fmt: skip
    return tuple(out)


# --- view -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReturnsView:
    """What came back, a line each, and what it says of the estimates."""

    says: str
    hits: str
    bias: str
    score: str
    rows: tuple[dict[str, str], ...]
    aside: tuple[str, ...]
    run: Run | None


def returns_view(states: Sequence[ItemState], bench: BenchState) -> ReturnsView:
    """Everything that came back, against the estimate it left with."""
    all_back = came_back(states, bench)
    used = [one for one in all_back if one.run is not None]
    aside = tuple(one.name for one in all_back if one.run is None)
    if not used:
        says = "No grade has come back yet for an item whose grade was estimated before it left."
        return ReturnsView(says, "", "", "", (), aside, None)
    run = run_method(METHOD, "studio", {}, (), {"returned": _table(used)})
    text = {one.quantity: one for one in run.findings if one.subject == "studio"}
    score = {one.subject: one for one in run.findings if one.quantity == "returns.score"}
    rows = tuple(
        {"id": one.item, "name": one.name, "grade": f"{one.grade:f}",
         "estimate": _estimate(one.run), "score": f"{score[one.name[:80]].value:.2f}",
         "band": score[one.name[:80]].note}
        for one in used
    )  # fmt: skip
    return ReturnsView(
        text["returns.says"].text, text["returns.hits"].text,
        text["returns.bias"].text or f"{text['returns.bias'].value:+.2f} points, of one item",
        f"{text['returns.mean_score'].value:.2f}", rows, aside, run,
    )  # fmt: skip


def _table(used: Sequence[CameBack]) -> str:
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for one in used:
        table.writerow([one.name[:80], f"{one.grade:f}", _chances(one.run)])
    return out.getvalue()


def _chances(run: Run | None) -> str:
    assert run is not None
    for quantity in ("condition.returned", "condition.chance"):
        found = {one.subject: one.value or 0.0 for one in run.findings if one.quantity == quantity}
        whole = sum(found.values())
        if whole > 0:
            # Every step of the scale: one that had no chance may be the one that came back.
            scale = (
                read_scale(run.params["scale"]) if run.params.get("scale", "").strip() else TRADE
            )
            return " ".join(
                f"{step.value:g}:{found.get(f'{step.value:g}', 0.0) / whole:.6f}"
                for step in scale.steps
            )
    return ""


def _estimate(run: Run | None) -> str:
    findings = run.findings if run else ()
    found = next((one for one in findings if one.quantity == "condition.grade"), None)
    return "" if found is None or found.value is None else f"{found.value:.1f}"
