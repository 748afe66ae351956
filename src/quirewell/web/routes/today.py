"""The bench page: one thing at a time, and the one door for entries that are sent once."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.stages import once, today_keep
from quirewell.stages.entry_time import When, instant, when_typed
from quirewell.stages.one_box import read_back
from quirewell.stages.places import read_places
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.faults import NoSuchItem, NotUndoable, Stale
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.saving import ACTOR

HOME = "/today"


async def send(request: Request) -> Response:
    """Save one entry, once; JSON to a script, a page to a plain form."""
    sent = await read_form(request, most=UPLOAD_BYTES, files=1)
    return await run_in_threadpool(_send, request, sent)


def _send(request: Request, sent: Sent) -> Response:
    house, form = house_of(request), dict(sent.texts)
    try:
        done = _keep(house, form, sent)
    except Stale as stale:
        return _told(409, _both(stale, form))
    except NotUndoable as error:
        return _told(422, _refusal(Refusal((Problem("entry", _sentence(str(error))),))))
    except Refusal as refusal:
        return _told(422, _refusal(refusal))
    finally:
        for file in sent.files:
            file.file.close()
    return _told(200, done)


def _keep(house: House, form: dict[str, str], sent: Sent) -> dict[str, Any]:
    item = form.get("item", "")
    line = next((one for one in house.studio.items() if one.id == item), None)
    if line is None:
        says = "There is no such item in this studio; choose the item anew."
        raise Refusal((Problem("item", says),), values=form)
    once.entry_id(form)
    when = when_typed(form, datetime.now(UTC), line.opened_at)
    form["at"] = when.at
    name = form.get("command", "")
    if name == "photo":
        kept = _photo(house, item, form, sent)
    elif name == "undo":
        undo = once.undo_entry(house.studio, item)
        kept = once.send(house.studio, item, form, undo, ACTOR)
    elif name in today_keep.COMMANDS:
        kept = once.send(house.studio, item, form, today_keep.COMMANDS[name], ACTOR)
    else:
        known = ", ".join([*today_keep.COMMANDS, "photo", "undo"])
        says = f"There is nothing called {name[:30]!r} to do here; it knows {known}."
        raise Refusal((Problem("command", says),), values=form)
    return _saved(kept, when)


def _photo(house: House, item: str, form: dict[str, str], sent: Sent) -> once.Kept:
    state = house.item(item)
    if form["once"] in state.sent:
        return once.send(house.studio, item, form, _nothing, ACTOR)
    if not sent.files:
        raise Refusal((Problem("photo", "Choose or take a picture first."),), values=form)
    place = read_places(state, form, field="place", otherwise="item")[0]
    name = sent.files[0].filename or "picture"
    source = Source(name.replace("\\", "/").rsplit("/", 1)[-1][:200], sent.files[0].file)
    report = take_in(house.studio, item, [source], runner=house.runner, actor=ACTOR, at_bench=place)
    arrival = report.arrivals[0] if report.arrivals else None
    if arrival is None or not arrival.ok:
        says = report.stopped or (arrival.says if arrival else "That is no picture.")
        raise Refusal((Problem("photo", says),), values=form)
    return once.send(house.studio, item, form, _nothing, ACTOR, made=(arrival.capture,))


def _nothing(state: ItemState, form: dict[str, str]) -> tuple[()]:
    return ()


def _saved(kept: once.Kept, when: When) -> dict[str, Any]:
    return {
        "saved": True,
        "seq": kept.seq,
        "says": today_keep.saved_words(kept.entry.command, kept.events),
        "undo": kept.undo,
        "again": kept.again,
        "once": kept.entry.id,
        "record": kept.entry.record,
        "at": kept.entry.at,
        "clock": when.says,
        "off_s": when.off_s,
        "now": instant(datetime.now(UTC)),
    }


def _refusal(refusal: Refusal) -> dict[str, Any]:
    return {
        "saved": False,
        "says": str(refusal),
        "rule": refusal.rule,
        "problems": [{"field": one.field, "says": one.says} for one in refusal.problems],
    }


def _both(stale: Stale, form: dict[str, str]) -> dict[str, Any]:
    """Both versions of a record that two people edited, and the number of the newer one."""
    names = [name for name in form if hasattr(stale.now, name) and name != "id"]
    return {
        "saved": False,
        "stale": True,
        "says": (
            "Somebody changed this meanwhile, so nothing was overwritten. Look at what is saved "
            "now, and type what is to stand."
        ),
        "touched": stale.now_touched,
        "both": [{"name": name, "saved": str(getattr(stale.now, name)), "yours": form[name]}
                 for name in names],
    }  # fmt: skip


async def read(request: Request) -> Response:
    """What a typed reading would be saved as, in words; nothing is saved."""
    form = dict((await read_form(request)).texts)

    def told() -> Response:
        try:
            state = house_of(request).studio.state(form.get("item", ""))
            return JSONResponse({"says": read_back(state, form)})
        except NoSuchItem:
            return JSONResponse(
                {"says": "There is no such item in this studio.", "problems": []}, status_code=422
            )
        except Refusal as refusal:
            return JSONResponse(_refusal(refusal), status_code=422)

    return await run_in_threadpool(told)


def _told(status: int, told: dict[str, Any]) -> Response:
    return JSONResponse(told, status_code=status)


def _sentence(text: str) -> str:
    words = text[:1].upper() + text[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."


def fresh_once() -> str:
    """An entry's id for a plain form."""
    return secrets.token_hex(16)


routes = [
    Route(f"{HOME}/send", send, methods=["POST"]),
    Route(f"{HOME}/read", read, methods=["POST"]),
]
