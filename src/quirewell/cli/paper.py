"""``quirewell paper``: receipts, proposal, quote and invoice for an item's owner, as PDF."""

from __future__ import annotations

import json
from pathlib import Path

import click

from quirewell.cli.options import JSON
from quirewell.cli.report import STUDIO, item_of, opened
from quirewell.report.papers import KINDS, PAPERS, Asked, NoPaper, write_paper
from quirewell.report.treatment import head_of
from quirewell.studio.durable import write_whole


@click.command()
@click.argument("kind", metavar="KIND", type=click.Choice(list(KINDS)))
@click.argument("item")
@STUDIO
@click.option(
    "-o", "--output", default=None, metavar="FILE", help="Where the PDF goes (KIND.pdf).",
    type=click.Path(path_type=Path, dir_okay=False),
)  # fmt: skip
@click.option("--paper", "size", type=click.Choice(list(PAPERS)), default="a4", show_default=True,
              help="The paper it is printed on.")  # fmt: skip
@click.option("--no-names", is_flag=True, help="A proposal without the owner's name and address.")
@click.option("--invoice", "number", default="", metavar="NUMBER",
              help="Which invoice, by its number; the newest if not said.")  # fmt: skip
@JSON
def paper(
    kind: str, item: str, folder: Path, output: Path | None, size: str, no_names: bool,
    number: str, wants_json: bool,
) -> None:  # fmt: skip
    """Write a paper for the owner of ITEM (its id or its title) as PDF.

    KIND is custody (receipt with photographs, insured value and limits), proposal (what was found,
    options side by side, estimate, consent), quote, invoice, or return (what was done, what must be
    told, what remains). What is not recorded yet is said, and left as a line to write on.

    \b
    Examples:
      quirewell paper custody annual --studio larkmoor
      quirewell paper proposal annual --studio larkmoor --no-names -o proposal.pdf
      quirewell paper invoice annual --studio larkmoor --invoice 2026-007 --paper letter
    """
    target = output or Path(f"{kind}.pdf")
    with opened(folder) as studio:
        state = item_of(studio, item)
        ids = [one.id for one in state.invoices.values() if one.number == number]
        if number and not ids:
            known = ", ".join(one.number for one in state.invoices.values()) or "none"
            raise click.ClickException(f"There is no invoice {number!r} here; there are: {known}.")
        asked = Asked(kind, size, not no_names, ids[0] if number else "")
        try:
            made = write_paper(
                asked, state, studio.bench(), studio.name, head_of(studio, state.id),
                studio.blobs.path,
            )  # fmt: skip
        except NoPaper as error:
            raise click.ClickException(f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
        target.parent.mkdir(parents=True, exist_ok=True)
        write_whole(target, made.pdf)
    if wants_json:
        said = {"item": state.id, "paper": kind, "pdf": str(target), "missing": list(made.missing)}
        click.echo(json.dumps(said, indent=2, ensure_ascii=False))
        return
    click.echo(f"{target}: {KINDS[kind].lower()}, ready to print.")
    for says in made.missing:
        click.echo(f"  - {says}")
