"""The bath over a series of wraps as a registered method: rows with bands, and when to change it.

Parameters are text. Either ``wraps`` alike (``wrap_mass_g``, ``minutes_per_wrap``), or
``entries``, one a line or ";": "wrap 4.7 g 15 min", "wrap 4.6 g 10 min dry open",
"top-up 0.5 L 1", "fresh". ``readings`` of the real tray pull it (:mod:`.tray_readings`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.science.bath import engine
from quirewell.science.bath.constants import CONSTANTS, MOLAR_MASS_CACO3
from quirewell.science.bath.ledger import Entry, Ledger, Paper, Tray, run
from quirewell.science.bath.ledger_band import (
    CHANGE_AT,
    LONGEST,
    Band,
    BandRow,
    Change,
    Spread,
    change_after,
    spread_of,
    with_bands,
)
from quirewell.science.bath.ledger_fit import TrayReading, fit
from quirewell.science.bath.lime_water import PickUp, pick_up
from quirewell.science.bath.recipe import Recipe
from quirewell.stages import typed
from quirewell.stages.bathing import BATH_SOURCES
from quirewell.stages.methods import Outcome, method
from quirewell.stages.tray_readings import bench_findings, bench_words, read_lines

METHOD = "bath.ledger"
WRAP_G, WATER_IN, MINUTES, AREA_M2 = 4.7, 1.8, 15.0, 0.2
MOST_WRAPS = 200
_NUMBERS = (
    "litres", "strength", "temperature_c", "pickup_g_per_g", "wrap_mass_g", "water_in_g_per_g",
    "minutes_per_wrap", "tray_area_m2", "change_at",
)  # fmt: skip
_KNOWN = {*_NUMBERS, "leaf", "wraps", "open", "entries", "readings"}
_WRAP = re.compile(
    r"wraps?\s+(?P<mass>\d*\.?\d+)\s*g?(?:\s+(?P<minutes>\d*\.?\d+)\s*min)?(?P<words>(?:\s+[a-z]+)*)"
)
_TOP_UP = re.compile(r"top-?up\s+(?P<litres>\d*\.?\d+)\s*l?\s+(?:of\s+)?(?P<strength>\S{1,20})")
_TOOLS = {
    "pickup": "A pocket scale that reads 0.01 g: weigh one wrap dry and as it is lifted out.",
    "uptake": "A lid on the tray, or a drop-count alkalinity kit: one count an hour apart, without "
    "a wrap in the bath, tells what the air takes.",
    "acid_groups": "A drop-count alkalinity kit: counts before and after three wraps tell what the "
    "paper takes.",
    "strong_acid": "A drop-count alkalinity kit: counts before and after three wraps tell what the "
    "paper takes.",
    "strength": "10 mL of the fresh bath against acid of known strength, or a drop-count kit.",
}
HIDDEN = (
    "pH hides what is used up: it falls by a few tenths while half of the alkali goes. Judge the "
    "bath by alkali, not by pH."
)


@method(METHOD, 2, "seeded")
def bath_ledger(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """pH, alkali, carbonate and reserve of a bath from wrap to wrap, and when to change it."""
    unknown = sorted(set(params) - _KNOWN)
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(sorted(_KNOWN))}"
        )
    recipe, tray, paper, spread, pick = _bath(params)
    entries = _entries(params)
    readings = read_lines(params.get("readings", ""))
    usual = spread
    bench = fit(tray, paper, entries, readings, spread) if readings else None
    if bench is not None:
        tray, paper, spread = bench.tray, bench.paper, bench.spread
    ledger = run(tray, paper, entries)
    rows = with_bands(ledger, tray, paper, entries, spread, ph_u=0.03)
    change = change_after(tray, paper, entries, spread, _number(params, "change_at", CHANGE_AT))
    findings = [
        *_change_findings(change, tray, entries, params),
        Finding(
            "", "ledger.balance_error_mol", "item", ledger.balance_error_mol, 0.0, "mol",
            standing="measured here",
            note="the most that water, calcium, acid or carbonate misses in the books",
        ),
        Finding(
            "", "bath.database_sha256", "item", text=engine.database_sha256(),
            standing="published", sources=("parkhurst2013", "minteqa2"),
        ),
    ]  # fmt: skip
    warnings, drawing = _warnings(ledger, rows, entries, change, recipe), _drawing(ledger, rows)
    tool = _tool(change, pick)
    if tool:
        findings.append(
            Finding(
                "", "bath.narrow", "item", text=tool, standing="common practice",
                note="the one cheap tool that narrows this ledger most",
            )
        )  # fmt: skip
        warnings += ("What would narrow it most: " + tool,)
    if bench is not None:
        findings += bench_findings(bench, usual)
        warnings = (*bench_words(bench), *warnings)
        drawing["readings"] = ";".join(
            f"{_drawn_after(one, entries)} {one.kind} {one.value:.6g} {one.u:.4g}"
            for one in readings
        )
    named = f"; database {engine.database_sha256()}"
    findings = [one if one.text else replace(one, note=one.note + named) for one in findings]
    for row in rows:
        findings += _row_findings(row, spread, pulled=bench is not None)
    return Outcome(tuple(findings), warnings, drawing)


def _number(params: Mapping[str, str], name: str, usual: float) -> float:
    text = params.get(name, "")
    if not text:
        return usual
    try:
        return float(text)
    except ValueError as error:
        raise ValueError(f"{name} must be a number, got {text[:40]!r}") from error


def _bath(params: Mapping[str, str]) -> tuple[Recipe, Tray, Paper, Spread, PickUp]:
    pickup = _number(params, "pickup_g_per_g", 0.0) or None
    recipe = Recipe(
        _number(params, "strength", 0.5), _number(params, "temperature_c", 20.0),
        _number(params, "litres", 4.0), "blotted" if params.get("leaf") == "blotted" else "drained",
        pickup,
    )  # fmt: skip
    pick = pick_up(recipe)
    groups, acid, air = (
        CONSTANTS[name].value for name in ("acid_groups", "strong_acid", "air_uptake")
    )
    tray = Tray(
        recipe.litres, recipe.strength, recipe.temperature_c,
        _number(params, "tray_area_m2", AREA_M2), air,
    )  # fmt: skip
    paper = Paper(pick.median_g_per_g, groups, acid)
    return recipe, tray, paper, spread_of(pick.log_sigma, recipe.strength), pick


def _entries(params: Mapping[str, str]) -> list[Entry]:
    open_air = params.get("open", "no") == "yes"
    usual = Entry(
        "wrap", _number(params, "wrap_mass_g", WRAP_G),
        _number(params, "water_in_g_per_g", WATER_IN), _number(params, "minutes_per_wrap", MINUTES),
        open_air,
    )  # fmt: skip
    lines = [part.strip() for part in re.split(r"[;\n]", params.get("entries", "")) if part.strip()]
    if lines:
        found = [read_entry(line, usual) for line in lines]
        if all(one.kind != "wrap" for one in found):
            raise ValueError("the ledger holds no wrap: write one as 'wrap 4.7 g 15 min'")
        return found
    count = _number(params, "wraps", 10)
    if not (count == int(count) and 1 <= count <= MOST_WRAPS):
        raise ValueError(f"a ledger takes 1 to {MOST_WRAPS} wraps, got {params.get('wraps')}")
    return [usual] * int(count)


def read_entry(text: str, usual: Entry | None = None) -> Entry:
    """One line of a ledger as typed.

    Raises:
        ValueError: with a sentence that says how lines are written.

    >>> read_entry("wrap 4.6 g 10 min dry open").water_in
    0.0
    """
    usual = usual or Entry()
    line = text.strip().lower().replace(",", ".")
    if line == "fresh":
        return Entry("fresh")
    top_up = _TOP_UP.fullmatch(line)
    if top_up:
        return Entry(
            "top-up", litres=float(top_up["litres"]), strength=_strength(top_up["strength"])
        )
    match = _WRAP.fullmatch(line)
    words = set(match["words"].split()) if match else {"?"}
    if match is None or words - {"dry", "wet", "open", "covered"}:
        raise ValueError(
            "a line of the ledger reads 'wrap 4.7 g 15 min', with dry or wet and open or covered "
            "if they differ, or 'top-up 0.5 L 1:1' (litres, strength or water), or 'fresh'; "
            f"got {text[:60]!r}"
        )
    return Entry(
        "wrap",
        float(match["mass"]),
        0.0 if "dry" in words else usual.water_in,
        float(match["minutes"]) if match["minutes"] else usual.minutes,
        True if "open" in words else False if "covered" in words else usual.open_air,
    )


def _tool(change: Change, pick: PickUp) -> str:
    """The cheap tool that would narrow the ledger most; nothing where all that counts is known."""
    if change.narrow:
        return _TOOLS[change.narrow]
    return "" if pick.kind == "weighed" else _TOOLS["pickup"]


def _strength(text: str) -> float:
    """Strength of a top-up: of lime water as people say it, or water."""
    return 0.0 if text in ("water", "0") else float(typed.strength(text))


def _change_findings(
    change: Change, tray: Tray, entries: Sequence[Entry], params: Mapping[str, str]
) -> list[Finding]:
    wraps = [one for one in entries if one.kind == "wrap"]
    how_many = f"{change.after}{' or more' if change.after >= LONGEST else ''}"
    share = _number(params, "change_at", CHANGE_AT)
    says = (
        f"Fresh bath every {how_many} wraps: {tray.litres:g} L, {_cover(wraps)}, "
        f"{_span([one.minutes for one in wraps])} minutes a wrap of "
        f"{_span([one.mass_g for one in wraps])} g (low end of the band; {change.median} at the "
        f"middle). Beyond that the next may get less than {100 * share:g} % of the first's reserve."
    )
    u = max(change.high - change.after, 1) / (2 * 1.645)
    standing: Standing = "from memory"
    return [
        Finding(
            "", "bath.replace", "item", text=says, standing=standing, note="judged on alkali"
        ),
        Finding(
            "", "bath.replace_after_wrap", "item", float(change.after), u, "wraps",
            low90=float(change.after), high90=float(change.high), standing=standing,
            note=f"low end of the band; middle {change.median}",
        ),
    ]  # fmt: skip


def _cover(wraps: Sequence[Entry]) -> str:
    opened = sum(one.open_air for one in wraps)
    return "covered" if not opened else "open" if opened == len(wraps) else "open at times"


def _span(values: Sequence[float]) -> str:
    low, high = min(values), max(values)
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _row_findings(row: BandRow, spread: Spread, *, pulled: bool) -> list[Finding]:
    subject = f"wrap {row.row.number}"
    note = f"bath {row.row.batch}; database {engine.database_sha256()}"
    if pulled:
        note += "; pulled towards this tray's readings"
    terms = {
        name: getattr(spread, name)
        for name in ("pickup", "acid_groups", "strong_acid", "uptake", "strength")
    }
    basis = "; ".join(f"{name} by a factor of {2.718281828**u:.2f}" for name, u in terms.items())

    def found(quantity: str, band: Band, unit: str) -> Finding:
        return Finding(
            "", quantity, subject, band.value, band.u, unit, low90=max(band.low90, 0.0),
            high90=band.high90, standing="from memory", sources=BATH_SOURCES, note=note,
            terms=(Term("what is not known", band.u, basis),),
        )  # fmt: skip

    factor = 20 / MOLAR_MASS_CACO3
    acid = Band(*(factor * v for v in (
        row.reserve_pct_caco3.value, row.reserve_pct_caco3.low90, row.reserve_pct_caco3.high90
    )))  # fmt: skip

    return [
        found("ledger.pH", row.ph, "pH"),
        found("ledger.alkalinity_mol_per_kg", row.alkalinity_mol_per_kg, "mol/kg"),
        found("ledger.reserve_pct_caco3", row.reserve_pct_caco3, "% CaCO3"),
        found("ledger.reserve_mol_acid_per_kg", acid, "mol/kg"),
        found("ledger.ca_mol_per_kg", row.ca_mol_per_kg, "mol/kg"),
        found("ledger.carbonate_mol", row.carbonate_mol, "mol"),
    ]


def _warnings(
    ledger: Ledger,
    rows: Sequence[BandRow],
    entries: Sequence[Entry],
    change: Change,
    recipe: Recipe,
) -> tuple[str, ...]:
    out = [HIDDEN]
    if any(one.open_air for one in entries):
        out.append(_air_says(ledger, entries))
    if len(rows) > change.after:
        out.append(
            f"This series is longer than one bath should serve: change it after {change.after}."
        )
    if rows[-1].reserve_pct_caco3.low90 < 0.01:
        out.append("The last wraps may get no reserve at all.")
    if recipe.strength == 1:
        out.append(
            "Saturated lime water is the harshest bath for groundwood paper: half strength leaves "
            "half the reserve at nearly the same pH."
        )
    return tuple(out)


def _drawn_after(one: TrayReading, entries: Sequence[Entry]) -> int:
    """After how many wraps a reading lies: a bath's own after those of the baths before it."""
    if not one.bath:
        return one.after
    wraps, baths = 0, 1
    for entry in entries:
        if baths == one.bath:
            break
        wraps, baths = wraps + (entry.kind == "wrap"), baths + (entry.kind == "fresh")
    return wraps


