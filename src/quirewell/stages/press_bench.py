"""The bench's press: calibrations, stacks kept by name, materials of one's own; commands and view.

They live in the studio's own stream, as strip and scanner do, and every item's press page offers
them from then on. Nothing is required.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from quirewell.record.bench import BenchState, OwnMaterials, PressCalibration, StackRecipe
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.finding import Input, Run
from quirewell.record.nouns import ItemState
from quirewell.science.press.materials import MATERIALS, Material
from quirewell.stages.ledger_view import TALL, Dot, Panel, panel_of, scale
from quirewell.stages.methods import run_method
from quirewell.stages.press_calibrating import METHOD, MORE, use_of
from quirewell.stages.press_entry import KNOWN, own_materials, read_pressing
from quirewell.stages.pressing import METHOD as PRESS
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.studio import STUDIO, Studio

Form = Mapping[str, str]
# What lays a stack out and may be kept by name; a calibration and an item's damp are no part of it.
LAID = tuple(name for name in KNOWN if name not in ("known", "name"))
# Stacks to begin with. None is chosen beforehand; the second and third are what some benches do.
PRESETS: tuple[StackRecipe, ...] = (
    StackRecipe(
        "damp", "Warm, the cool side open",
        {"heat": "above", "platen_c": "65", "minutes": "15", "start_rh_pct": "65",
         "above": "aluminium; thin board; card",
         "below": "blotter; blotter; thin board; thin board",
         "centre": "thin board 0.5", "cooling": "in place"},
        "from memory: at most 65 °C for damp paper",
    ),
    StackRecipe(
        "release-below", "68 °C, release sheet under the pamphlet",
        {"heat": "above", "platen_c": "68", "minutes": "15", "start_rh_pct": "80",
         "above": "aluminium; thin board; thin board; card",
         "below": "release sheet; thin board; thin board; aluminium",
         "centre": "thin board 0.5", "cooling": "in place"},
        "what some benches do (common practice, no source)",
    ),
    StackRecipe(
        "release-above", "68 °C, release sheet on the hot side",
        {"heat": "above", "platen_c": "68", "minutes": "15", "start_rh_pct": "80",
         "above": "aluminium; thin board; release sheet",
         "below": "card; thin board 3; wood", "centre": "thin board 0.5", "cooling": "in place"},
        "the same heat, and the side away from it left open",
    ),
    StackRecipe(
        "cold", "Cold, under weight",
        {"heat": "none", "minutes": "720", "start_rh_pct": "65", "above": "thin board; blotter",
         "below": "blotter; thin board", "centre": "thin board 0.5", "cooling": "none"},
        "no heat: nothing to alarm, and nothing in a hurry",
    ),
)  # fmt: skip


# --- commands -------------------------------------------------------------------------------


def calibrate_press(
    studio: Studio, params: Mapping[str, str], log: tuple[str, Path] | None, press: str,
    actor: str = "bench",
) -> tuple[PressCalibration, Event]:  # fmt: skip
    """Keep the log, fit the press to it and to the weights, and keep that with the equipment.

    ``params`` as the method ``press.calibrate`` takes them; ``log`` is (name shown, path).

    Raises:
        Refusal: no name, a log that cannot be read, or readings that cannot be; nothing is kept.
    """
    if not press.strip():
        raise Refusal((Problem("press", "Give the press a name you will know it by."),))
    files: dict[str, Path] = {}
    inputs: tuple[Input, ...] = ()
    if log is not None:
        shown, path = log
        try:
            sha256 = studio.blobs.put(path)
        except OSError as error:
            says = f"{shown} cannot be opened: {error.strerror}; check the name."
            raise Refusal((Problem("log", says),)) from error
        files, inputs = {"log": studio.blobs.path(sha256)}, (Input("log", shown, sha256),)
    try:
        run = run_method(METHOD, "press", files, inputs, params)
    except ValueError as error:
        says = f"{error}".rstrip(".") + "."
        for role in inputs:
            says = says.replace(role.sha256, role.ref)
        raise Refusal((Problem(_box_of(says, bool(log)), says),), values=dict(params)) from error
    held = PressCalibration(
        "press-" + hashlib.sha256(f"{run.id} {press}".encode()).hexdigest()[:11], press.strip(),
        run, use_of(run),
    )  # fmt: skip
    draft = Draft(STUDIO, "press.calibrated", to_body(held))
    return held, studio.append(STUDIO, None, [draft], actor)[0]


def _box_of(says: str, logged: bool) -> str:
    if "weigh" in says or "scale" in says or "between the weighings" in says:
        return "before_g"
    return (
        "log" if logged and ("column" in says or "readings" in says or "log" in says) else "stack"
    )


def keep_stack(bench: BenchState, state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Keep the item's newest pressing as a stack by ``name``; the same name takes its place.

    Raises:
        Refusal: no name, or nothing was worked out yet.
    """
    run = state.newest_run(PRESS, "finish")
    name = " ".join(form.get("name", "").split())[:80]
    if run is None:
        raise Refusal((Problem("name", "Look inside a press first; its stack is then kept."),))
    if not name:
        raise Refusal((Problem("name", "Give the stack a name."),), values=dict(form))
    laid = {key: text for key, text in run.params.items() if key in LAID}
    made = StackRecipe(f"stack-{bench.version + 1}", name, laid, form.get("note", "").strip())
    return (Draft(STUDIO, "stack.kept", to_body(made)),)


