"""Parcels to a third-party grading service, a registered method.

Parameters are text: ``plan`` (a plan file, :mod:`.parcel_text`); ``inside``, ``outside``,
``closed`` (what-if: items that must go or stay, tiers switched off; a name a line); ``gap`` (share
of the gain the plan may miss; empty: 0 for small plans, 0.001 for large ones); ``seconds`` of
search; ``found`` (what a search found, :mod:`.parcel_found`).

The method is of the kind "search". With ``found`` it searches nothing: it holds the plan and every
plan it was compared with against the rules and sums them anew, so that a recheck gives the same
findings. :func:`ask` searches first and then calls it so.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from quirewell.record.cells import guarded
from quirewell.record.finding import Finding, Run
from quirewell.science.planning.parcel_bands import Spread, spread
from quirewell.science.planning.parcel_search import SECONDS, Found, every_option
from quirewell.science.planning.parcels import (
    Item,
    Option,
    Points,
    Problem,
    Wish,
    correction,
    fee_at,
    outcomes,
)
from quirewell.stages.methods import Outcome, method, run_method
from quirewell.stages.parcel_found import Kept, from_text, search, to_text
from quirewell.stages.parcel_text import PlanText, read_plan
from quirewell.stages.parcel_told import first_answer, how_sure, why_sent, why_stays
from quirewell.stages.typed_params import number, refuse_unknown

METHOD = "parcels.plan"
_KNOWN = ("plan", "inside", "outside", "closed", "gap", "seconds", "found")
_ASSUMES = (
    "A gain is the mean over your own chances and prices, less what the item is worth as it is; "
    "what comes back is one grade, not the mean. A treated item is sent as treated, and said so.",
    "Items are taken to come back independently of each other. If your eye errs the same way for "
    "all, the whole plan's band is wider.",
    "The value at the returned grade, before the factor for treatment, is held against the tier's "
    "ceiling; over it the fee of the cheapest tier that admits it is counted (common practice, no "
    "source).",
)
_FEW = "Chances are your own: with few items returned so far they are a guess, and so is the plan."


@method(METHOD, 1, "search")
def parcels_plan(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Which items go to grading, in which tier and parcel, and what the plan gains."""
    read, wish = _asked(params)
    if params.get("found", "").strip():
        kept = from_text(params["found"], read.problem, wish)
    else:
        kept = _search(read, wish, params)
    return _outcome(read, wish, kept)


