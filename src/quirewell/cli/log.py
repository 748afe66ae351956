"""``quirewell log``: readings, steps and notes into the record from a script, each saved once."""

from __future__ import annotations

import hashlib
import json
import secrets
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import fail, print_json

F = TypeVar("F", bound=Callable[..., Any])
ACTOR = "a script"
MOST_LINES = 10_000
FIELDS = frozenset({
    "once", "typed_at", "item", "command", "id", "of", "value", "quantity", "expected", "method",
    "place", "places", "moment", "note", "words", "kind", "way", "planned", "most", "minutes",
    "temperature_c", "lots", "bath", "override", "task", "recipe", "recipe_step", "colour",
    "liquid", "result", "what", "done_about", "more", "who", "instrument", "buffers", "step",
})  # fmt: skip


def _shared(function: F) -> F:
    for option in reversed((
        click.option("--studio", "folder", required=True, metavar="DIR",
                     type=click.Path(path_type=Path, file_okay=False), help="The studio's folder."),
        click.option("--item", default="", metavar="ITEM",
                     help="Id or title; may be left out where the studio holds one item."),
        click.option("--at", default="", metavar="INSTANT",
                     help="When it was, as 2026-11-28T19:42:00Z or with an offset; now if left "
                     "out."),
        click.option("--once", default="", metavar="TEXT",
                     help="A name of your own for this entry: sent again, it is saved once."),
        JSON,
    )):  # fmt: skip
        function = option(function)
    return function


@click.group()
def log() -> None:
    """Add readings, steps and notes to an item from a script.

    Every entry is on the disk when the command returns. With --once an entry that is sent again
    (after a power cut, by a loop that starts over) is saved once.
    """


@log.command()
@click.argument("value")
@click.option("--place", default="", help="Sheet or page: w03, cover, w03.outer.left; the whole "
              "item if left out.")  # fmt: skip
@click.option("--moment", type=click.Choice(["before", "after"]), help="Before or after treatment.")
@click.option("--quantity", default="", help="Where the text does not say: width, height, mass ..")
@click.option("--method", default="", help="How a pH was read; a strip on the paper if left out.")
@click.option("--note", default="")
@_shared
def reading(
    value: str, place: str, moment: str | None, quantity: str, method: str, note: str, **common: Any
) -> None:
    """A reading as people write it: VALUE is "pH 7.9 at 21C", "184.5 x 260", "4.7 g".

    \b
    Example:
      quirewell log reading "184.5 x 260" --studio larkmoor --place w03 --moment after
    """
    _one("reading", common, value=value, place=place, moment=moment or "", quantity=quantity,
         method=method, note=note)  # fmt: skip


@log.command()
@click.argument("kind")
@click.option("--places", required=True, help="Sheets: w03, 3-4, all, cover.")
@click.option("--way", default="", help="The variant used, where the step has several.")
@click.option("--planned", default="", help='How long it is to last: "30", "1 h 30".')
@click.option("--most", default="", help="How long at most.")
@click.option("--override", default="", metavar="REASON",
              help="Why it is begun all the same, where a caution stands before it.")  # fmt: skip
@_shared
def start(
    kind: str, places: str, way: str, planned: str, most: str, override: str, **common: Any
) -> None:
    """Begin a step: KIND is one of `quirewell treat kinds`.

    \b
    Example:
      quirewell log start wash --studio larkmoor --places 3-4 --planned 30
    """
    _one("start", common, kind=kind, places=places, way=way, planned=planned, most=most,
         override=override)  # fmt: skip


@log.command()
@click.argument("step")
@click.option("--note", default="")
@_shared
def done(step: str, note: str, **common: Any) -> None:
    """End a step under way: STEP is its id, as `log start` printed it.

    \b
    Example:
      quirewell log done step-41 --studio larkmoor
    """
    _one("done", common, id=step, note=note)


@log.command()
@click.argument("words")
@click.option("--place", default="", help="Sheet it is about.")
@click.option("--step", default="", help="Step it is about, by its id.")
@_shared
def note(words: str, place: str, step: str, **common: Any) -> None:
    """Write something down.

    \b
    Example:
      quirewell log note "red of the masthead a little paler" --studio larkmoor --place cover
    """
    _one("note", common, words=words, place=place, id=step)


@log.command()
@click.argument("what")
@click.option("--place", default="", help="Sheet it happened to.")
@click.option("--kind", default="", help="ink, tear, tideline, stuck, rust, scorch, mould, eye ..")
@click.option("--done-about", default="", help="What was done about it.")
@_shared
def wrong(what: str, place: str, kind: str, done_about: str, **common: Any) -> None:
    """Something went wrong; it stands in the record and in the report as it was.

    \b
    Example:
      quirewell log wrong "lower corner torn off wet" --studio larkmoor --place w04 --kind tear
    """
    _one("wrong", common, what=what, place=place, kind=kind, done_about=done_about)


