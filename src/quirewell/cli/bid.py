"""``quirewell bid``: the highest sensible bid for an offer seen in photographs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from quirewell.cli.creep import read_text
from quirewell.cli.options import JSON, ask, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.stages import bidding
from quirewell.stages.bid_text import read_offer
from quirewell.stages.bid_told import about, letter, rough, spread_of
from quirewell.stages.buying_signs import signs_in_force

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("offer", type=_FILE)
@click.option("--letter", "wants_letter", is_flag=True, help="Only the questions, as a letter.")
@JSON
def bid(offer: Path, wants_letter: bool, wants_json: bool) -> None:
    """The highest sensible bid, after hours, fees and disclosure, and what to ask before it.

    OFFER is a file (TOML) with what such a copy would bring (low, likely, high typed, or a table
    of your own sales and the grade that the photographs show), what goes off, the price asked, and
    what was seen of each sign of hidden faults. Less is enough: one likely sum gives a wide answer.

    \b
    Examples:
      quirewell bid examples/buying/annual.toml
      quirewell bid examples/buying/little-known.toml --json
      quirewell bid examples/buying/annual.toml --letter
    """
    try:
        title, params = read_offer(
            read_text(offer, wants_json), lambda name: _beside(offer, name, wants_json)
        )
    except ValueError as error:
        fail(f"{offer.name}: {sentence(error)}", wants_json)
    out = {"title": title} | bidding.as_json(ask(bidding.METHOD, "item", params, wants_json))
    rows = {one.sign: one for one in signs_in_force(params.get("signs", ""))}
    out["letter"] = letter(title, [rows[one["sign"]] for one in out["questions"]])
    if wants_json:
        print_json(out)
    elif wants_letter:
        click.echo(out["letter"] or "No sign is open; there is nothing to ask.")
    else:
        click.echo("\n".join(_card(out)))


def _beside(offer: Path, name: str, wants_json: bool) -> str:
    """A table that the offer names, from the offer's own folder."""
    path = offer.parent / name
    if not path.resolve().is_relative_to(offer.parent.resolve()) or not path.is_file():
        fail(f"{offer.name} names {name[:60]}, which is not beside it.", wants_json)
    return read_text(path, wants_json)


def _card(out: dict[str, Any]) -> list[str]:
    unit = f" {out['currency']}".rstrip()
    spread = spread_of(out)
    lines = [f"BID {out['title']}".rstrip(), *paragraphs("In a sentence", [out["says"]]), ""]
    for key, name in (
        ("highest", "highest bid"), ("one_in_five", "loss 1 in 5 at"),
        ("one_in_two", "loss 1 in 2 at"), ("value", "would bring, mean"),
        ("sale_leaves", "a sale leaves, mean"), ("spent", "spent beside the bid"),
        ("gain", "mean gain as asked"),
    ):  # fmt: skip
        if out[key] is not None:
            bids = key in ("highest", "one_in_five", "one_in_two")
            lines.append(f"  {name:<26}{about(out[key]['value'], spread, bids):>10}{unit}")
    if out["offered"] is not None:
        one = out["offered"]
        lines.append(f"  {'highest bid, as offered':<26}{rough(one['value']):>10} {one['unit']}")
    if out["chance_of_loss_pct"]["at_asking"] is not None:
        share = out["chance_of_loss_pct"]["at_asking"]
        lines.append(f"  {'chance of loss as asked':<26}{share:>8.0f} %")
    lines += paragraphs("What makes the bid fall most", [
        f"{one['cause']}: {rough(one['by'])}{unit}" for one in out["falls"][:6]
    ])  # fmt: skip
    lines += paragraphs("Open questions, the one worth most first", [
        f"{one['name']} ({one['where']}): {one['looks']}. Worth {rough(one['worth'])}; highest bid "
        f"{about(one['highest_if_fine'], spread)} if it looks fine, "
        f"{about(one['highest_if_seen'], spread)} if seen. "
        f"Settled by: {one['settles']}."
        for one in out["questions"]
    ])  # fmt: skip
    lines += paragraphs("To narrow it", [out["narrows"]] if out["narrows"] else [])
    lines += paragraphs("What it rests on", [out["model"]] if out["model"] else [])
    return lines + paragraphs("What to know", out["warnings"])
