"""The bench's own tools: the strip measured once, its greys, and the scanner calibrated.

Nothing here is required: a strip that was never measured counts as printed, an unchecked
scanner as the published one. Each entry narrows every item measured from then on.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

from quirewell.jobs.runner import Runner
from quirewell.record.bench import (
    BENCH_COLLECTIONS,
    BenchState,
    FittedTarget,
    ScannerCalibration,
    StripGreys,
    StripReading,
    ToneCard,
)
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft, Event
from quirewell.record.finding import Input, Run
from quirewell.record.nouns import Retract
from quirewell.science.colour.target_use import target_from_text
from quirewell.science.colour.tone_card import card_text, read_card
from quirewell.science.imaging.strip import find_strip
from quirewell.science.imaging.strip_greys import read_greys
from quirewell.stages import typed
from quirewell.stages.bench_params import length_params
from quirewell.stages.calibrating import METHOD
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import no
from quirewell.studio.images import ImageError, load_picture
from quirewell.studio.studio import STUDIO, Studio

Form = Mapping[str, str]
_MM = {"": "1", "mm": "1", "cm": "10", "in": "25.4", "inch": "25.4", '"': "25.4"}
CALIBRATE = "quirewell.stages.bench.carry_out"
# The noise of a mean over one grey step and the strip's own unevenness, in L* (assumed).
SCAN_GREY_U_L = 0.3
INSTRUMENT_GREY_U_L = 0.3


# --- view -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Line:
    """One record of the bench as a page shows it."""

    id: str
    says: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class BenchView:
    """The bench page: each part in words, and its records."""

    strip: str
    strip_says: str
    readings: tuple[Line, ...]
    greys_says: str
    greys: tuple[Line, ...]
    scanners_say: str
    scanners: tuple[Line, ...]
    cards: tuple[Line, ...] = ()
    targets: tuple[Line, ...] = ()


def view(bench: BenchState) -> BenchView:
    """What the bench knows of its own tools, and what one cheap reading would add."""
    return BenchView(
        bench.strip,
        _strip_says(bench),
        tuple(
            Line(one.id, f"{one.length_mm} mm, read to {one.step_mm} mm", one.note)
            for one in bench.lengths()
        ),
        _greys_say(bench),
        tuple(
            Line(one.id, ", ".join(f"{value:.1f}" for value in one.steps_L), _SOURCES[one.source])
            for one in bench.strip_greys.values()
            if one.strip == bench.strip
        ),
        _scanners_say(bench),
        tuple(
            Line(one.id, f"{one.scanner} at {one.dpi:g} dpi: {calibration_words(one)}", one.note)
            for one in bench.calibrations.values()
        ),
        tuple(Line(one.id, one.steps, _BY[one.by]) for one in bench.cards.values()),
        tuple(
            Line(one.id, f"for {one.scanner or 'scans that name no scanner'}: {one.use}", one.note)
            for one in bench.targets.values()
        ),
    )


_BY = {"instrument": "measured with an instrument", "scan": "read from a scan"}
_SOURCES = {"instrument": "measured", "scan": "as a scan gave them"}


def _strip_says(bench: BenchState) -> str:
    readings = bench.lengths()
    if not readings:
        return (
            "The strip has not been measured: it counts as printed, 160 mm, which may be 0.3 % "
            "out. One reading with a steel rule narrows every size most."
        )
    known = length_params(
        [float(one.length_mm) for one in readings], max(float(one.step_mm) for one in readings)
    )
    length, u = float(known["strip_length_mm"]), float(known["strip_length_u_mm"])
    count = f"{len(readings)} reading{'s' * (len(readings) > 1)}"
    return f"The strip is {length:.2f} mm long, \u00b1 {2 * u:.2f} mm (two standard), by {count}."


def _greys_say(bench: BenchState) -> str:
    held = bench.greys()
    if held is None:
        return (
            "The grey steps have not been entered. Two scans are held against each other all the "
            "same; a first scan kept as reference shows a drift over months."
        )
    return f"The grey steps are known, {_SOURCES[held.source]}, to {held.u_L:g} in L*."


def _scanners_say(bench: BenchState) -> str:
    if bench.calibrations:
        return "A calibration holds for its scanner at its resolution, and for no other."
    return (
        "No scanner is calibrated: up to 0.24 mm over a sheet, as published for a flatbed, stands "
        "in every size. Four scans of the strip would narrow that several times."
    )


def calibration_words(held: ScannerCalibration) -> str:
    """A calibration in a line: both scale errors and what is left for a length."""
    parts = []
    for name, quantity in (("across", "scale_x_pct"), ("down", "scale_y_pct")):
        one = held.finding(f"scanner.{quantity}")
        if one is not None and one.value is not None:
            parts.append(f"{one.value:+.3f} \u00b1 {2 * (one.u or 0):.3f} % {name}")
    left = held.finding("scanner.length_u_um")
    if left is not None and left.value is not None:
        parts.append(f"{left.value:.0f} um left over a sheet")
    return ", ".join(parts)


# --- commands -------------------------------------------------------------------------------


def measure_strip(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Enter a reading of the strip: ``length`` as typed ("159.8 mm"), ``new`` = "yes" for a
    newly printed strip, ``note``.

    Raises:
        Refusal: a length that cannot be read or cannot be.
    """
    text = form.get("length", "").strip()
    if not text:
        raise no(form, "length", "Type the length, as in 159.8 mm.")
    try:
        amount = typed.amount(text)
    except typed.Unreadable as error:
        raise no(form, "length", f"{error}.") from error
    factor = _MM.get(amount.unit.lower())
    if factor is None:
        raise no(form, "length", f"{amount.unit!r} is no unit of length here; write mm, cm or in.")
    strip = bench.strip
    if form.get("new") == "yes" and (bench.strip_readings or bench.strip_greys):
        strip = _next(strip)
    step = max(Decimal("0.05"), min(amount.step * Decimal(factor), Decimal("0.5")))
    try:
        reading = StripReading(
            f"strip-reading-{bench.version + 1}", amount.value * Decimal(factor), step, strip,
            text, form.get("note", "").strip(),
        )  # fmt: skip
    except ValueError as error:
        raise no(form, "length", _sentence(str(error))) from error
    return (Draft(STUDIO, "strip.measured", to_body(reading)),)