def _air_says(ledger: Ledger, entries: Sequence[Entry]) -> str:
    """How much of what the first bath loses goes to the air, and that a lid saves it."""
    lid = "a lid saves the bath (uptake from memory, within a factor of two)."
    last = [row for row in ledger.rows if row.batch == 1][-1]
    held = last.alkalinity_mol_per_kg * last.water_kg
    lost = ledger.fresh.alkalinity_mol_per_kg * ledger.fresh.water_kg - held
    if any(one.kind == "top-up" for one in entries) or last.number < 3 or lost <= 0:
        return f"Carbon dioxide of the air uses up an open tray: {lid}"
    share = min(100.0, 100 * 2 * last.carbonate_mol / lost)
    return (
        f"Of the alkali this open bath loses over its first {last.number} wraps, about "
        f"{share:.0f} % goes to the air: {lid}"
    )


def _drawing(ledger: Ledger, rows: Sequence[BandRow]) -> dict[str, str]:
    """Rows for a picture: number, batch, pH, alkali and reserve with their bands."""
    lines = []
    for one in rows:
        bands = (one.ph, one.alkalinity_mol_per_kg, one.reserve_pct_caco3)
        numbers = [f"{v:.5g}" for b in bands for v in (b.value, b.low90, b.high90)]
        lines.append(" ".join([str(one.row.number), str(one.row.batch), *numbers]))
    return {"rows": ";".join(lines), "fresh_ph": f"{ledger.fresh.ph:.4f}"}


