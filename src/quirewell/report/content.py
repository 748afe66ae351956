"""What the treatment report says, chapter by chapter, from the state of an item."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from quirewell.record.finding import Finding
from quirewell.record.nouns import Bath, Gathering, ItemState, Reading, Step
from quirewell.report.days import day as day
from quirewell.report.evidence import evidence_part
from quirewell.report.inks import inks_part
from quirewell.report.model import JOURNAL, typed
from quirewell.report.references import reference_row
from quirewell.report.workings import AFTER_KEYS, BEFORE_KEYS, workings_part
from quirewell.stages.asking import PLUS_MINUS_SAYS, number_text, quantity_name, unit_text
from quirewell.stages.by_course import followed_words
from quirewell.stages.cautions import CAUTIONS, LIME_BATH, LOCAL_CODES, Caution
from quirewell.stages.damage_lines import damage_lines
from quirewell.stages.gates import rule_words
from quirewell.stages.ledgering import METHOD as LEDGER
from quirewell.stages.margins import beforehand
from quirewell.stages.methods import find_method
from quirewell.stages.naming import place_words, sheet_pages, sheet_words, time_words
from quirewell.stages.outlooking import METHOD as OUTLOOK
from quirewell.stages.prove import ProveView, prove_view
from quirewell.stages.results import (
    PageResult,
    Shown,
    by_sheet,
    listed,
    page_results,
    shown,
    shown_reading,
)
from quirewell.stages.step_table import PERMANENCE_WORDS, STEP_KINDS
from quirewell.stages.working_rows import WORKINGS

STORAGE = (
    "Keep it flat, cool, dry and dark; an ordinary lived-in room is better than an attic, a "
    "cellar or an outside wall.",
    "Keep it in an inert clear sleeve (polyester, not vinyl) with an acid-free board behind it, "
    "and support it from below when it is lifted.",
    "Turn the leaves from the fore-edge with a flat hand. Do not open it wider than it wants.",
    "Light does not heal: each hour of display adds up. Show a copy and keep this in the dark.",
    "Look at it once a year for mould, insects and rust at the staples.",
)

BENCH_CAUTIONS = ("disclose", "brittle-fold", "groundwood-alkali")


COVERED = "a separate sheet around the wraps"


def item_part(state: ItemState) -> dict[str, Any]:
    """The item and how it is made."""
    item = state.item
    rows: list[list[Any]] = [
        ["Title", typed(item.title, "item")],
        ["Year", typed(item.year, "item")],
        ["Form", typed(item.form, "item")],
        ["Paper", typed("" if item.paper == "unknown" else item.paper, "item")],
        ["Owner", typed(item.owner, "item")],
        ["Record", state.id],
    ]
    return {"rows": rows, "notes": typed(item.notes, "item"), "made": _made(state.gathering)}


def _made(gathering: Gathering | None) -> list[list[Any]]:
    if gathering is None:
        return [["Making", typed("not described yet", JOURNAL)]]
    wraps = "one nested wrap" if gathering.wraps == 1 else f"{gathering.wraps} nested wraps"
    pages = f"{gathering.pages}, cover not counted"
    size = ""
    if gathering.width_mm and gathering.height_mm:
        size = f"{gathering.width_mm:g} × {gathering.height_mm:g} mm (nominal, as described)"
    return [
        ["Wraps", _record(wraps, "gathering", "wraps", gathering.wraps)],
        ["Pages", _record(pages, "gathering", "pages", gathering.pages)],
        ["Cover", typed(COVERED if gathering.cover else "none", "gathering")],
        ["Staples", _record(str(gathering.staples), "gathering", "staples", gathering.staples)],
        ["Size", _record(size, "gathering", "width_mm", gathering.width_mm) if size else ""],
    ]


def _record(text: str, ref: str, field: str, value: Any) -> Shown:
    """A number that stands in a record of the journal: ``field`` of the record ``ref``."""
    return Shown(text, (ref,), f"record:{field}", float(value))


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def treatment_part(state: ItemState) -> dict[str, Any]:
    """Steps, ink tests, overrides and baths."""
    done = [entry for entry in state.steps.values() if entry.state == "done"]
    open_steps = [entry for entry in state.steps.values() if entry.state != "done"]
    done.sort(key=lambda entry: (entry.started_at or entry.done_at, entry.id))
    return {
        "steps": [_step(entry) for entry in done],
        "workings": workings_part(state, BEFORE_KEYS),
        "open": [
            typed(f"{_kind_name(entry)}, {entry.state}: {_on(entry)}", entry.id)
            for entry in open_steps
        ],
        "permanence": [[word, says.split(": ")[1]] for word, says in PERMANENCE_WORDS.items()],
        "lost": _lost(done),
        "tests": [
            [
                typed(place_words(test.place), test.id),
                test.colour,
                test.liquid,
                _amount(test.minutes, "min", test.id, "minutes"),
                _amount(test.temperature_c, "°C", test.id, "temperature_c"),
                test.result,
                test.note,
            ]
            for test in state.spot_tests.values()
        ],
        "overrides": [
            [_capital(rule_words(entry.rule)), typed(entry.reason, entry.id)]
            for entry in state.overrides.values()
        ],
        "baths": [_bath(entry, state) for entry in state.baths.values()],
        "readings": [
            [
                place_words(reading.place),
                _quantity_words(reading.quantity),
                shown_reading(reading),
                _amount(reading.temperature_c, "°C", reading.id, "temperature_c"),
                _read_with(reading),
                reading.moment or "",
            ]
            for reading in state.readings.values()
        ],
    }


def _amount(value: Any, unit: str, ref: str, field: str) -> Shown:
    return Shown("", ()) if value is None else _record(f"{value} {unit}", ref, field, value)


def _read_with(reading: Reading) -> str:
    """How a reading was taken, with the buffers a meter was set on."""
    how = reading.method or reading.instrument
    on = ", ".join(str(one) for one in reading.buffers)
    return f"{how}, buffers {on}" if on else how


def _quantity_words(quantity: str) -> str:
    words = quantity.replace("_", " ").replace(".", " ")
    return "pH" if words.lower() == "ph" else words


def _kind_name(step: Step) -> str:
    kind = STEP_KINDS.get(step.kind)
    return kind.name if kind else step.kind


def _on(step: Step) -> str:
    return listed(step.places)


def _step(step: Step) -> dict[str, Any]:
    kind = STEP_KINDS.get(step.kind)
    return {
        "name": _kind_name(step),
        "does": kind.does if kind else "",
        "day": day(step.started_at or step.done_at),
        "where": typed(_capital(_on(step)), step.id),
        "permanence": kind.permanence if kind else "not known",
        "evidence": kind.evidence if kind else "",
        "facts": [
            Shown("", ())
            if step.minutes is None
            else _record(time_words(step.minutes), step.id, "minutes", step.minutes),
            _amount(step.temperature_c, "°C", step.id, "temperature_c"),
            step.way,
            f"by the course {course}" if (course := followed_words(step)) else "",
            step.who,
        ],
        "materials": [
            typed(
                ", ".join(filter(None, (lot.material, lot.lot and f"lot {lot.lot}", lot.amount))),
                step.id,
            )
            for lot in step.lots
        ],
        "note": typed(step.note, step.id),
    }


def _lost(steps: Iterable[Step]) -> list[list[Any]]:
    """What evidence the permanent steps took away, each kind of step once, by its steps."""
    kinds: dict[str, list[str]] = {}
    for step in steps:
        kinds.setdefault(step.kind, []).append(step.id)
    return [
        [typed(STEP_KINDS[key].name, *ids), STEP_KINDS[key].evidence]
        for key, ids in kinds.items()
        if key in STEP_KINDS and STEP_KINDS[key].evidence
    ]


def _bath(bath: Bath, state: ItemState) -> dict[str, Any]:
    run = state.runs.get(bath.run)
    rows = []
    for finding in run.findings if run else ():
        if finding.value is None:
            continue
        band = Shown("", ())
        if finding.low90 is not None and finding.high90 is not None:
            unit = unit_text(finding.unit)
            unit = "" if unit == "pH" else unit
            low, high = _bare(finding.low90, finding.u), _bare(finding.high90, finding.u)
            band = Shown(f"{low} to {high} {unit}".strip(), (finding.id,), finding.quantity + ":90")
        rows.append([_bath_name(finding.quantity), shown(finding), band])
    return {
        "name": bath.id,
        "went_in": [
            [
                "Strength",
                _record(_strength(float(bath.strength)), bath.id, "strength", bath.strength),
            ],
            ["Temperature", _amount(bath.temperature_c, "°C", bath.id, "temperature_c")],
            ["Volume", _amount(bath.litres, "L", bath.id, "litres")],
        ],
        "rows": rows,
        "warnings": [_told(says, run.id) for says in run.warnings] if run else [],
        "note": typed(bath.note, bath.id),
        **_ledger(bath, state),
    }


_LEDGER = ("ledger.pH", "ledger.alkalinity_mol_per_kg", "ledger.reserve_pct_caco3")


def _ledger(bath: Bath, state: ItemState) -> dict[str, Any]:
    """The newest ledger of a bath: when to change it, wrap by wrap, and what to know of it."""
    run = state.newest_run(LEDGER, bath.id)
    if run is None:
        return {"change": "", "wraps": [], "ledger_notes": [], "bench": []}
    rows: dict[str, list[Any]] = {}
    for finding in run.findings:
        if finding.quantity in _LEDGER:
            row = rows.setdefault(finding.subject, [finding.subject])
            row.append(_with_band(finding))
    by_name = {finding.quantity: finding for finding in run.findings}
    return {
        "change": shown(by_name["bath.replace"]),
        "wraps": list(rows.values()),
        "ledger_notes": [_told(says, run.id) for says in run.warnings],
        "bench": [
            [f"{quantity_name(finding.quantity)}, {finding.unit}", _with_band(finding)]
            for finding in run.findings
            if finding.quantity.startswith("bench.")
        ],
    }


def _with_band(finding: Finding) -> Shown:
    """A value with its 90 % band, in two figures of its uncertainty."""
    assert finding.value is not None and finding.low90 is not None and finding.high90 is not None
    middle, low, high = (
        _bare(value, finding.u) for value in (finding.value, finding.low90, finding.high90)
    )
    return Shown(
        f"{middle} ({low} to {high})", (finding.id,), finding.quantity, finding.value, finding.u,
        finding.unit,
    )  # fmt: skip


def _told(says: str, run: str) -> Shown:
    """A sentence of a method, which may hold numbers of its own."""
    return Shown(says, (f"run:{run}",), "sentence")


def _bare(value: float, u: float | None) -> str:
    return number_text(value, u).split(" ±")[0]


def _strength(strength: float) -> str:
    return "saturated lime water" if strength == 1 else f"{100 * strength:g} % of saturated"


_BATH_NAMES = {
    "bath.pH": "pH of the bath",
    "bath.ca_mol_per_kg": "Calcium",
    "bath.caoh2_g_per_kg": "Calcium hydroxide",
    "bath.caoh2_g": "Calcium hydroxide in all",
    "bath.ca_ppm": "Calcium by mass",
    "bath.reserve_pct_caco3": "Reserve expected in a leaf, as chalk",
    "bath.reserve_mol_acid_per_kg": "The same, as acid it can take up",
}


def _bath_name(quantity: str) -> str:
    return _BATH_NAMES.get(quantity, quantity_name(quantity))


def results_part(state: ItemState) -> dict[str, Any]:
    """Measured results, leaf by leaf, with totals and what was not measured."""
    view = prove_view(state)
    groups = by_sheet(page_results(state))
    return {
        "totals": [[total.says, total.value, total.where] for total in view.totals],
        "changes": [_changes(sheet, view, state) for sheet in groups if _has_pair(sheet, view)],
        "inks": inks_part(view, state),
        "sizes": [
            {"name": sheet_words(sheet), "rows": [_size(entry) for entry in entries]}
            for sheet, entries in groups.items()
        ],
        "damage": [
            {"name": sheet_words(sheet), "rows": rows}
            for sheet, entries in groups.items()
            if (rows := [row for entry in entries for row in _damage(entry, state)])
        ],
        "evidence": evidence_part(state),
        "outlook": _outlook(state),
        "workings": workings_part(state, AFTER_KEYS),
        "not_measured": [typed(says, JOURNAL) for says in view.not_measured],
        "plus_minus": _capital(PLUS_MINUS_SAYS) + ".",
        "margins": [
            [quantity_name(name), value]
            for name, value in view.margins
            if beforehand(state, state.margins[f"margin.{name}"])
        ],
    }


def _outlook(state: ItemState) -> dict[str, Any]:
    """The newest outlook: its sentence, its ratio with the band, and what it assumes."""
    run = state.newest_run(OUTLOOK, "item")
    if run is None:
        return {"says": "", "ratio": "", "assumes": []}
    by_name = {finding.quantity: finding for finding in run.findings}
    words = by_name.get("outlook.says") or by_name["outlook.words"]
    ratio = by_name.get("outlook.ratio")
    return {
        "says": shown(words),
        "ratio": "" if ratio is None else _with_band(ratio),
        "assumes": [_told(says, run.id) for says in run.warnings],
    }


def _has_pair(sheet: str, view: ProveView) -> bool:
    return any(pair.sheet == sheet for pair in view.pairs)


def _changes(sheet: str, view: ProveView, state: ItemState) -> dict[str, Any]:
    gathering = state.gathering
    described = gathering is not None and sheet in gathering.sheets()
    return {
        "name": sheet_words(sheet),
        "pages": sheet_pages(sheet, gathering) if gathering and described else "",
        "rows": [
            [
                _short(pair.name),
                pair.width_change,
                pair.height_change,
                pair.smallest,
                pair.colour_change,
                pair.verdict_short,
            ]
            for pair in view.pairs
            if pair.sheet == sheet
        ],
    }


def _damage(entry: PageResult, state: ItemState) -> list[list[Any]]:
    """Tears and stains of a page, a row for each moment; its name stands once."""
    rows: list[list[Any]] = []
    for line in damage_lines(entry, state):
        name = "" if rows else _short(entry.name)
        rows.append([name, line.moment, line.tears, line.longest, line.stained, line.stains])
    return rows


def _short(name: str) -> str:
    """Name of a page without its sheet: "outer side, left: page 32"."""
    head, _, rest = name.partition(", ")
    return rest if head.startswith("Wrap") and rest else name


def _size(entry: Any) -> list[Any]:
    row: list[Any] = [_short(entry.name)]
    for quantity in ("leaf.width_mm", "leaf.height_mm", "tone.L", "tone.b"):
        row += [_brief(entry.at("before", quantity)), _brief(entry.at("after", quantity))]
    return row


def _brief(value: Shown) -> Shown:
    """A result that came as words, cut to its first clause: "at least 206.8 mm"."""
    if value.value is not None or not value.text:
        return value
    return replace(value, text=value.text.split(":")[0])


def methods_part(state: ItemState) -> dict[str, Any]:
    """Methods, versions, on whose authority, and the sources in full."""
    rows, sources = [], set[str]()
    used: dict[tuple[str, int], list[Any]] = {}
    for run in state.runs.values():
        used.setdefault((run.method, run.version), []).append(run)
    for (method, version), runs in sorted(used.items()):
        try:
            says = find_method(method).says
        except KeyError:
            says = "this program no longer has this method"
        standing = dict.fromkeys(f.standing for run in runs for f in run.findings)
        keys = sorted({key for run in runs for f in run.findings for key in f.sources})
        sources.update(keys)
        refs = tuple(f"run:{run.id}" for run in runs)
        rows.append(
            [
                f"{method}, version {version}",
                says,
                Shown(str(len(runs)), refs, "count", float(len(runs))),
                "; ".join(standing),
                ", ".join(keys),
            ]
        )
    caution_keys = {CAUTIONS[key].source for key in _caution_ids(state)} - {""}
    sources.update(caution_keys)
    warnings = [
        Shown(says, (f"run:{run.id}",), "sentence")
        for run in state.runs.values()
        if run.method not in ("bath.lime_water", LEDGER, OUTLOOK)
        and run.method not in {row.method for row in WORKINGS.values()}
        for says in run.warnings
    ]
    seen: dict[str, Shown] = {}
    for entry in warnings:
        seen.setdefault(entry.text, entry)
    return {
        "rows": rows,
        "sources": [reference_row(key) for key in sorted(sources)],
        "warnings": list(seen.values()),
    }


def _caution_ids(state: ItemState) -> tuple[str, ...]:
    kinds = [STEP_KINDS[step.kind] for step in state.steps.values() if step.kind in STEP_KINDS]
    ids = dict.fromkeys(id for kind in kinds for id in kind.cautions)
    if state.baths:
        ids.update(dict.fromkeys(LIME_BATH))
    ids.update(dict.fromkeys(BENCH_CAUTIONS))
    return tuple(id for id in ids if id in CAUTIONS)


def cautions_part(state: ItemState) -> dict[str, Any]:
    """Cautions that go with this item and its steps, and words on keeping it."""
    rows = [CAUTIONS[id] for id in _caution_ids(state)]
    return {
        "object": [_caution(row) for row in rows if row.to == "object"],
        "person": [_caution(row) for row in rows if row.to == "person"],
        "codes": LOCAL_CODES,
        "storage": list(STORAGE),
    }


def _caution(row: Caution) -> list[str]:
    """What it says, on whose word, and the key of the source it rests on."""
    return [row.says, row.as_plain()["standing"], row.source]


def remaining_part(state: ItemState) -> list[list[Any]]:
    """What is still wrong, where."""
    return [
        [_capital(place_words(entry.place)), typed(entry.words, entry.id)]
        for entry in state.remaining.values()
    ]