def ask(
    params: Mapping[str, str],
    progress: Callable[[Found], None] = lambda found: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Run:
    """Search, then keep what was found as the method's own parameters.

    Raises:
        ValueError: for a plan that cannot be read.
    """
    read, wish = _asked(params)
    kept = _search(read, wish, params, progress, stopped)
    return run_method(METHOD, "plan", {}, params={**params, "found": to_text(kept)})


def check(params: Mapping[str, str]) -> None:
    """Read what is asked without searching.

    Raises:
        ValueError: for a plan that cannot be read, or wishes that name nothing in it.
    """
    _asked(params)
    _limits(params)


def _limits(params: Mapping[str, str]) -> tuple[float, float]:
    seconds = number(params, "seconds", SECONDS)
    gap = number(params, "gap", -1.0)
    if not 0.1 <= seconds <= 3600:
        raise ValueError(f"seconds lie between 0.1 and 3600, got {seconds:g}")
    if params.get("gap", "").strip() and not 0 <= gap <= 1:
        raise ValueError(f"a gap lies between 0 (the best) and 1, got {gap:g}")
    return seconds, gap


def _search(
    read: PlanText, wish: Wish, params: Mapping[str, str],
    progress: Callable[[Found], None] = lambda found: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Kept:  # fmt: skip
    seconds, gap = _limits(params)
    return search(
        read.problem, wish, read.more, seconds=seconds, gap=None if gap < 0 else gap,
        progress=progress, stopped=stopped,
    )  # fmt: skip


def _asked(params: Mapping[str, str]) -> tuple[PlanText, Wish]:
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    read = read_plan(params.get("plan", ""))
    names = {item.name for item in read.problem.items}
    tiers = {tier.name for tier in read.problem.tiers}
    asked = {
        key: frozenset(line.strip() for line in params.get(key, "").split("\n") if line.strip())
        for key in ("inside", "outside", "closed")
    }
    for key, there, kind in (
        ("inside", names, "item"), ("outside", names, "item"), ("closed", tiers, "tier"),
    ):  # fmt: skip
        for name in sorted(asked[key] - there):
            raise ValueError(f"the plan has no open {kind} {name!r}; it has "
                             f"{', '.join(sorted(there)) or 'none'}")  # fmt: skip
    both = sorted(asked["inside"] & asked["outside"])
    if both:
        raise ValueError(f"{both[0]!r} cannot both go and stay: choose one")
    return read, Wish(asked["inside"], asked["outside"], asked["closed"])


def _outcome(read: PlanText, wish: Wish, kept: Kept) -> Outcome:
    problem, unit = read.problem, read.currency
    best = kept.best
    items = {item.name: item for item in problem.items}
    options = every_option(problem)
    closed = [one for one in options if one.tier not in wish.closed]
    rows = [_row(items[name], best.chosen[name], kept, problem) for name in sorted(best.chosen)]
    points = [_points(items[name], best.chosen[name], problem) for name in sorted(best.chosen)]
    fixed = sum(p.fixed for p in problem.parcels
                if any(o.parcel == p.name for o in best.chosen.values()))  # fmt: skip
    whole = spread(points, fixed)
    verdict = first_answer(kept, problem, unit)
    stays = []
    for name in sorted(set(items) - set(best.chosen)):
        says, loses = why_stays(items[name], kept, problem, closed, wish)
        stays.append({"item": name, "would_lose": _plain(loses, unit), "says": says})
    for name, says in read.left_out:
        stays.append({"item": name, "would_lose": None, "says": f"left out: {says}"})
    findings = [
        _finding("parcels.total_gain", "plan", best.gain, whole, unit, how_sure(best)),
        Finding("", "parcels.says", "plan", text=verdict.says),
    ]
    if best.gap is not None and best.gap != float("inf"):
        findings.append(Finding("", "parcels.gap", "plan", best.gap, None, "1",
                                note="at most so much better is possible, as stated by the "
                                     "search; the bound is not computed again"))  # fmt: skip
    for row, part in zip(rows, points, strict=True):
        cents = round(row["gain"]["value"] * 100)
        findings.append(
            _finding("parcels.gain", row["item"], cents, spread([part]), unit, row["says"])
        )
    told: dict[str, Any] = {
        "currency": unit,
        "first": {
            "verdict": verdict.word, "says": verdict.says, "saves": _plain(verdict.saves, unit),
            "more": read.more, "more_saves": _plain(verdict.more_saves, unit),
        },
        "status": how_sure(best),
        "bound": _plain(best.bound, unit),
        "gap": None if best.gap in (None, float("inf")) else best.gap,
        "chance_of_loss": whole.loss if best.chosen else 0.0,
        "worst_fifth": _plain(round(whole.worst_fifth), unit) if best.chosen else None,
        "assignments": rows, "not_sent": stays,
        "parcels": _sums(problem, best),
    }  # fmt: skip
    if kept.plain is not None and kept.plain.why != "impossible":
        lost = kept.plain.gain - best.gain
        told["wish_costs"] = None if best.why == "impossible" else _plain(lost, unit)
    warnings = [*read.notes, *_said_of(read, kept), *_ASSUMES, _FEW]
    return Outcome(tuple(findings), tuple(warnings), {"told": json.dumps(told, sort_keys=True)})


def _said_of(read: PlanText, kept: Kept) -> list[str]:
    says = []
    if not read.problem.tiers or not read.problem.parcels:
        says.append("No tier or no shipment is left, so nothing can be sent.")
    if not kept.whole:
        says.append("Time was up before every item was asked about; give more seconds for the "
                    "rest.")  # fmt: skip
    top = max((t.ceiling or 0 for t in read.problem.tiers), default=0)
    if all(t.ceiling is not None for t in read.problem.tiers) and any(
        value > top for i in read.problem.items for w in i.ways for _, value in w.points
    ):
        says.append("Some values pass the ceiling of every tier: there only the dearest fee is "
                    "counted. Add the tier that admits them.")  # fmt: skip
    return says


def _finding(
    quantity: str, subject: str, cents: int, sure: Spread, unit: str, says: str
) -> Finding:
    return Finding(
        "", quantity, subject, cents / 100, sure.u / 100, unit, says,
        low90=sure.low90 / 100, high90=sure.high90 / 100,
        note="expected; u and band over the grades that may come back",
    )  # fmt: skip


def _plain(cents: int | None, unit: str) -> dict[str, Any] | None:
    return None if cents is None else {"value": cents / 100, "unit": unit}


def _band(cents: int, sure: Spread, unit: str) -> dict[str, Any]:
    return {
        "value": cents / 100, "u": sure.u / 100, "low90": sure.low90 / 100,
        "high90": sure.high90 / 100, "unit": unit,
    }  # fmt: skip


def _parts(item: Item, option: Option, problem: Problem) -> tuple[Any, Any, Any]:
    way = next(one for one in item.ways if one.name == option.way)
    tier = next(one for one in problem.tiers if one.name == option.tier)
    parcel = next(one for one in problem.parcels if one.name == option.parcel)
    return way, tier, parcel


def _points(item: Item, option: Option, problem: Problem) -> Points:
    return outcomes(problem, item, *_parts(item, option, problem))


def _row(item: Item, option: Option, kept: Kept, problem: Problem) -> dict[str, Any]:
    way, tier, parcel = _parts(item, option, problem)
    sure = spread([_points(item, option, problem)])
    dearer = sum(p for p, v in way.points if fee_at(v, item, tier, problem.tiers) > tier.fee)
    return {
        "item": item.name, "way": way.name, "tier": tier.name, "parcel": parcel.name,
        "week": float(parcel.week), "declared": option.declared / 100, "fee": tier.fee / 100,
        "fee_correction": float(correction(item, way, tier, problem.tiers)) / 100,
        "chance_of_correction": float(dearer),
        "gain": _band(option.gain, sure, ""), "chance_of_loss": sure.loss,
        "says": why_sent(item, kept, problem),
    }  # fmt: skip


def _sums(problem: Problem, best: Found) -> list[dict[str, Any]]:
    out = []
    for parcel in problem.parcels:
        held = [one for one in best.chosen.values() if one.parcel == parcel.name]
        if held:
            out.append({
                "parcel": parcel.name, "week": float(parcel.week), "items": len(held),
                "declared": sum(one.declared for one in held) / 100,
                "cap": None if parcel.cap is None else parcel.cap / 100,
                "fixed": parcel.fixed / 100,
            })  # fmt: skip
    return out


def as_json(run: Run) -> dict[str, Any]:
    """A plan as the command line's JSON."""
    told: dict[str, Any] = json.loads(run.drawing["told"])
    item = {one.quantity: one for one in run.findings if one.subject == "plan"}
    unit = told["currency"]
    for row in told["assignments"]:
        row["gain"]["unit"] = unit
    return {
        "total_gain": item["parcels.total_gain"].measured().as_json(), **told,
        "warnings": list(run.warnings), "method": f"{run.method}@{run.version}",
    }  # fmt: skip


def packing_list(told: Mapping[str, Any]) -> str:
    """A table (CSV) of what goes into which parcel, with the value to declare for each item."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["parcel", "week", "tier", "item", "way", "declared", "currency"])
    for row in sorted(
        told["assignments"], key=lambda r: (r["week"], r["parcel"], r["tier"], r["item"])
    ):
        table.writerow([
            guarded(row["parcel"]), f"{row['week']:g}", guarded(row["tier"]), guarded(row["item"]),
            row["way"], f"{row['declared']:.2f}", guarded(told["currency"]),
        ])  # fmt: skip
    return out.getvalue()