def set_greys(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Enter the strip's greys: ``greys`` six L* as typed, darkest first, ``u`` (0.3), ``note``.

    Raises:
        Refusal: not six numbers that grow.
    """
    words = form.get("greys", "").replace(";", " ").split()
    try:
        values = tuple(float(typed.number(word.rstrip(","))) for word in words)
        u = float(typed.number(form.get("u", "").strip() or str(INSTRUMENT_GREY_U_L)))
        greys = StripGreys(
            f"strip-greys-{bench.version + 1}", values, u, "instrument", bench.strip,
            note=form.get("note", "").strip(),
        )  # fmt: skip
    except ValueError as error:
        raise no(form, "greys", _sentence(str(error))) from error
    return (Draft(STUDIO, "strip.greys_set", to_body(greys)),)


def greys_from_scan(bench: BenchState, path: Path, sha256: str = "") -> tuple[Draft, ...]:
    """Keep the greys as one scan gives them, as the reference for later scans.

    Raises:
        Refusal: no picture, or no strip with all its steps in it.
    """
    try:
        pixels = load_picture(path).pixels
    except ImageError as error:
        raise no({}, "scan", _sentence(str(error))) from error
    strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
    read = read_greys(pixels, strip) if strip is not None else None
    if read is None or not np.isfinite(read.steps_L).all():
        raise no({}, "scan", f"No bench strip with all six grey steps is seen in {path.name}.")
    values = tuple(round(float(value), 3) for value in read.steps_L)
    try:
        greys = StripGreys(
            f"strip-greys-{bench.version + 1}", values, SCAN_GREY_U_L, "scan", bench.strip, sha256
        )
    except ValueError as error:
        raise no({}, "scan", _sentence(str(error))) from error
    return (Draft(STUDIO, "strip.greys_set", to_body(greys)),)


def set_card(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Enter the bench's own tone card: ``card``, one step a line, and ``by`` scan or instrument.

    Raises:
        Refusal: no steps, or values that are no paper.
    """
    by = form.get("by") or "instrument"
    if by not in ("scan", "instrument"):
        raise no(form, "card", "A card is measured with an instrument or read from a scan.")
    try:
        steps = card_text(read_card(form.get("card", "")))
    except ValueError as error:
        raise no(form, "card", _sentence(str(error))) from error
    note = form.get("note", "").strip()
    card = ToneCard(f"tone-card-{bench.version + 1}", steps, by, note)  # type: ignore[arg-type]
    return (Draft(STUDIO, "tone_card.measured", to_body(card)),)


def set_target(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Enter a fitted target: ``target``, the line or the whole JSON that the fit left.

    Raises:
        Refusal: a text that is no fitted target.
    """
    text = form.get("target", "").strip()
    try:
        use = str(json.loads(text)["target"]["use"]) if text.startswith("{") else text
        target_from_text(use)
    except (ValueError, KeyError, TypeError) as error:
        says = "This is no fitted target; give what quirewell target fit IMAGE CHART --json said."
        raise no(form, "target", says) from error
    scanner, note = form.get("scanner", "").strip()[:120], form.get("note", "").strip()
    held = FittedTarget(f"target-{bench.version + 1}", use, scanner, note)
    return (Draft(STUDIO, "target.fitted", to_body(held)),)


def set_aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set a record of the bench aside: ``id``; it stays in the journal.

    Raises:
        Refusal: no such record.
    """
    known = {key for name in BENCH_COLLECTIONS for key in getattr(bench, name)}
    if form.get("id", "") not in known:
        raise no(form, "id", "There is no such record; it may have been set aside meanwhile.")
    noun = Retract(form["id"], form.get("reason", "").strip())
    return (Draft(STUDIO, "record.retracted", to_body(noun)),)


def strip_params_of(bench: BenchState) -> dict[str, str]:
    """The measured strip as parameters of ``scanner.calibrate``."""
    readings = bench.lengths()
    if not readings:
        return {}
    step = max(float(one.step_mm) for one in readings)
    return length_params([float(one.length_mm) for one in readings], step)


def carry_out(
    files: Sequence[str], names: Sequence[str], hashes: Sequence[str], params: Mapping[str, str]
) -> dict[str, Any]:
    """Calibrate in a worker; the run as a body."""
    roles = [f"scan{index}" for index in range(1, len(files) + 1)]
    paths = {role: Path(path) for role, path in zip(roles, files, strict=True)}
    inputs = tuple(
        Input(role, name, sha256) for role, name, sha256 in zip(roles, names, hashes, strict=True)
    )
    return to_body(run_method(METHOD, "scanner", paths, inputs, params))


def calibrate(
    studio: Studio,
    sources: Sequence[tuple[str, Path]],
    params: Mapping[str, str],
    *,
    name: str = "",
    untagged: bool = False,
    runner: Runner | None = None,
    actor: str = "bench",
) -> tuple[ScannerCalibration, Event]:
    """Keep the scans, calibrate from them in a worker, and record what it said.

    ``sources`` are (name shown, path). ``name`` is needed where the files name no scanner;
    ``untagged`` says that all files that name none come from this scanner.

    Raises:
        Refusal: too few scans, no name, or scans that cannot be used; nothing is recorded.
    """
    bench = studio.bench()
    asked = dict(params)
    if asked.get("artefact", "strip") == "strip" and "strip_length_mm" not in asked:
        asked |= {} if asked.get("board") else strip_params_of(bench)
    try:
        hashes = [studio.blobs.put(path) for _, path in sources]
    except OSError as error:
        says = f"{error.filename} cannot be opened: {error.strerror}; check the name."
        raise no({}, "scans", says) from error
    if len(set(hashes)) < len(hashes):
        raise no({}, "scans", "One file was given twice; each scan must be a scan of its own.")
    paths = [str(studio.blobs.path(sha256)) for sha256 in hashes]
    run = _run(paths, [shown for shown, _ in sources], hashes, asked, runner)
    found = {one.quantity: one for one in run.findings}
    named = found["scanner.name"].text or name.strip()
    if not named:
        raise no({}, "name", "The files name no scanner; give it a name you will know it by.")
    held = ScannerCalibration(
        "scanner-" + hashlib.sha256(f"{run.id} {named}".encode()).hexdigest()[:11],
        named, float(found["scanner.dpi"].value or 0.0), run,
        untagged or not found["scanner.name"].text,
    )  # fmt: skip
    draft = Draft(STUDIO, "scanner.calibrated", to_body(held))
    return held, studio.append(STUDIO, None, [draft], actor)[0]


def _run(
    paths: list[str], names: list[str], hashes: list[str], params: dict[str, str],
    runner: Runner | None,
) -> Run:  # fmt: skip
    try:
        if runner is None:
            body = carry_out(paths, names, hashes, params)
        else:
            job = runner.submit(CALIBRATE, paths, names, hashes, params, urgent=True).wait()
            if job.state != "done":
                raise ValueError(job.error or "the scans could not be looked through")
            body = job.result
    except ValueError as error:
        says = str(error)
        for name, sha256 in zip(names, hashes, strict=True):
            says = says.replace(sha256, name)
        raise no({}, "scans", _sentence(says)) from error
    return from_body(Run, body)


def _next(strip: str) -> str:
    return str(int(strip) + 1) if strip.isdigit() else f"{strip} (new)"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "?", "!")) else ".")
