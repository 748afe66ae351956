"""The bench page: one thing at a time, and the one door for entries that are sent once."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.stages import once, today_keep
from quirewell.stages.all_items import items_at_hand, items_offered
from quirewell.stages.cautions import LOCAL_CODES
from quirewell.stages.entry_time import When, instant, read_instant, when_typed
from quirewell.stages.examine import known_sheets
from quirewell.stages.naming import places_words
from quirewell.stages.one_box import MOMENTS, read_back
from quirewell.stages.places import read_places
from quirewell.stages.reading_entry import PH_METHODS
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.taking_in import Source, take_in
from quirewell.stages.today import Card, today
from quirewell.stages.today_plan import lookup_of, standing_plan
from quirewell.stages.today_said import last_ph_method, lately, moment_here
from quirewell.studio.faults import NoSuchItem, NotUndoable, Stale
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import STATIC, House, house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

HOME = "/today"


def page(request: Request) -> Response:
    """The one thing now, what comes next, what is late."""
    return _page(request)


def _page(
    request: Request, refusal: Refusal | None = None, asked: dict[str, Any] | None = None
) -> Response:
    house = house_of(request)
    now, zone = datetime.now(UTC), ZoneInfo(house.studio.settings.zone)
    bench, query = house.studio.bench(), request.query_params
    states = items_at_hand(house.studio, bench, query.get("item", ""))
    told = standing_plan(bench, states, now)
    by_id = {state.id: state for state in states}
    only = query.get("item", "") if query.get("item", "") in by_id else ""
    seen = today(states, told.rows, now, query.get("at", ""), told.lookup, bench, only, told.over)
    last = lately(states)
    chosen = query.get("item", "") if query.get("item", "") in by_id else _likely(states)
    return render(
        request, "today.html", refusal=refusal, here=HOME, view=seen, lately=last, asked=asked,
        kept=next((one for one in last if one.once == query.get("saved")), None),
        plan_says=told.says,
        plan_late=() if only or told.over or (seen.now and seen.now.level) else told.late[:3],
        plan_over=told.over,
        mark=house.studio.head(), now=instant(now), zone=zone.key, several=len(states) > 1,
        items=items_offered(house.studio, chosen), chosen_item=chosen,
        kinds=list(STEP_KINDS.values()), moments=MOMENTS,
        ph_methods=[(one.key, one.name) for one in PH_METHODS.values()],
        ph_method=last_ph_method(states), fresh=fresh_once, local_codes=LOCAL_CODES,
        at=lambda text: clock_words(text, now, zone),
        sheets_of=lambda item, card: _places(by_id.get(item), card),
        moment_of=lambda card: _moment(by_id, card),
    )  # fmt: skip


def _likely(states: Sequence[ItemState]) -> str:
    return states[0].id if states else ""


def _places(state: ItemState | None, card: Card | None) -> list[str]:
    """Places that can be chosen: those of the card first, then the whole, then every sheet."""
    own = card.places if card else ()
    return list(dict.fromkeys((*own, "item", *(known_sheets(state) if state else ()))))


def _moment(by_id: Mapping[str, ItemState], card: Card | None) -> str:
    return "" if card is None else moment_here(by_id[card.item], card.places) or ""


def clock_words(text: str, now: datetime, zone: ZoneInfo) -> str:
    """An instant as the bench's clock shows it, with the day where it is another one."""
    if not text:
        return ""
    moment = read_instant(text).astimezone(zone)
    if moment.date() == now.astimezone(zone).date():
        return f"{moment:%H:%M}"
    return f"{moment:%a} {moment.day} {moment:%b %H:%M}"


def state_json(request: Request) -> Response:
    """Where things stand, asked every few seconds: a mark that changes with every save, the
    studio's time, and what is under way."""
    house = house_of(request)
    bench, now = house.studio.bench(), datetime.now(UTC)
    seen = today(items_at_hand(house.studio, bench), (), now, lookup=lookup_of(bench))
    cards = [*seen.under_way, *([seen.now] if seen.now and seen.now.started_at else [])]
    return JSONResponse(
        {
            "mark": house.studio.head(),
            "now": now.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "under_way": [
                {
                    "item": card.item, "step": card.id, "name": card.name, "where": card.where,
                    "started": card.started_at, "due": card.due_at, "most": card.most_at,
                    "level": card.level, "warn": card.warn,
                }
                for card in cards
            ],
            "wet": [one.says for one in seen.wet],
        }
    )  # fmt: skip