def as_json(run_: Run) -> dict[str, Any]:
    """A ledger as the command line's JSON."""
    by_subject: dict[str, dict[str, Any]] = {}
    for finding in run_.findings:
        if finding.subject.startswith("wrap "):
            row = by_subject.setdefault(
                finding.subject,
                {
                    "wrap": int(finding.subject[5:]),
                    "bath": int(finding.note.split(";")[0].removeprefix("bath ")),
                },
            )
            row[finding.quantity.removeprefix("ledger.")] = finding.measured().as_json()
    by_name = {finding.quantity: finding for finding in run_.findings}
    after = by_name["bath.replace_after_wrap"]
    return {
        "rows": list(by_subject.values()),
        "balance_error_mol": by_name["ledger.balance_error_mol"].value,
        "replace_after_wrap": int(after.value or 0),
        "replace_after_leaf": int(after.value or 0),
        "replace": after.measured().as_json(),
        "bench": {
            finding.quantity.removeprefix("bench."): finding.measured().as_json()
            for finding in run_.findings
            if finding.quantity.startswith("bench.")
        },
        "says": by_name["bath.replace"].text,
        "narrows_most": by_name["bath.narrow"].text if "bath.narrow" in by_name else None,
        "warnings": list(run_.warnings),
        "database_sha256": by_name["bath.database_sha256"].text,
        "params": dict(run_.params),
        "method": f"{run_.method}@{run_.version}",
    }
