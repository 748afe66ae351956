"""The measured side of a trial: what the record holds of its sheets, and the verdict made of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from quirewell.record.benchwork import Trial
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.reading_entry import PH_METHODS, QUANTITIES
from quirewell.stages.refusal import no, refused
from quirewell.stages.results import COMPARE, MEASURE, captured, latest_runs
from quirewell.stages.trial_cells import (
    Basis,
    Cell,
    PairLine,
    VerdictError,
    differences,
    line_text,
    read_lines,
    sheet_mean,
    sides,
)
from quirewell.stages.trial_verdict import METHOD
from quirewell.stages.trials import Side, TrialView, trials_view

Form = Mapping[str, str]
_STEP = re.compile(r"step (\d{1,2}) of")
MORE: Mapping[str, str] = {
    "tone_step": "the higher step", "paper.L": "the lighter paper",
    "paper.dE00": "the larger change of colour", "pH": "the higher pH",
}  # fmt: skip
_FINE = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Read:
    """One value of one page at one moment, and the record or finding it comes from."""

    place: str
    moment: str
    value: Decimal
    ref: str


@dataclass(frozen=True, slots=True)
class Source:
    """One way of measuring the quantity: values of different ways are never mixed.

    ``given`` says that a value is a change already; ``resolution`` is the instrument's step.
    """

    name: str
    resolution: Decimal
    read: tuple[Read, ...] = ()
    given: bool = False

    def cell(self, sheet: str, moment: str) -> Cell:
        """What was read on a sheet, by page."""
        pages: dict[str, tuple[Decimal, ...]] = {}
        for one in self.read:
            if one.moment == moment and sheet_of(one.place) == sheet:
                page = one.place.partition(".")[2]
                pages[page] = (*pages.get(page, ()), one.value)
        return pages


@dataclass(frozen=True, slots=True)
class PairRow:
    """A pair as the page shows it: what was read, the difference, and why it is out.

    ``a`` and ``b`` are (before, after) of the first and the second way, None where not read;
    ``plotted`` is what is compared of both; ``read`` by sheet the readings or findings behind it.
    """

    pair: str
    a: tuple[float | None, float | None]
    b: tuple[float | None, float | None]
    difference: float | None
    out: str
    ref: str = ""
    plotted: tuple[float, float] | None = None
    read: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class VerdictView:
    """A trial with what was measured of it and the verdict that holds, if one was made."""

    view: TrialView
    rows: tuple[PairRow, ...]
    source: str
    run: Run | None
    stale: bool
    ready: bool
    other: tuple[str, ...] = field(default=())

    @property
    def says(self) -> str:
        """The verdict in words; empty while there is none."""
        return _text(self.run, "trial.verdict")

    def finding(self, quantity: str) -> Finding | None:
        """A finding of the verdict; None where it has none."""
        found = self.run.findings if self.run is not None else ()
        return next((one for one in found if one.quantity == quantity), None)

    @property
    def with_all(self) -> str:
        """The same with the pairs in that were left out; empty where none could be."""
        return _text(self.run, "trial.with_all")


def verdict_views(state: ItemState) -> tuple[VerdictView, ...]:
    """All trials of an item with their verdicts, newest first."""
    return tuple(_view(state, view) for view in trials_view(state))


def verdict_lines(state: ItemState) -> tuple[dict[str, str], ...]:
    """A line for each trial that has something to say: its id, name, and the verdict."""
    out = []
    for held in verdict_views(state):
        says = held.says or ("measured, its verdict not worked out yet" if held.ready else "")
        if held.stale:
            says += " Out of date: what was measured or done has changed since."
        if says:
            out.append({"id": held.view.trial.id, "name": held.view.step, "says": says})
    return tuple(out)


def keep_verdict(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Work out the verdict of a trial (``id``) from what the record holds now.

    Raises:
        Refusal: no such trial, or nothing of it was measured after treatment yet.
    """
    view = next((one for one in trials_view(state) if one.trial.id == form.get("id", "")), None)
    if view is None:
        raise no(form, "id", "There is no such trial; it may have been set aside meanwhile.")
    source = best_source(state, view.trial)
    if not any(one.moment == "after" for one in source.read):
        what = view.quantity[:1].lower() + view.quantity[1:]
        says = f"Nothing to judge yet: no sheet of it has a {what} after treatment in the record."
        raise no(form, "id", says)
    lines, inputs = _lines(state, view, source)
    try:
        run = run_method(METHOD, view.trial.id, {}, inputs, _params(view.trial, source, lines))
    except (VerdictError, ValueError) as error:
        raise refused(form, "id", f"{error}") from error
    return (Draft(state.id, "run.recorded", to_body(run)),)


