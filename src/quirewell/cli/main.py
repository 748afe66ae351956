"""``quirewell``: one command, the job's own verbs beneath it."""

from __future__ import annotations

import importlib
import json
from typing import Any

import click

from quirewell import __version__

# Verb -> (module, name, in a line): loaded when used, so that `--help` answers at once.
COMMANDS = {
    "demo": (
        "quirewell.cli.demo",
        "demo",
        "Build the invented example: scans, studio, results, report.",
    ),
    "serve": (
        "quirewell.cli.serve",
        "serve",
        "Open a studio's pages in the browser, on this machine only.",
    ),
    "find": (
        "quirewell.cli.find",
        "find",
        "Find words in every record of a studio.",
    ),
    "intake": (
        "quirewell.cli.intake",
        "intake",
        "Take a folder of scans and photographs into the studio.",
    ),
    "measure": (
        "quirewell.cli.measure",
        "measure",
        "Measure one leaf: size, losses, paper tone, scale.",
    ),
    "compare": (
        "quirewell.cli.compare",
        "compare",
        "Compare one leaf before and after: size, colour, verdict.",
    ),
    "equivalence": (
        "quirewell.cli.equivalence",
        "equivalence",
        "Whether paired readings show unchanged, changed, or cannot tell.",
    ),
    "target": (
        "quirewell.cli.target",
        "target",
        "Fit a colour target, or read an instrument's file.",
    ),
    "bath": ("quirewell.cli.bath", "bath", "Work out a lime-water bath before it is mixed."),
    "reserve": (
        "quirewell.cli.reserve",
        "reserve",
        "Alkali reserve of a scrap, and the paper's pH from what was read.",
    ),
    "outlook": (
        "quirewell.cli.outlook",
        "outlook",
        "What a treatment or another store is worth: a ratio with a band.",
    ),
    "adhesive": (
        "quirewell.cli.adhesive",
        "adhesive",
        "What to weigh for so many mends, and what they add to a leaf.",
    ),
    "press": (
        "quirewell.cli.press",
        "press",
        "What happens inside a pressed pamphlet, leaf by leaf, as a band.",
    ),
    "iron": (
        "quirewell.cli.press",
        "iron",
        "How hot a fold gets under a hand iron, and what that costs.",
    ),
    "chamber": (
        "quirewell.cli.damp",
        "chamber",
        "Hours and grams for an item in a humidity chamber.",
    ),
    "dry": (
        "quirewell.cli.damp",
        "dry",
        "A washed wrap: when to restrain it, blotters, hours to dry.",
    ),
    "rejoin": (
        "quirewell.cli.rejoin",
        "rejoin",
        "Lay all sheets on one another by their staple holes.",
    ),
    "order": (
        "quirewell.cli.fold",
        "order",
        "Whether all sheets are there and in order, by their page numbers.",
    ),
    "creep": (
        "quirewell.cli.creep",
        "creep",
        "Creep from flat widths, wraps that do not belong, the fore-edge to come.",
    ),
    "fold": (
        "quirewell.cli.fold",
        "fold",
        "Where a fold may lie, spine roll, and how far each fold is worked.",
    ),
    "sheet": (
        "quirewell.cli.sheet",
        "sheet",
        "Print sheets at 1:1 from staple holes, for light box and centrefold board.",
    ),
    "holes": (
        "quirewell.cli.holes",
        "holes",
        "Find a sheet's staple holes near its fold, in one picture.",
    ),
    "log": (
        "quirewell.cli.log",
        "log",
        "Add readings, steps and notes from a script, each saved once.",
    ),
    "treat": (
        "quirewell.cli.treat",
        "treat",
        "See the treatment steps, their cautions and what was done.",
    ),
    "plan": (
        "quirewell.cli.plan",
        "plan",
        "When each step is done at the bench: trays, hands, hours, nights.",
    ),
    "grade": (
        "quirewell.cli.grade",
        "grade",
        "Estimate a grade from a list of damage, with its band and what binds it.",
    ),
    "worth": (
        "quirewell.cli.worth",
        "worth",
        "What an item is worth at a grade, from your own sales, with a band.",
    ),
    "bid": (
        "quirewell.cli.bid",
        "bid",
        "The highest sensible bid before you buy, and what to ask first.",
    ),
    "damage": (
        "quirewell.cli.damage",
        "damage",
        "List the damage of an item, draw it, give it out and take it in.",
    ),
    "weigh": (
        "quirewell.cli.weigh",
        "weigh",
        "What to do with an item, or whether to leave it alone.",
    ),
    "books": (
        "quirewell.cli.books",
        "books",
        "Own sales, a collection's table, wants, stock, and what the bench learned.",
    ),
    "condition": (
        "quirewell.cli.report",
        "condition",
        "Print a one-page condition sheet from a photograph.",
    ),
    "strip": (
        "quirewell.cli.report",
        "strip",
        "Print the bench strip that gives a scan its scale.",
    ),
    "scanner": (
        "quirewell.cli.scanner",
        "scanner",
        "Calibrate your scanner and keep the bench strip's length.",
    ),
    "parcels": (
        "quirewell.cli.parcels",
        "parcels",
        "Which items go to grading, in which tier and parcel, or not at all.",
    ),
    "paper": (
        "quirewell.cli.paper",
        "paper",
        "Receipts, proposal, quote and invoice for an item's owner, as PDF.",
    ),
    "prove": (
        "quirewell.cli.prove",
        "prove",
        "Whether anything changed, over all leaves, and what would have been seen.",
    ),
    "report": ("quirewell.cli.report", "report", "Write the treatment report as a PDF."),
    "recheck": (
        "quirewell.cli.report",
        "recheck",
        "Compute a report's numbers again and list what differs.",
    ),
    "share": (
        "quirewell.cli.share",
        "share",
        "Make a folder to show: before and after, plates, a film, a plain listing.",
    ),
    "survey": (
        "quirewell.cli.survey",
        "survey",
        "Measure a folder of very many scans, and show what needs treatment first.",
    ),
    "relief": (
        "quirewell.cli.relief",
        "relief",
        "More instruments: creases and cockle from raking light.",
    ),
    "archive": (
        "quirewell.cli.archive",
        "archive",
        "Keep a studio or an item in open formats; check it, read it back.",
    ),
    "studio": ("quirewell.cli.studio", "studio", "Make, check, back up and restore a studio."),
}


