"""``quirewell reserve``: alkali reserve of a scrap, and the paper's pH from what was read."""

from __future__ import annotations

import click

from quirewell.cli.options import JSON, ask
from quirewell.cli.output import PLUS_MINUS_SAYS, paragraphs, print_json, table
from quirewell.stages.asking import quantity_name
from quirewell.stages.reserving import METHOD, as_json


@click.command()
@click.option(
    "--titre",
    "titres",
    multiple=True,
    metavar="ML,MOL/L,ML,MOL/L,G[,G/G]",
    help="A back-titration: acid mL and mol/L, alkali mL and mol/L, sample g, its water g/g.",
)
@click.option(
    "--sample",
    type=click.Choice(["scrap", "like paper"]),
    default=None,
    help="What the sample was. The object itself is never sampled.",
)
@click.option(
    "--ph",
    "phs",
    multiple=True,
    metavar="'KIND [above|below] PH [@ C]'",
    help="A pH with what was read: surface strip, surface electrode, cold extract, bath.",
)
@JSON
def reserve(
    titres: tuple[str, ...], sample: str | None, phs: tuple[str, ...], wants_json: bool
) -> None:
    """Alkali reserve of a scrap by back-titration, and one pH of the paper from all readings.

    \b
    Examples:
      quirewell reserve --ph "surface strip 7.5 @ 21" --ph "surface strip above 7"
      quirewell reserve --titre 20,0.1,12,0.1,1 --sample scrap --json
      quirewell reserve --titre 20,0.1,18.9,0.1,1.02,0.06 --sample "like paper"
        --ph "cold extract 8.4 @ 22"

    Strips alone give a band, never one number; a strip off its scale is a reading too. The
    pH of the bath is kept apart: it says nothing of the paper.
    """
    params = {"titre": ";".join(titres), "sample": sample or "", "ph": ";".join(phs)}
    run = ask(METHOD, "item", params, wants_json)
    if wants_json:
        print_json(as_json(run))
        return
    lines = ["RESERVE AND pH OF THE PAPER", "", *table(run.findings)]
    lines += ["", f"  {PLUS_MINUS_SAYS}."]
    for finding in run.findings:
        if finding.low90 is not None and finding.high90 is not None:
            lines.append(
                f"  {quantity_name(finding.quantity)}: {finding.low90:.2f} to {finding.high90:.2f} "
                f"{finding.unit} with 90 % ({finding.standing})"
            )
    lines += paragraphs("Mind", run.warnings)
    click.echo("\n".join(lines))
