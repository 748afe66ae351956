"""``quirewell plan``: when each step is done at the bench, with trays, hands and hours."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, open_studio, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.cli.parcels import quiet
from quirewell.stages import bench_planning, plan_keeping
from quirewell.stages.all_items import PLAN
from quirewell.stages.plan_ics import calendar
from quirewell.stages.plan_told import length, table
from quirewell.stages.refusal import Refusal
from quirewell.studio.clock import bench_zone
from quirewell.studio.durable import write_whole

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("plan", type=_FILE, required=False)
@click.option(
    "--ics",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the sittings as a calendar; a file there is brought up to date.",
)
@click.option(
    "--studio",
    "studio_folder",
    metavar="DIR",
    type=click.Path(file_okay=False, path_type=Path),
    help="Plan with items and the bench of a studio instead of a file; nothing is kept.",
)
@click.option("--item", "items", multiple=True, metavar="ID", help="Which items of the studio.")
@click.option("--recipe", default="", metavar="KEY", help="Which recipe they take.")
@click.option("--start", default="", metavar="TIME", help="When the work begins (now).")
@click.option("--seconds", default="", metavar="S", help="Seconds of search (10).")
@click.option(
    "--by-rule", is_flag=True, help="Plan by a plain rule, without the solver; never proved."
)
@JSON
def plan(
    plan: Path | None, ics: Path | None, studio_folder: Path | None, items: tuple[str, ...],
    recipe: str, start: str, seconds: str, by_rule: bool, wants_json: bool,
) -> None:  # fmt: skip
    """When each step is done at the bench: many sheets, few trays, one pair of hands.

    PLAN is a file (TOML) with the items, their recipes, what the bench has and when somebody is
    there; --studio takes all of it from a studio. No bath ends at night, no wet sheet waits longer
    than its recipe allows. The plan says whether it is proved best, what is not excluded, or which
    rules cannot hold together.

    \b
    Examples:
      quirewell plan examples/bench_plan/annual.toml
      quirewell plan examples/bench_plan/annual.toml --json
      quirewell plan examples/bench_plan/annual.toml --ics bench.ics
      quirewell plan --studio larkmoor --item annual --recipe slow-way
    """
    if (plan is None) == (studio_folder is None):
        fail("Give a plan file, or --studio and its folder.", wants_json)
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    source = plan.name if plan is not None else "the studio"
    params = {"start": start or now.isoformat(), "zone": bench_zone()}
    if seconds:
        params["seconds"] = seconds
    if by_rule:
        params["by"] = "rule"
    try:
        if plan is not None:
            params["plan"] = plan.read_text(encoding="utf-8")
        else:
            assert studio_folder is not None
            params["plan"] = _from_studio(studio_folder, items, recipe, params, wants_json)
        with quiet():
            run = bench_planning.ask(params)
    except UnicodeDecodeError:
        fail(f"{source} is no text (UTF-8).", wants_json)
    except (ValueError, Refusal) as error:
        fail(f"{source}: {sentence(error)}", wants_json)
    told = bench_planning.as_json(run)
    if ics is not None:
        _write(ics, told, wants_json)
    if wants_json:
        print_json(told)
        return
    click.echo("\n".join(_card(told)))


def _from_studio(
    folder: Path, items: tuple[str, ...], recipe: str, params: dict[str, str], wants_json: bool
) -> str:
    """The plan's text out of a studio."""
    with open_studio(folder, wants_json) as studio:
        if not items:
            there = ", ".join(line.id for line in studio.page(limit=10)) or "none yet"
            raise ValueError(f"name the items to plan with --item; there are {there}")
        form = {"items": " ".join(items), "recipe": recipe, **params}
        return plan_keeping.text_of(studio.bench(), studio.states(*PLAN), form)


def _write(target: Path, told: dict[str, Any], wants_json: bool) -> None:
    """Write the calendar, over one that stands there, whole or not at all."""
    if not told["steps"]:
        fail(f"{told['says']} No calendar was written.", wants_json)
    try:
        former = target.read_bytes() if target.exists() else b""
        write_whole(target, calendar(told, datetime.now(UTC), former))
    except OSError as error:
        fail(f"{target} cannot be written: {error.strerror}.", wants_json)
    except ValueError as error:
        fail(f"{target}: {sentence(error)}", wants_json)


def _card(told: dict[str, Any]) -> list[str]:
    lines = ["BENCH PLAN", *paragraphs("In a sentence", [told["says"]])]
    if told["steps"]:
        lines += [
            "",
            f"  {'from start to end':<26}{length(told['makespan_min'])}",
            f"  {'work with hands':<26}{length(told['attended_min'])}",
        ]
        if told["wet_wait_min"] is not None:
            lines.append(f"  {'wet sheets wait, in all':<26}{length(told['wet_wait_min'])}")
        lines.append(f"  {'times are local to':<26}{told['zone']}")
    lines += table(told)
    return lines + paragraphs("What to know", told["warnings"])