def sources(state: ItemState, trial: Trial) -> tuple[Source, ...]:
    """Every way in which the record holds the trial's quantity, the best kept one first."""
    if trial.quantity == "paper.dE00":
        return (_compared(state, "paper.dE00", "the comparison of scans"),)
    if trial.quantity == "paper.L":
        return (
            _compared(state, "paper.dL", "the comparison of scans"),
            Source("scans of each moment", _FINE, tuple(_measured(state, "tone.L"))),
            *_typed(state, "lightness"),
        )
    if trial.quantity == "tone_step":
        scans = tuple(_measured(state, "tone.step"))
        return (*_typed(state, "tone_step"), Source("scans by the tone card", Decimal(1), scans))
    return _typed(state, trial.quantity)


def best_source(state: ItemState, trial: Trial) -> Source:
    """The way of measuring in which most pairs are whole, read beforehand too where equal."""

    def whole(source: Source) -> tuple[int, int]:
        after, both = 0, 0
        for pair in trial.pairs:
            cells = [(source.cell(sheet, "before"), source.cell(sheet, "after"))
                     for sheet in pair.split()]  # fmt: skip
            if all(late for _, late in cells):
                after += 1
                both += source.given or all(early for early, _ in cells)
        return after, both

    found = sources(state, trial)
    return max(found, key=whole) if found else Source("readings", Decimal(1))


def _typed(state: ItemState, quantity: str) -> tuple[Source, ...]:
    """Readings typed by hand, each method apart; what is off the scale is no value."""
    methods: dict[str, list[Read]] = {}
    steps: dict[str, Decimal] = {}
    for one in state.readings.values():
        if one.quantity != quantity or one.moment is None or one.off_scale:
            continue
        methods.setdefault(one.method, []).append(Read(one.place, one.moment, one.value, one.id))
        if one.resolution is not None:
            steps[one.method] = max(one.resolution, steps.get(one.method, Decimal(0)))
    usual = QUANTITIES[quantity].step
    return tuple(
        Source(
            PH_METHODS[key].name if key in PH_METHODS else key or "readings by eye",
            steps.get(key, usual), tuple(read),
        )
        for key, read in methods.items()
    )  # fmt: skip


def _measured(state: ItemState, quantity: str) -> Iterable[Read]:
    for (place, moment), run in latest_runs(state, MEASURE).items():
        if captured(state, run, "image") is None:
            continue
        for one in run.findings:
            if one.quantity != quantity:
                continue
            step = _STEP.search(one.text)
            if one.value is not None:
                yield Read(place, moment, Decimal(repr(one.value)), one.id)
            elif step is not None:
                yield Read(place, moment, Decimal(step[1]), one.id)


def _compared(state: ItemState, quantity: str, name: str) -> Source:
    read = [
        Read(place, "after", Decimal(repr(one.value)), one.id)
        for (place, _), run in latest_runs(state, COMPARE).items()
        for one in run.findings
        if one.quantity == quantity and one.value is not None
    ]
    return Source(name, _FINE, tuple(read), given=True)


def _lines(
    state: ItemState, view: TrialView, source: Source
) -> tuple[tuple[PairLine, ...], tuple[Input, ...]]:
    lines, inputs = [], []
    for one, two in view.pairs:
        sheets = (one.sheet, two.sheet)
        first, second = ((source.cell(sheet, "before"), source.cell(sheet, "after"))
                         for sheet in sheets)  # fmt: skip
        lines.append(
            PairLine(f"{sheets[0]} {sheets[1]}", (*first, *second), _out(state, (one, two)))
        )
        inputs += [
            Input(f"{read.place} {read.moment}", read.ref)
            for read in source.read
            if sheet_of(read.place) in sheets and (read.moment == "after" or not source.given)
        ]
    return tuple(lines), tuple(inputs)


