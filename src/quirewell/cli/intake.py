"""``quirewell intake``: a folder of pictures into an item, each to the place its name says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.jobs.batch import Progress
from quirewell.jobs.runner import Runner
from quirewell.stages import overview
from quirewell.stages.filenames import IntakePlan, plan_intake
from quirewell.stages.intake import FIRST, wraps_from
from quirewell.stages.measuring_item import measure_item
from quirewell.stages.placing import Placed, check_order, put_in_place
from quirewell.stages.refusal import Refusal
from quirewell.stages.taking_in import Arrival, IntakeReport, Source, folder_sources, take_in
from quirewell.studio.address import is_studio
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio


@click.command()
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option(
    "--studio",
    "studio_folder",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The studio; made when it is not there yet.",
)
@click.option(
    "--item",
    "title",
    required=True,
    metavar="TITLE_OR_ID",
    help="The item; opened under this title when the studio has none such.",
)
@click.option(
    "--wraps", default="", metavar="N", help="Nested sheets of a new item, the cover not counted."
)
@click.option(
    "--pages", default="", metavar="N", help="Interior pages instead of wraps (four a wrap)."
)
@click.option("--no-cover", is_flag=True, help="The new item has no separate cover.")
@click.option(
    "--measure/--no-measure",
    default=True,
    show_default=True,
    help="Measure every scan and compare every pair at once.",
)
@click.option(
    "--by-order",
    default="",
    metavar="halves|whole|sides",
    help="Put what no name places in its place by the order of the files: each side in two "
    "halves, each side in one scan, or all outer sides first.",
)
@click.option(
    "--moment",
    default="",
    metavar="before|after",
    help="When those were taken; after, once most scans from before are in.",
)
@click.option(
    "--match-content",
    is_flag=True,
    help="Find each after-scan's own scan from before by its print, put it there, and say where "
    "a name and a picture disagree.",
)
@click.option("--dry-run", is_flag=True, help="Only say what the file names say; take nothing in.")
@click.option(
    "--workers",
    default=2,
    show_default=True,
    type=click.IntRange(1, 16),
    help="Processes that decode and measure.",
)
@JSON
def intake(
    folder: Path,
    studio_folder: Path,
    title: str,
    wraps: str,
    pages: str,
    no_cover: bool,
    measure: bool,
    by_order: str,
    moment: str,
    match_content: bool,
    dry_run: bool,
    workers: int,
    wants_json: bool,
) -> None:
    """Take every picture of FOLDER into an item, byte for byte.

    \b
    Never put damp paper on glass. Never press a rolled or brittle item under a lid.

    A scan's name says where it belongs:

    \b
      w03-outer-left-before.tif    wrap 3 (01 is the outermost), outer side, left half
      c-inner-right-after.png      the cover's inner side, right half
      item-lamp-left-before.heic   the whole item, one low lamp from the left

    Side outer or inner; half left, right or whole; moment before or after (treatment). Views of
    the whole: front back spine head tail lamp-left lamp-top gloss. Lying flat, head up; a half
    holds the fold. Letter case does not matter and an underscore is as good as a hyphen. A name
    that says less is not guessed at: the picture comes in and is listed, to be assigned by hand,
    all at once on the contact sheet of the item's page, or here with --by-order and
    --match-content.

    Stopped half-way, run it again: what is in is recognised and nothing comes in twice.

    \b
    Examples:
      quirewell intake scans --studio larkmoor --item "Copperbeck Garden Annual" --pages 36
      quirewell intake scans --studio larkmoor --item copperbeck-garden-annual --dry-run
      quirewell intake after --studio larkmoor --item copperbeck-garden-annual --match-content
    """
    try:
        check_order(by_order, moment)
        sources = folder_sources(folder)
        count = wraps_from({"wraps": wraps, "pages": pages})
        if dry_run:
            _say_plan(_plan(sources, studio_folder, title), wants_json)
            return
        with _studio(studio_folder) as studio, Runner(workers) as runner:
            item = _item(studio, title, count, not no_cover)
            report = take_in(studio, item, sources, runner=runner, progress=_arrived)
            placed = put_in_place(
                studio, item, report, runner, by_order=by_order, moment=moment,
                match_content=match_content,
            )  # fmt: skip
            progress = measure_item(studio, item, runner, _measured) if measure else None
    except Refusal as refusal:
        raise click.ClickException(str(refusal)) from refusal
    except (StudioError, ValueError) as error:
        raise click.ClickException(f"{error}.".replace("..", ".")) from error
    said = _as_json(item, studio_folder, report, progress, placed)
    click.echo(json.dumps(said, indent=2, ensure_ascii=False) if wants_json else _words(said))
    if report.stopped:
        raise click.ClickException(f"{report.stopped}.")


def _studio(folder: Path) -> Studio:
    return Studio.open(folder) if is_studio(folder) else Studio.create(folder)


def _item(studio: Studio, title: str, wraps: int | None, cover: bool) -> str:
    found = studio.find(title)
    if found is None:
        item = studio.new_id(title)
        form = {"title": title, "wraps": str(wraps or ""), "cover": "yes" if cover else "no"}
        studio.append(item, 0, overview.open_item(item, form))
        return item
    state = studio.state(found)
    if wraps is not None:
        if state.gathering is None:
            form = {"wraps": str(wraps), "cover": "yes" if cover else "no"}
            studio.append(found, state.version, overview.describe_gathering(state, form))
        elif state.gathering.wraps != wraps:
            raise StudioError(
                f"{found} is described with {state.gathering.wraps} wraps, you gave {wraps}; "
                "correct the one that is wrong (the item's page), nothing was taken in"
            )
    return found


def _plan(sources: list[Source], studio_folder: Path, title: str) -> IntakePlan:
    names = [source.name for source in sources]
    if not is_studio(studio_folder):
        return plan_intake(names)
    with Studio.open(studio_folder) as studio:
        found = studio.find(title)
        if found is None:
            return plan_intake(names)
        state = studio.state(found)
        return plan_intake(names, state.gathering, state.captures.values())


def _say_plan(plan: IntakePlan, wants_json: bool) -> None:
    said = {
        "matched": [{"name": one.name, "where": one.named.words} for one in plan.matched],
        "to_assign": [{"name": one.name, "why": one.why} for one in plan.unmatched],
        "clashes": [{"where": one.words, "names": list(one.names)} for one in plan.clashes],
    }
    if wants_json:
        click.echo(json.dumps(said, indent=2, ensure_ascii=False))
        return
    for one in plan.matched:
        click.echo(f"  {one.name}: {one.named.words}")
    for loose in plan.unmatched:
        click.echo(f"  {loose.name}: to assign by hand, {loose.why}")
    click.echo(
        f"{len(plan.matched)} matched, {len(plan.unmatched)} to assign. Nothing was taken in."
    )


def _arrived(done: int, total: int, arrival: Arrival) -> None:
    click.echo(f"[{done}/{total}] {arrival.name}: {arrival.says}", err=True)


def _measured(progress: Progress) -> None:
    left = f", about {progress.left_s:.0f} s left" if progress.left_s else ""
    click.echo(f"{progress.says}{left}", err=True)


def _as_json(
    item: str,
    studio_folder: Path,
    report: IntakeReport,
    progress: Progress | None,
    placed: Placed,
) -> dict[str, Any]:
    def lines(arrivals: tuple[Arrival, ...]) -> list[dict[str, str]]:
        return [
            {"name": one.name, "says": one.says, "capture": one.capture, "sha256": one.sha256,
             "place": one.place}
            for one in arrivals
        ]  # fmt: skip

    said: dict[str, Any] = {
        "item": item,
        "studio": str(studio_folder),
        "taken": lines(report.taken),
        "already_in": lines(report.already),
        "refused": lines(report.refused),
        "to_assign": lines(
            tuple(one for one in report.to_assign if one.capture not in placed.places)
        ),
        "placed": [
            {"name": one.name, "place": placed.places[one.capture], "capture": one.capture}
            for one in report.arrivals
            if one.capture in placed.places
        ],
        "disagree": list(placed.quarrels),
        "clashes": [{"where": one.words, "names": list(one.names)} for one in report.clashes],
        "stopped": report.stopped,
    }
    if progress is not None:
        said["measured"] = {
            "done": progress.done - progress.failed,
            "total": progress.total,
            "errors": list(progress.errors),
        }
    return said


def _words(said: dict[str, Any]) -> str:
    lines = [
        f"{said['item']}: {len(said['taken'])} pictures taken in, "
        f"{len(said['already_in'])} were in already, {len(said['refused'])} refused."
    ]
    lines += [f"  refused    {one['says']}" for one in said["refused"]]
    if said["placed"]:
        lines.append("Put in place by order or by print; look at them on the item's intake page:")
        lines += [f"  {one['name']}: {one['place']}" for one in said["placed"]]
    if said["disagree"]:
        lines.append("Name and picture disagree:")
        lines += [f"  {says}." for says in said["disagree"]]
    if said["to_assign"]:
        lines.append("To assign by hand (on the item's intake page):")
        lines += [f"  {one['name']}: {one['says']}" for one in said["to_assign"]]
    if "measured" in said:
        measured = said["measured"]
        lines.append(
            f"{measured['done']} of {measured['total']} measurements and comparisons done."
        )
        lines += [f"  not done   {error}" for error in measured["errors"]]
    if not said["taken"] and not said["already_in"]:
        lines += [f"  {says}" for says in FIRST]
    return "\n".join(lines)
