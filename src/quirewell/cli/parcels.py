"""``quirewell parcels``: which items go to a grading service, in which tier and parcel."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON, open_studio, sentence, text_options
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.science.planning.parcel_search import Found
from quirewell.stages import parcelling
from quirewell.stages.all_items import PARCELS
from quirewell.stages.parcel_items import candidates, musts, plan_text

_OPTIONS = (
    ("--seconds", "S", "Seconds of search for a large plan, and once more for its reasons (15)."),
    ("--gap", "SHARE", "Share of the gain the plan may miss; 0 proves the best."),
)
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@contextmanager
def quiet() -> Iterator[None]:
    """Keep what the solver's own library prints off standard output: it would stand in the JSON."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


class _Watch:
    """Tells the best plan so far on standard error; the first Ctrl-C takes it, when the solver
    comes back from the case it is at."""

    def __init__(self) -> None:
        self.stop = False

    def told(self, found: Found) -> None:
        if found.gap == 0:
            return
        gap = "" if found.gap is None else f", at most {100 * found.gap:.2g} % better possible"
        click.echo(f"best so far {found.gain / 100:.2f}{gap}; Ctrl-C takes it", err=True)

    @contextmanager
    def listening(self) -> Iterator[None]:
        import signal

        def stop(*_: object) -> None:
            self.stop = True
            click.echo("taking the best plan so far", err=True)
            signal.signal(signal.SIGINT, before)

        before = signal.signal(signal.SIGINT, stop)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)


@click.command()
@click.argument("plan", type=_FILE, required=False)
@click.option(
    "--studio",
    "studio_folder",
    metavar="DIR",
    type=click.Path(file_okay=False, path_type=Path),
    help="Plan with the items and terms of a studio instead of a file; nothing is kept.",
)
@click.option("--receiver", default="", metavar="NAME", help="Which receiver of the studio.")
@click.option("--inside", multiple=True, metavar="ITEM", help="What if this item must go?")
@click.option("--outside", multiple=True, metavar="ITEM", help="What if it must stay?")
@click.option("--without-tier", multiple=True, metavar="TIER", help="What if a tier is off?")
@click.option(
    "--packing-list",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write what goes into which parcel, with declared values (CSV).",
)
@text_options(_OPTIONS)
@JSON
def parcels(
    plan: Path | None, studio_folder: Path | None, receiver: str, inside: tuple[str, ...],
    outside: tuple[str, ...], without_tier: tuple[str, ...],
    packing_list: Path | None, wants_json: bool, **texts: str,
) -> None:  # fmt: skip
    """Which items go to a third-party grading service, when, in which tier, or not at all.

    PLAN is a file (TOML) with the tiers, shipments and items, their values and your own chances of
    each grade; --studio takes all of it from a studio, as its page of parcels does. Send now or
    wait is answered first; then why each item goes, waits or stays.

    \b
    Examples:
      quirewell parcels examples/parcels/annual.toml
      quirewell parcels examples/parcels/annual.toml --without-tier patient --json
      quirewell parcels examples/parcels/annual.toml --packing-list packing.csv
      quirewell parcels --studio larkmoor
    """
    params = {name: text for name, text in texts.items() if text}
    watch = _Watch()
    if (plan is None) == (studio_folder is None):
        fail("Give a plan file, or --studio and its folder.", wants_json)
    source = "the studio"
    ids: dict[str, str] = {}
    try:
        if plan is not None:
            source = plan.name
            params["plan"] = plan.read_text(encoding="utf-8")
        else:
            assert studio_folder is not None
            params["plan"], ids, must = _from_studio(studio_folder, receiver, wants_json)
            inside = tuple(dict.fromkeys((*inside, *must)))
        params |= {
            name: "\n".join(given)
            for name, given in (
                ("inside", inside), ("outside", outside), ("closed", without_tier),
            )
            if given
        }  # fmt: skip
        with quiet(), watch.listening():
            run = parcelling.ask(params, watch.told, lambda: watch.stop)
    except UnicodeDecodeError:
        fail(f"{source} is no text (UTF-8).", wants_json)
    except ValueError as error:
        fail(f"{source}: {sentence(error)}", wants_json)
    out = parcelling.as_json(run)
    if packing_list is not None:
        from quirewell.studio.durable import write_whole

        try:
            write_whole(packing_list, parcelling.packing_list(out).encode())
        except OSError as error:
            fail(f"{packing_list} cannot be written: {error.strerror}.", wants_json)
    if wants_json:
        print_json({**out, "items": ids} if ids else out)
        return
    click.echo("\n".join(_card(out)))


def _from_studio(
    folder: Path, receiver: str, wants_json: bool
) -> tuple[str, dict[str, str], tuple[str, ...]]:
    """The plan's text out of a studio, the ids behind its names, and who must go.

    Raises:
        ValueError: nothing to plan with.
    """
    today = datetime.now(UTC).date().isoformat()
    with open_studio(folder, wants_json) as studio:
        bench = studio.bench()
        named = [one for one in bench.services.values() if not receiver or one.name == receiver]
        if not named:
            known = ", ".join(one.name for one in bench.services.values())
            raise ValueError(
                f"there is no receiver {receiver!r} here; there is: {known}" if known else
                "no receiver is named yet; open the page of parcels and begin with one"
            )  # fmt: skip
        states = studio.states(*PARCELS)
        among = candidates(states, named[-1], bench, today)
        text, ids, _ = plan_text(named[-1], among, today)
        return text, ids, tuple(musts(among))


def _card(out: dict[str, Any]) -> list[str]:
    unit, total = out["currency"], out["total_gain"]
    lines = ["PARCELS", *paragraphs("In a sentence", [out["first"]["says"]]), ""]
    lines.append(
        f"  {'the plan gains':<26}{total['value']:>9.2f} "
        f"({total['low90']:.0f} to {total['high90']:.0f}) {unit}"
    )
    lines.append(f"  {'how good it is':<26}{out['status']}")
    if out["assignments"]:
        lines.append(f"  {'chance that it loses':<26}{100 * out['chance_of_loss']:>6.0f} %")
        lines.append(f"  {'mean of the worst fifth':<26}{out['worst_fifth']['value']:>9.2f} {unit}")
    if out.get("wish_costs"):
        lines.append(f"  {'what was asked costs':<26}{out['wish_costs']['value']:>9.2f} {unit}")
    for parcel in out["parcels"]:
        when = "now" if not parcel["week"] else f"in {parcel['week']:g} weeks"
        cap = "" if parcel["cap"] is None else f" of {parcel['cap']:.0f} at most"
        lines += ["", f"{parcel['parcel']}, {when}: {parcel['items']} items, declared "
                      f"{parcel['declared']:.2f}{cap}"]  # fmt: skip
        lines.append(f"  {'item':<26}{'way':<12}{'tier':<12}{'declared':>9}{'gain':>9}")
        for row in out["assignments"]:
            if row["parcel"] == parcel["parcel"]:
                lines.append(
                    f"  {row['item']:<26}{row['way']:<12}{row['tier']:<12}"
                    f"{row['declared']:>9.2f}{row['gain']['value']:>9.2f}"
                )
    lines += paragraphs("Why", [f"{row['item']} {row['says']}." for row in out["assignments"]])
    lines += paragraphs("Not sent", [f"{row['item']} {row['says'].rstrip('.')}."
                                     for row in out["not_sent"]])  # fmt: skip
    return lines + paragraphs("What to know", out["warnings"])