def _out(state: ItemState, sides: Iterable[Side]) -> str:
    """Why a pair is left out, whatever was read on it; empty where it counts."""
    pilots = {sheet_of(pilot.place) for pilot in state.pilots.values() if pilot.place}
    reasons = []
    for side in sides:
        words, done = place_words(side.sheet), side.done
        if side.sheet in pilots:
            reasons.append(f"{words} was the pilot, looked at before the others")
        if done and done != side.way:
            reasons.append(f"{words} went {done}, not as the lot fell")
        elif not done:
            reasons.append(f"{words} is not recorded as treated")
    return "; ".join(reasons)


def _params(trial: Trial, source: Source, lines: Iterable[PairLine]) -> dict[str, str]:
    return {
        "pairs": "\n".join(line_text(line) for line in lines), "quantity": trial.quantity,
        "unit": trial.unit, "given": "change" if source.given else "moments",
        "margin": str(trial.margin), "locked": trial.locked_at, "way_a": trial.way_a,
        "way_b": trial.way_b, "resolution": str(source.resolution),
        "more": MORE.get(trial.quantity, "more"),
    }  # fmt: skip


def _view(state: ItemState, view: TrialView) -> VerdictView:
    source = best_source(state, view.trial)
    lines, inputs = _lines(state, view, source)
    run = state.newest_run(METHOD, view.trial.id)
    read = _read_on(inputs if run is None else run.inputs, state)
    params = _params(view.trial, source, lines)
    stale = run is not None and run.params != params
    judged = run.findings if run is not None else ()
    known = {one.subject: one for one in judged if one.quantity == "trial.pair_difference"}
    gone = {one.subject: one.text for one in judged if one.quantity == "trial.left_out"}
    shown = lines if run is None else read_lines(run.params["pairs"])
    given = source.given if run is None else run.params["given"] == "change"
    basis = differences([line for line in shown if line.pair in known], given)[0]
    rows = tuple(
        _row(line, basis, known.get(line.pair), line.out or gone.get(line.pair, ""), read)
        for line in shown
    )
    others = tuple(
        one.name for one in sources(state, view.trial) if one.read and one.name != source.name
    )
    return VerdictView(
        view, rows, source.name, run, stale,
        any(cell for line in lines for cell in line.cells[1::2]), others,
    )  # fmt: skip


def _read_on(inputs: Iterable[Input], state: ItemState) -> dict[str, tuple[str, ...]]:
    """By sheet, what was read on it, as far as the record still holds it."""
    out: dict[str, tuple[str, ...]] = {}
    for one in inputs:
        if one.ref in state.readings or one.ref.rpartition(".")[0] in state.runs:
            sheet = sheet_of(one.role.split()[0])
            out[sheet] = (*out.get(sheet, ()), one.ref)
    return out


def _row(
    line: PairLine, basis: Basis, known: Finding | None, out: str,
    read: Mapping[str, tuple[str, ...]],
) -> PairRow:  # fmt: skip
    both = sides(line, basis)
    sheets = line.pair.split()
    return PairRow(
        line.pair, _means(line.cells[:2]), _means(line.cells[2:]), known.value if known else None,
        out, known.id if known else "", (float(both[0]), float(both[1])) if both else None,
        {sheet: read[sheet] for sheet in sheets if sheet in read},
    )  # fmt: skip


def _means(cells: tuple[Cell, Cell]) -> tuple[float | None, float | None]:
    early, late = (sheet_mean(cell) for cell in cells)
    return (None if early is None else float(early), None if late is None else float(late))


def _text(run: Run | None, quantity: str) -> str:
    if run is None:
        return ""
    return next((one.text for one in run.findings if one.quantity == quantity), "")


def cells_words(row: tuple[float | None, float | None], places: int = 1) -> str:
    """What was read on a sheet: "9.0, then 6.5"; empty where nothing was.

    >>> cells_words((9.0, 6.5)), cells_words((None, 7.0)), cells_words((9.0, None))
    ('9.0, then 6.5', '7.0 after', '9.0 before')
    """
    early, late = row
    if late is None:
        return "" if early is None else f"{early:.{places}f} before"
    if early is None:
        return f"{late:.{places}f} after"
    return f"{early:.{places}f}, then {late:.{places}f}"