def set_materials(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set the bench's own materials: ``lines``, one a line; empty for none.

    Raises:
        Refusal: a line that cannot be read.
    """
    lines = "\n".join(line.strip() for line in form.get("lines", "").splitlines() if line.strip())
    try:
        own_materials(lines)
    except ValueError as error:
        raise Refusal((Problem("lines", f"{error}."),), values=dict(form)) from error
    made = OwnMaterials(f"materials-{bench.version + 1}", lines)
    return (Draft(STUDIO, "materials.set", to_body(made)),)


def stack_of(bench: BenchState, key: str) -> StackRecipe | None:
    """A stack by its id: the bench's own, or one of those to begin with."""
    found = bench.stacks.get(key)
    return found or next((one for one in PRESETS if one.id == key), None)


# --- view -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Held:
    """One calibration or stack as a page shows it."""

    id: str
    says: str
    note: str


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """A material in words: what the stack is built from, with what is not known of it."""

    name: str
    rho: str
    heat: str
    conducts: str
    mu: str
    mm: str
    standing: str
    own: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """A calibration's picture: the centre before and after, with what the probe read."""

    panels: tuple[Panel, ...]
    marks: tuple[tuple[float, str], ...]
    fresh: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PressBench:
    """The press's page."""

    says: str
    presses: tuple[Held, ...]
    fit: Fit | None
    stacks: tuple[Held, ...]
    choices: tuple[tuple[str, str], ...]
    materials: tuple[MaterialRow, ...]
    lines: str


def view(bench: BenchState) -> PressBench:
    """What the bench knows of its press, its stacks and its materials."""
    presses = tuple(reversed(bench.presses.values()))
    newest = presses[0].run if presses else None
    return PressBench(
        _says(bench), tuple(Held(one.id, _press_says(one), _told(one)) for one in presses),
        None if newest is None else fit_of(newest),
        tuple(Held(one.id, one.name, laid_words(one)) for one in bench.recipes()),
        (*((one.id, one.name) for one in bench.recipes()),
         *((one.id, one.name) for one in PRESETS)),
        _materials(bench), bench.own_materials(),
    )  # fmt: skip


def _says(bench: BenchState) -> str:
    if bench.known_presses():
        return (
            "An item's press page offers each press by its name; its bands are then those of that "
            "press."
        )
    return (
        "No press is calibrated: every pressing is computed over all that is not known of it. A "
        "dummy weighed before and after on a kitchen scale narrows it most, if it goes in damp "
        "(75 to 80 %): a dry one loses nothing to weigh. A thermocouple in its centrefold adds the "
        "heat."
    )


def _told(one: PressCalibration) -> str:
    return next((f.text for f in one.run.findings if f.quantity == "calibration.says"), "")


def _press_says(one: PressCalibration) -> str:
    how = []
    if any(entry.role == "log" for entry in one.run.inputs):
        how.append(f"by the log {one.run.inputs[0].ref}")
    if one.run.params.get("before_g"):
        how.append(f"by {one.run.params['before_g']} g and {one.run.params['after_g']} g")
    return f"{one.press}, {' and '.join(how)}" + ("" if one.use else ": contradicted, not used")


def laid_words(recipe: StackRecipe) -> str:
    """A stack in a line: heat, and what lies above and below.

    >>> laid_words(PRESETS[0])[:35]
    'heat from above, 65 °C, 15 minutes;'
    """
    plan = read_pressing({k: v for k, v in recipe.params.items() if k in KNOWN})
    heat = {"above": "from above", "below": "from below", "both": "from both sides"}.get(plan.heat)
    first = f"heat {heat}, {plan.hottest_c:g} °C, {plan.minutes:g} minutes" if heat else "no heat"
    above, below = (
        ", ".join(layer.material.name for layer in side) or "nothing"
        for side in (plan.stack.above, plan.stack.below)
    )
    return f"{first}; above: {above}; below: {below}"


def _materials(bench: BenchState) -> tuple[MaterialRow, ...]:
    table = own_materials(bench.own_materials())
    return tuple(_material(row, MATERIALS.get(row.key) is not row) for row in table.values())


def _material(row: Material, own: bool) -> MaterialRow:
    tight = row.mu >= 1e5
    mu = "no vapour passes" if tight else f"{row.mu:g}"
    if not tight and row.mu_low != row.mu_high:
        mu += f" ({row.mu_low:g} to {row.mu_high:g})"
    return MaterialRow(
        row.name, f"{row.rho:g}", f"{row.heat:g}", f"{row.conducts:g}", mu, f"{row.usual_mm:g}",
        row.standing, own,
    )  # fmt: skip


def fit_of(run: Run) -> Fit | None:
    """A calibration's centre before and after, over minutes; None where no course was drawn."""
    drawing = run.drawing
    times = [float(t) / 60 for t in drawing.get("t_s", "").split()]
    if len(times) < 2:
        return None
    across = scale(0.0, times[-1])
    read = [
        (float(t) / 60, float(v))
        for t, v in (pair.split() for pair in drawing.get("read", "").split(";") if pair)
    ]
    panels = []
    for key, name in (("before", "Before: the fold, °C"), ("after", "Calibrated: the fold, °C")):
        low, middle, high = (
            [float(v) for v in row.split()] for row in drawing[f"centre_{key}"].split(";")
        )
        rows = list(zip(times, middle, low, high, strict=True))
        made = panel_of(key, name, rows, (), across, 0.0)
        span = max(high) * 1.08
        dots = tuple(_dot(across(t), v, span) for t, v in read)
        panels.append(Panel(key, name, made.band, made.line, made.ticks, dots, made.banded))
    step = next(s for s in (5, 10, 15, 30, 60) if times[-1] / s <= 6 or s == 60)
    marks = tuple((across(m), f"{m}") for m in range(0, int(times[-1]) + 1, step))
    return Fit(tuple(panels), marks, (across(float(drawing["ends_s"]) / 60),))


def _dot(x: float, value: float, span: float) -> Dot:
    y = round(TALL * (1 - min(max(value / span, 0.0), 1.0)), 2)
    return Dot(x, y, y, y, f"{value:.1f} °C read")


__all__ = [
    "LAID", "MORE", "PRESETS", "calibrate_press", "fit_of", "keep_stack", "laid_words",
    "set_materials", "stack_of", "view",
]  # fmt: skip
