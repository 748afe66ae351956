"""``quirewell damage``: the schedule of defects of an item, its drawing, and open annotations."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, open_studio
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.cli.report import STUDIO
from quirewell.record.nouns import ItemState
from quirewell.record.regions import write_region
from quirewell.report.annotations import damage_annotations
from quirewell.report.condition_drawing import drawing_svg
from quirewell.stages.annotation_table import MOST_BYTES, AnnotationError, Taken, take_annotations
from quirewell.stages.damage_schedule import Line, extent_words, schedule, schedule_csv, sums
from quirewell.stages.drawn_extent import Extent
from quirewell.studio.durable import write_whole
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

_OUT = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.argument("item")
@STUDIO
@click.option("--annotations", type=_OUT, help="Write it as W3C Web Annotations (JSON-LD).")
@click.option("--schedule", "table", type=_OUT, help="Write the schedule of defects as CSV.")
@click.option("--drawing", type=_OUT, help="Write the condition drawing as SVG.")
@click.option(
    "--read", "source", type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Note the damage of a file of annotations that the record does not hold yet.",
)  # fmt: skip
@click.option("--by", default="bench", show_default=True, help="Who notes it, for the journal.")
@JSON
def damage(
    item: str, folder: Path, annotations: Path | None, table: Path | None, drawing: Path | None,
    source: Path | None, by: str, wants_json: bool,
) -> None:  # fmt: skip
    """List the damage of ITEM (its id or its title), numbered and added up.

    Files that are there already are not written over. What --read notes can be set aside on the
    page; damage the record holds already stays as it is.

    \b
    Examples:
      quirewell damage annual --studio larkmoor
      quirewell damage annual --studio larkmoor --schedule damage.csv --drawing damage.svg
      quirewell damage annual --studio larkmoor --annotations damage.json
      quirewell damage annual --studio larkmoor --read damage.json
    """
    for path in (annotations, table, drawing):
        if path is not None and path.exists():
            fail(f"{path.name} is there already; name another file.", wants_json)
    with open_studio(folder, wants_json) as studio:
        try:
            state = studio.state(studio.find(item) or item)
        except StudioError as error:
            fail(f"{error}", wants_json)
        taken = None
        if source is not None:
            taken = _read(studio, state, source, by, wants_json)
            state = studio.state(state.id)
    lines = schedule(state)
    texts: list[tuple[Path, str]] = []
    if annotations is not None:
        texts.append((annotations, _json_text(damage_annotations(state))))
    if table is not None:
        texts.append((table, schedule_csv(lines)))
    if drawing is not None:
        texts.append((drawing, drawing_svg(state)))
    for path, text in texts:
        _write(path, text, wants_json)
    written = [str(path) for path, _ in texts]
    if wants_json:
        print_json(_as_json(state, lines, taken, written))
        return
    if taken is not None:
        click.echo(f"{len(taken.added)} noted from {source}.")
        for says in taken.told:
            click.echo(f"  - {says}")
    for name in written:
        click.echo(f"{name} written.")
    if taken is None and not written:
        click.echo("\n".join(_card(lines)))


def _read(studio: Studio, state: ItemState, source: Path, by: str, wants_json: bool) -> Taken:
    try:
        with source.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        taken = take_annotations(state, data)
    except AnnotationError as error:
        fail(f"{source.name}: {error}.", wants_json)
    except OSError as error:
        fail(f"{source.name} cannot be read ({error.strerror}).", wants_json)
    if taken.drafts:
        studio.append(state.id, state.version, taken.drafts, by)
    return taken


def _write(path: Path, text: str, wants_json: bool) -> None:
    try:
        write_whole(path, text.encode(), new=True)
    except OSError as error:
        fail(f"{path} cannot be written ({error.strerror}).", wants_json)


def _json_text(data: Any) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _card(lines: tuple[Line, ...]) -> list[str]:
    """The schedule to read."""
    if not lines:
        return ["No damage is noted. Note it on the page of its sheet, or read a file of it."]
    out = ["DAMAGE"]
    for moment in ("before", "after"):
        mine = [one for one in lines if one.moment == moment]
        said: list[str] = []
        for one in mine:
            parts = (one.said, one.extent, one.note)
            more = "; ".join(part for part in parts if part)
            said.append(
                f"{one.number}. {one.term}, {one.severity} ({one.where})"
                + (f": {more}" if more else "") + f" [{one.source}]"
            )  # fmt: skip
        out += paragraphs(f"{moment.capitalize()} treatment", said)
    out += paragraphs("Added up", [
        f"{one.term}, {one.moment}: {len(one.ids)}"
        + "".join(f"; {extent_words(extent)} together" for extent, _ in one.drawn)
        + (f"; {one.in_words} without a measure" if one.in_words and one.drawn else "")
        for one in sums(lines)
    ])  # fmt: skip
    return out


def _as_json(
    state: ItemState, lines: tuple[Line, ...], taken: Taken | None, written: list[str]
) -> dict[str, Any]:
    out: dict[str, Any] = {
        "item": state.id,
        "damage": [
            {
                "number": one.number, "id": one.id, "place": one.place, "where": one.where,
                "term": one.term, "severity": one.severity, "seen": one.moment,
                "extent": one.extent, "measured": [_measure(extent) for extent in one.measured],
                "region": "" if one.region is None else write_region(one.region),
                "u_mm": one.u_mm, "note": one.note, "source": one.source,
            }
            for one in lines
        ],
        "sums": [
            {
                "term": one.term, "seen": one.moment, "count": len(one.ids),
                "measured": [_measure(extent) for extent, _ in one.drawn],
                "without_measure": one.in_words,
            }
            for one in sums(lines)
        ],
    }  # fmt: skip
    if taken is not None:
        out["read"] = {"noted": [one.id for one in taken.added], "told": list(taken.told)}
    if written:
        out["written"] = written
    return out


def _measure(extent: Extent) -> dict[str, Any]:
    return {"value": extent.value, "u": extent.u, "unit": extent.unit}