_WANTS_JSON = "quirewell.wants_json"


class Fault(click.ClickException):
    """What a verb was given cannot be used; exit 2. (Exit 1 is an answer: not well, differs.)"""

    exit_code = 2


def _words(fault: Exception) -> str:
    """The sentence of a fault that no verb spoke of itself: of the studio, or of a file."""
    if any(kind.__name__ == "StudioError" for kind in type(fault).__mro__):
        return str(fault)
    if isinstance(fault, OSError) and fault.filename and fault.strerror:
        return f"{fault.filename} cannot be read or written ({fault.strerror}); see its name"
    return ""


class Verbs(click.Group):
    """The verbs in the job's own order, each loaded only when used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, name, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(importlib.import_module(module), name)
        return command

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.meta[_WANTS_JSON] = "--json" in args
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the verb; a fault is one sentence, with ``--json`` also ``{"error": ..}``; exit 2."""
        try:
            return super().invoke(ctx)
        except click.ClickException as fault:
            if ctx.meta[_WANTS_JSON]:
                click.echo(json.dumps({"error": fault.format_message()}, ensure_ascii=False))
            if isinstance(fault, click.UsageError):
                raise
            raise Fault(fault.format_message()) from fault
        except Exception as fault:
            if not (says := _words(fault)):
                raise
            if ctx.meta[_WANTS_JSON]:
                click.echo(json.dumps({"error": says}, ensure_ascii=False))
            raise Fault(says) from fault

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, says) for name, (_, _, says) in COMMANDS.items()]
        with formatter.section("Verbs"):
            formatter.write_dl(rows)


@click.command(cls=Verbs)
@click.version_option(__version__, prog_name="quirewell")
def main() -> None:
    """Measured, honest treatment records for stapled newsprint publications.

    \b
    Start here:
      quirewell demo my-demo            build the invented example, with its report
      quirewell serve --studio my-demo  look at it in the browser
    \b
    Your own scans:
      quirewell measure scan.tif        size, losses and paper tone of one leaf
      quirewell compare before.tif after.tif
      quirewell intake FOLDER --studio DIR --item TITLE
    \b
    Every verb takes --help, and --json for a script: then JSON is the only thing on
    standard output, and each value carries its standard uncertainty u and its unit.
    """