@log.command()
@click.argument("file", type=click.File(encoding="utf-8"))
@_shared
def lines(file: Any, **common: Any) -> None:
    """Many entries: FILE (or - for standard input) holds a JSON object a line.

    Each has "command" (reading, start, done, note, test, wrong ..), the fields of that command,
    and may have "once", "typed_at" and "item" of its own. A line that cannot be is told and the
    others go on; the command then ends with 1. A line without "once" is named by its text and its
    number, so that the same file sent again is saved once.

    \b
    Example:
      quirewell log lines evening.jsonl --studio larkmoor --json
    """
    from quirewell.studio.faults import StudioError
    from quirewell.studio.studio import Studio

    told: list[dict[str, Any]] = []
    try:
        with Studio.open(common["folder"]) as studio:
            for number, text in enumerate(file, start=1):
                if number > MOST_LINES:
                    fail(f"a file has at most {MOST_LINES} lines; send it in parts",
                         common["wants_json"])  # fmt: skip
                if text.strip():
                    told.append({"line": number, **_line(studio, text, number, common)})
    except (StudioError, UnicodeDecodeError) as error:
        fail(str(error), common["wants_json"])
    if common["wants_json"]:
        print_json({"entries": told, "saved": sum(1 for one in told if one["saved"])})
    else:
        for one in told:
            again = " (was saved before)" if one.get("again") else ""
            state = "saved" if one["saved"] else "NOT SAVED"
            click.echo(f"{one['line']}: {state}: {one['says']}{again}")
    sys.exit(0 if all(one["saved"] for one in told) else 1)


def _line(studio: Any, text: str, number: int, common: dict[str, Any]) -> dict[str, Any]:
    try:
        form = json.loads(text)
    except (ValueError, RecursionError):
        return {"saved": False, "says": "This line is no JSON object."}
    if not isinstance(form, dict) or not all(
        isinstance(value, str | int | float) and not isinstance(value, bool)
        for value in form.values()
    ):
        return {"saved": False, "says": "A line is an object of texts and numbers."}
    unknown = sorted(set(form) - FIELDS)
    if unknown:
        return {"saved": False, "says": f"There is no field {', '.join(unknown)[:100]} here."}
    entry = {name: str(value) for name, value in form.items()}
    name = entry.get("once", "") or f"line {number}: {text.strip()}"
    asked = {**common, "once": name, "at": entry.pop("typed_at", "") or common["at"],
             "item": entry.pop("item", "") or common["item"]}  # fmt: skip
    entry.pop("once", None)
    return _entry(studio, entry.pop("command", ""), asked, entry)


def _one(command: str, common: dict[str, Any], **form: str) -> None:
    from quirewell.studio.faults import StudioError
    from quirewell.studio.studio import Studio

    try:
        with Studio.open(common["folder"]) as studio:
            told = _entry(studio, command, common, form)
    except StudioError as error:
        fail(str(error), common["wants_json"])
    if common["wants_json"]:
        print_json(told)
    elif told["saved"]:
        again = " (was saved before)" if told["again"] else ""
        click.echo(f"Saved: {told['says']}{again}. {told['record']}")
    if not told["saved"]:
        click.echo(f"quirewell: {told['says']}", err=True)
        sys.exit(2)


def _entry(
    studio: Any, command: str, common: dict[str, Any], form: dict[str, str]
) -> dict[str, Any]:
    """Save one entry once; what became of it as plain data."""
    from quirewell.cli.options import item_meant
    from quirewell.stages import once, today_keep
    from quirewell.stages.entry_time import when_typed
    from quirewell.stages.refusal import Refusal
    from quirewell.studio.faults import NotUndoable, Stale

    commands = today_keep.COMMANDS
    if command not in commands:
        known = ", ".join(commands)
        return {"saved": False, "says": f"There is nothing called {command[:30]!r}: {known}."}
    asked = common["item"]
    found, there = item_meant(studio, asked)
    line = None if found is None else studio.line(found)
    if line is None:
        says = f"no item {asked!r}" if asked else "say which item"
        return {"saved": False, "says": f"{says}; this studio holds {there}."}
    try:
        when = when_typed({"typed_at": common["at"]}, datetime.now(UTC), line.opened_at)
        named = f"{command}\n{line.id}\n{common['once']}".encode()
        known = hashlib.sha256(named).hexdigest()[:32] if common["once"] else secrets.token_hex(16)
        sent = {name: value for name, value in form.items() if value} | {
            "once": known, "at": when.at, "command": command, "device": "script",
        }  # fmt: skip
        kept = once.send(studio, line.id, sent, commands[command], ACTOR)
    except (Refusal, Stale, NotUndoable) as error:
        return {"saved": False, "says": str(error), "rule": getattr(error, "rule", "")}
    return {
        "saved": True, "seq": kept.seq, "says": today_keep.saved_words(command, kept.events),
        "again": kept.again, "record": kept.entry.record, "at": kept.entry.at,
    }  # fmt: skip