def service_worker(request: Request) -> Response:
    """The script that keeps this page on a device; served from the root, which is its scope."""
    script = STATIC / "built" / "sw.js"
    if not script.is_file():
        raise HTTPException(404, "The scripts of the pages are not built.")
    return FileResponse(script, media_type="text/javascript")


async def send(request: Request) -> Response:
    """Save one entry, once; JSON to a script, a page to a plain form."""
    sent = await read_form(request, most=UPLOAD_BYTES, files=1)
    return await run_in_threadpool(_send, request, sent)


def _send(request: Request, sent: Sent) -> Response:
    house, form = house_of(request), dict(sent.texts)
    script = "application/json" in request.headers.get("accept", "")
    try:
        if not script and (asked := _question(house, form)):
            return _page(request, asked=asked)
        done = _keep(house, form, sent)
    except Stale as stale:
        told = _both(stale, form)
        if script:
            return JSONResponse(told, status_code=409)
        return _page(request, Refusal((Problem("id", told["says"]),), values=form))
    except NotUndoable as error:
        return _no(request, script, Refusal((Problem("entry", _sentence(str(error))),)), form)
    except Refusal as refusal:
        return _no(request, script, refusal, form)
    finally:
        for file in sent.files:
            file.file.close()
    return JSONResponse(done) if script else see(HOME, saved=done["once"])


def _no(request: Request, script: bool, refusal: Refusal, form: dict[str, str]) -> Response:
    if script:
        return JSONResponse(_refusal(refusal), status_code=422)
    return _page(request, Refusal(refusal.problems, refusal.rule, form))


def _question(house: House, form: dict[str, str]) -> dict[str, Any] | None:
    """What a plain form is asked before it is saved: a reading is read back, and what wets paper,
    or ends its bath, is confirmed, for a drop of water can touch a button."""
    name = form.get("command", "")
    if form.get("right") == "yes" or name not in ("reading", "start", "done"):
        return None
    kept = {key: text for key, text in form.items() if key != "right"}
    try:
        state = house.studio.state(form.get("item", ""))
    except NoSuchItem:
        return None
    if name == "reading":
        return {
            "question": f"{read_back(state, form)}: right?", "form": kept,
            "yes": "Right, save it", "no": "No, type it anew",
        }  # fmt: skip
    step = state.steps.get(form.get("id", ""))
    kind = STEP_KINDS.get(step.kind if step else form.get("kind", ""))
    if kind is None or not kind.wets_paper:
        return None
    act = today_keep.commands(house.studio.bench())[name]
    act(state, {**form, "at": instant(datetime.now(UTC))})
    where = step.places if step else read_places(state, form)
    doing = "begin now" if name == "start" else "done"
    return {
        "question": f"{kind.name}, {places_words(where)}: {doing}?", "form": kept,
        "yes": "Yes", "no": "No, go back",
    }  # fmt: skip


def _keep(house: House, form: dict[str, str], sent: Sent) -> dict[str, Any]:
    item = form.get("item", "")
    line = house.studio.line(item)
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
        act = today_keep.commands(house.studio.bench())[name]
        kept = once.send(house.studio, item, form, act, ACTOR)
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


def _sentence(text: str) -> str:
    words = text[:1].upper() + text[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."


def fresh_once() -> str:
    """An entry's id for a plain form."""
    return secrets.token_hex(16)


routes = [
    Route(HOME, page),
    Route("/sw.js", service_worker),
    Route(f"{HOME}/state.json", state_json),
    Route(f"{HOME}/send", send, methods=["POST"]),
    Route(f"{HOME}/read", read, methods=["POST"]),
]
