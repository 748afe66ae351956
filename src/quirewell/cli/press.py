"""``quirewell press``, ``iron``: what happens inside a pressed pamphlet, and under a hand iron."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, PlainFirst, ask, sentence, text_options
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.record.finding import Run
from quirewell.stages.ironing import METHOD as IRON
from quirewell.stages.ironing import as_json as iron_json
from quirewell.stages.press_entry import params_of
from quirewell.stages.press_view import changes_of
from quirewell.stages.pressing import METHOD, MIDWAY, as_json

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


@press.command("run")
@click.argument("stack", type=click.Path(path_type=Path, dir_okay=False), metavar="STACK.toml")
@JSON
def run_stack(stack: Path, wants_json: bool) -> None:
    """What happens in a stack from heat on to cool, as a band over what is not known.

    \b
    Examples:
      quirewell press examples/stacks/case-a.toml
      quirewell press examples/stacks/case-c.toml --json

    STACK.toml lists layers from top to bottom; examples/stacks holds some. Not above 95 C: a hand
    iron is computed by itself (quirewell iron).
    """
    params = stack_params(stack, wants_json)
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


def _table(out: dict[str, Any]) -> list[str]:
    rows = (
        ("centre half-way, min", out["centre"]["t50_s"], 1 / 60),
        ("centre at the end, C", out["centre"]["temperature_c_at_end"], 1),
        *(
            (_water(out["water"][key], unit), out["water"][key], _sign(out["water"][key]))
            for key, unit in (("lost_g_m2", "g/m2"), ("lost_pct", "%"))
        ),
        ("cool cover, g/g", out["cold_face"]["u"], 1),
        ("greatest humidity, %", out["rh"]["max"], 100),
        ("cool to 25 C, min", out["cool_to_25c_s"], 1 / 60),
        ("heat, days at 20 C and 50 %", out["dose"]["days"], 1),
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
    ("--iron-c", "C", "The iron's temperature (65 C)."),
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
    for key, name in (("peak_c", "top leaf, C"), ("under_c", "lowest leaf, C")):
        one = out[key]
        lines.append(f"  {name:<16} {one['low']:.0f} to {one['high']:.0f} (90 %)")
    days = out["dose"]["days"]
    lines.append(f"  {'days':<16} {days['mid']:.2g} ({days['low']:.2g} to {days['high']:.2g})")
    click.echo("\n".join(lines + paragraphs("What to know", out["warnings"])))
