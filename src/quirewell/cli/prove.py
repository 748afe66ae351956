"""``quirewell prove``: the evidence of an item, as far as the record reaches."""

from __future__ import annotations

from pathlib import Path

import click

from quirewell.cli.options import JSON, item_meant, open_studio
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.stages.evidence import asks, work_out
from quirewell.stages.evidence_view import EvidenceView, as_json, evidence_view


@click.command()
@click.argument("item", required=False, metavar="[ITEM]")
@click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False), help="The studio's folder.",
)  # fmt: skip
@click.option(
    "--work", is_flag=True, help="Work out what is new or out of date first, and keep it."
)
@JSON
def prove(item: str | None, folder: Path, work: bool, wants_json: bool) -> None:
    """Whether anything changed, over all leaves, and what would have been seen.

    ITEM is an id or a title; it may be left out where the studio holds one item.

    \b
    Examples:
      quirewell prove copperbeck-garden-annual --studio demo-studio
      quirewell prove --studio demo-studio --work --json
    """
    with open_studio(folder, wants_json) as studio:
        found, known = item_meant(studio, item)
        if found is None:
            asked = f"No item {item!r}" if item else "Say which item"
            fail(f"{asked}; this studio holds {known}.", wants_json)
        state = studio.state(found)
        if work and asks(state):
            drafts = work_out(state, {})
            if drafts:
                studio.append(found, state.version, drafts)
                state = studio.state(found)
        view = evidence_view(state)
    if wants_json:
        print_json({"item": found} | as_json(view))
        return
    click.echo("\n".join(_card(view)))


def _card(view: EvidenceView) -> list[str]:
    """The evidence to read."""
    lines = ["EVIDENCE"]
    if view.first:
        lines += ["", view.first]
    if view.stale:
        lines += ["", f"{view.stale} to be worked out: run it again with --work."]
    for one in view.figures:
        lines += paragraphs(one.name, [one.verdict])
        lines += paragraphs("Stands apart", [one.flagged, one.without] if one.flagged else [])
        lines += paragraphs("What to know", one.warnings)
        lines += paragraphs("What would narrow it most", [one.tool])
    lines += paragraphs("What measuring can prove", [f"{p.name}: {p.says}" for p in view.powers])
    lines += paragraphs(
        "Margins",
        [f"{m.name}: {m.text}{'' if m.counts else ', locked too late and not used'}"
         for m in view.locked],
    )  # fmt: skip
    lines += paragraphs(
        "Your instruments", [f"{one.name}: {one.says}. {one.more}" for one in view.instruments]
    )
    return lines
