"""``quirewell press``, ``iron``: what happens inside a pressed pamphlet, and under a hand iron."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, PlainFirst, ask, open_studio, sentence, text_options
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Input, Run
from quirewell.stages.ironing import METHOD as IRON
from quirewell.stages.ironing import as_json as iron_json
from quirewell.stages.press_bench import calibrate_press
from quirewell.stages.press_calibrating import METHOD as CALIBRATE
from quirewell.stages.press_calibrating import as_json as calibrate_json
from quirewell.stages.press_entry import params_of
from quirewell.stages.press_view import changes_of
from quirewell.stages.pressing import METHOD, MIDWAY, TELL, as_json
from quirewell.stages.refusal import Refusal
from quirewell.studio.blobs import hash_file

_MOST_BYTES = 100_000


@click.group(cls=PlainFirst, plain="run")
def press() -> None:
    """Temperature and moisture inside a pressed pamphlet, leaf by leaf, before anything is warmed.

    \b
    Examples:
      quirewell press examples/stacks/case-a.toml
      quirewell press examples/stacks/practice.toml --json
    """


def stack_params(stack: Path, wants_json: bool) -> dict[str, str]:
    """The parameters of a stack file, or the end with a sentence."""
    try:
        if stack.stat().st_size > _MOST_BYTES:
            raise ValueError(f"{stack.name} is too large for a stack file")
        return params_of(stack.read_text(encoding="utf-8"), stack.name)
    except (OSError, UnicodeDecodeError) as error:
        fail(f"{stack.name} cannot be read as a stack file: {error}.", wants_json)
    except ValueError as error:
        fail(sentence(error), wants_json)


_STACK = click.argument(
    "stack", type=click.Path(path_type=Path, dir_okay=False), metavar="STACK.toml"
)
_STUDIO = click.option(
    "--studio", "folder", default=None, metavar="DIR", help="The studio that keeps the press."
)
_PRESS = click.option("--press", "name", default="", metavar="NAME", help="The press by its name.")


@press.command("run")
@_STACK
@_STUDIO
@_PRESS
@JSON
def run_stack(stack: Path, folder: str | None, name: str, wants_json: bool) -> None:
    """What happens in a stack from heat on to cool, as a band over what is not known.

    \b
    Examples:
      quirewell press examples/stacks/case-a.toml
      quirewell press examples/stacks/case-c.toml --json

    STACK.toml lists layers from top to bottom; examples/stacks holds some. Not above 95 °C: a hand
    iron is computed by itself (quirewell iron). With --studio and --press the band is that of a
    press you calibrated.
    """
    params = stack_params(stack, wants_json) | _known(folder, name, wants_json)
    with _told():
        run = ask(METHOD, "plan", params, wants_json)
    out = as_json(run)
    if wants_json:
        print_json(out)
        return
    title = params.get("name", stack.stem).upper()
    lines = [f"PRESS: {title}", *paragraphs("Before you begin", out["cautions"]), ""]
    for key in ("says", "alarm_says", "change", "swap"):
        lines += paragraphs("", [out[key]])[1:]
    lines += ["", *_table(out), "", "What else could be done, one change at a time",
              f"  ({MIDWAY})", *_changes(run)]  # fmt: skip
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


@contextmanager
def _told() -> Iterator[None]:
    """While it runs, how many of its runs are done; only to a person at a terminal."""
    if not sys.stderr.isatty():
        yield
        return
    token = TELL.set(lambda done, of: click.echo(f"\r{done} of {of} runs", nl=False, err=True))
    try:
        yield
    finally:
        TELL.reset(token)
        click.echo("\r" + 20 * " " + "\r", nl=False, err=True)


def _known(folder: str | None, name: str, wants_json: bool) -> dict[str, str]:
    """A kept calibration, or the end with a sentence."""
    if not name:
        return {}
    if folder is None:
        fail("Name the studio that keeps the press: --studio DIR.", wants_json)
    with open_studio(folder, wants_json) as studio:
        bench = studio.bench()
    held = bench.press(name)
    if held is None or not held.use:
        names = ", ".join(repr(one.press) for one in bench.known_presses()) or "none yet"
        fail(f"No calibration of {name!r} can be used here; there are: {names}.", wants_json)
    return {"known": held.use}


_WEIGHTS = (
    ("--before-g", "G", "The dummy's weight before."),
    ("--after-g", "G", "Its weight after, once cool (or at --weighed-min)."),
    ("--scale-g", "G", "The scale's step (0.1)."),
    ("--weighed-min", "MIN", "Minutes from heat on until it was weighed."),
    ("--width-mm", "MM", "A page's width (184)."),
    ("--height-mm", "MM", "A page's height (260)."),
    ("--columns", "TEXT", "Where each column lay: 'centre=T1, cool=3, rh cool=4, platen=T2'."),
    ("--time-unit", "UNIT", "s, min or h, where the log does not say."),
    ("--heat-on-min", "MIN", "Minutes into the log when the heat came on (0)."),
    ("--probe-u-c", "C", "Standard uncertainty of a probe and its place (1.0)."),
    ("--rh-u-pct", "%", "The same of a humidity probe (4)."),
)


@press.command("calibrate")
@_STACK
@click.argument(
    "log", required=False, type=click.Path(path_type=Path, dir_okay=False), metavar="[LOG.csv]"
)
@text_options(_WEIGHTS)
@_STUDIO
@_PRESS
@JSON
def calibrate(
    stack: Path, log: Path | None, folder: str | None, name: str, wants_json: bool, **texts: str
) -> None:
    """Fit a press to a dummy's log and weights: the band narrows, or a contradiction is told.

    \b
    Examples:
      quirewell press calibrate examples/stacks/practice.toml log.csv
      quirewell press calibrate dummy.toml --before-g 84.2 --after-g 82.1 --weighed-min 15
      quirewell press calibrate dummy.toml log.csv --studio larkmoor --press "book press"

    The log is any CSV of times and temperatures (or humidities) in a dummy of like paper and
    thickness, never in the item. STACK.toml is the dummy's stack. With --studio and --press the
    result is kept with the equipment and used by quirewell press --press NAME.
    """
    params = stack_params(stack, wants_json)
    params |= {key: text for key, text in texts.items() if text}
    if name and folder is None:
        fail("Name the studio that keeps the press: --studio DIR.", wants_json)
    if log is not None and not log.is_file():
        fail(f"{log} cannot be opened: there is no such file; check the name.", wants_json)
    if folder is not None and name:
        with open_studio(folder, wants_json) as studio, _told():
            try:
                source = None if log is None else (log.name, log)
                held, _ = calibrate_press(studio, params, source, name)
            except Refusal as refusal:
                fail(refusal.problems[0].says, wants_json)
        run, kept = held.run, held.id
    else:
        files = {} if log is None else {"log": log}
        inputs = () if log is None else (Input("log", log.name, hash_file(log)),)
        with _told():
            run, kept = ask(CALIBRATE, "press", params, wants_json, files, inputs), None
    out = calibrate_json(run) | {"kept": kept}
    if wants_json:
        print_json(out)
        return
    lines = ["PRESS, CALIBRATED", *paragraphs("In a sentence", [out["says"]]), "",
             f"  {'':<34} {'before':>17} {'calibrated':>17}   (90 %)"]  # fmt: skip
    for key, words, factor in (
        ("centre_c", "centre when heating ends, °C", 1.0), ("lost_g_m2", "water out, g/m²", 1.0),
        ("cool_u", "cool cover, g/g", 1.0), ("rh_max", "greatest humidity, %", 100.0),
    ):  # fmt: skip
        spans = [_span(out[column].get(key), factor) for column in ("before", "calibrated")]
        lines.append(f"  {words:<34} {spans[0]:>17} {spans[1]:>17}")
    lines += ["", "How near the model comes"]
    lines += [
        f"  {row['signal']:<10} {row['value']:+.2g} {row['unit']}".rstrip(" 1")
        + f" ({row['note']})"
        for row in out["misfits"]
    ]
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))


def _span(one: dict[str, Any] | None, factor: float) -> str:
    if one is None:
        return "not in it"
    return f"{factor * one['low90']:.3g} to {factor * one['high90']:.3g}"


def _table(out: dict[str, Any]) -> list[str]:
    rows = (
        ("centre half-way, min", out["centre"]["t50_s"], 1 / 60),
        ("centre at the end, °C", out["centre"]["temperature_c_at_end"], 1),
        *(
            (_water(out["water"][key], unit), out["water"][key], _sign(out["water"][key]))
            for key, unit in (("lost_g_m2", "g/m²"), ("lost_pct", "%"))
        ),
        ("cool cover, g/g", out["cold_face"]["u"], 1),
        ("greatest humidity, %", out["rh"]["max"], 100),
        ("cool to 25 °C, min", out["cool_to_25c_s"], 1 / 60),
        ("heat, days at 20 °C and 50 %", out["dose"]["days"], 1),
    )
    lines = [f"  {'':<30} {'low':>8} {'middle':>8} {'high':>8}   (90 %)"]
    for name, one, factor in rows:
        if one is None:
            lines.append(f"  {name:<30} {'not in this course':>26}")
        else:
            low, mid, high = sorted(factor * one[key] for key in ("low", "mid", "high"))
            lines.append(f"  {name:<30} {low:>8.3g} {mid:>8.3g} {high:>8.3g}")
    return lines


def _sign(one: dict[str, Any]) -> int:
    return -1 if one["high"] < 0 else 1


def _water(one: dict[str, Any], unit: str) -> str:
    """What a row of water given off is called where some or all of it is taken up."""
    if one["high"] < 0:
        return f"water taken up, {unit}"
    return f"water out{' (below 0: taken up)' if one['low'] < 0 else ''}, {unit}"


def _changes(run: Run) -> list[str]:
    lines = []
    for row in changes_of(run):
        lines.append(f"  {row.name}{' (helps)' if row.helps else ''}")
        lines.append(
            f"      hot and damp {row.hot_and_damp}, dampest {row.greatest}, cool side "
            f"{row.cool_side}, {row.out}, centre {row.centre}, cool in {row.cools}"
        )
    return lines


_IRON = (
    ("--iron-c", "C", "The iron's temperature (65 °C)."),
    ("--seconds", "S", "How long it stays in one place (5)."),
    ("--release-mm", "MM", "Release sheet under it, 0 for none (0.5)."),
    ("--leaves", "N", "Leaves in the fold under it (2)."),
    ("--leaf-mm", "MM", "A leaf's thickness (0.085)."),
    ("--rh-pct", "%", "Humidity in the paper (50)."),
    ("--passes", "N", "Passes over one place (1)."),
)


@click.command()
@text_options(_IRON)
@JSON
def iron(wants_json: bool, **numbers: str) -> None:
    """How hot the fold gets under a hand iron, and what that costs. Dry paper only above 100 C.

    \b
    Examples:
      quirewell iron
      quirewell iron --iron-c 121 --seconds 5 --release-mm 0.5 --passes 3 --json
    """
    out = iron_json(ask(IRON, "plan", numbers, wants_json))
    if wants_json:
        print_json(out)
        return
    lines = ["IRON", *paragraphs("Before you begin", out["cautions"]), ""]
    lines += [*paragraphs("In a sentence", [out["says"]])[1:], ""]
    for key, name in (("peak_c", "top leaf, °C"), ("under_c", "lowest leaf, °C")):
        one = out[key]
        lines.append(f"  {name:<16} {one['low']:.0f} to {one['high']:.0f} (90 %)")
    days = out["dose"]["days"]
    lines.append(f"  {'days':<16} {days['mid']:.2g} ({days['low']:.2g} to {days['high']:.2g})")
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))
