"""When it goes wrong: what to do first, and the note with its time and picture."""

from __future__ import annotations

from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.report.wrong_card import wrong_card
from quirewell.stages import emergencies
from quirewell.stages.all_items import MISHAPS, items_offered
from quirewell.stages.cautions import LOCAL_CODES
from quirewell.stages.places import read_places
from quirewell.stages.refusal import Refusal, refused
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.clock import instant_text, now
from quirewell.studio.lists import EVERY, Where
from quirewell.studio.studio import Studio
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

HOME = "/wrong"
PICTURES = 4


def page(request: Request) -> Response:
    """What can go wrong, each with its first line."""
    return _page(request, None, request.query_params.get("item", ""))


def _page(request: Request, refusal: Refusal | None, chosen: str) -> Response:
    house = house_of(request)
    states = house.studio.states(*MISHAPS)
    open_now = [
        (house.studio.state(state.id), line)
        for state in states
        for line in emergencies.lines(state)
        if line.open
    ]
    chosen = chosen or _likely(house.studio)
    return render(
        request, "wrong.html", refusal=refusal, rows=tuple(emergencies.EMERGENCIES.values()),
        items=items_offered(house.studio, chosen), chosen=chosen, open_now=open_now,
        local_codes=LOCAL_CODES,
        noted=_noted(states, request.query_params.get("noted", "")),
    )  # fmt: skip


def _likely(studio: Studio) -> str:
    """The item that is being worked on: one with a step under way, or the only one."""
    for where in (Where(having="under way"), EVERY):
        lines = studio.page(where, limit=2)
        if len(lines) == 1:
            return lines[0].id
    return ""


def _noted(states: list[ItemState], id: str) -> tuple[ItemState, emergencies.MishapLine] | None:
    item, _, mishap = id.partition(":")
    for state in states:
        for line in emergencies.lines(state):
            if (state.id, line.id) == (item, mishap):
                return state, line
    return None


async def note(request: Request) -> Response:
    """Keep that it happened, now, with whatever picture came along."""
    return await _save(request, emergencies.note_mishap)


async def more(request: Request) -> Response:
    """More about one that is noted; or that it is over."""
    return await _save(request, emergencies.tell_more)


Command = Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]


async def _save(request: Request, command: Command) -> Response:
    sent = await read_form(request, most=UPLOAD_BYTES, files=PICTURES)
    return await run_in_threadpool(_saved, request, sent, command)


def _saved(request: Request, sent: Sent, command: Command) -> Response:
    house = house_of(request)
    form = {**sent.texts, "at": instant_text(now())}
    item = form.get("item", "")
    try:
        if not item:
            raise refused(form, "item", "choose the item that this happened to")
        state = house.item(item)
        if sent.files:
            form["capture"] = _picture(house, state, sent, form)
            state = house.item(item)
        events = house.studio.append(item, state.version, command(state, form), ACTOR)
    except Refusal as refusal:
        return _page(request, refusal, item)
    finally:
        for entry in sent.files:
            entry.file.close()
    mishap = str(events[0].body["id"]) if events else form.get("id", "")
    return see(f"{HOME}?noted={item}:{mishap}#noted")


def _picture(house: House, state: ItemState, sent: Sent, form: dict[str, str]) -> str:
    """The picture, taken in; the id of the first one.

    Raises:
        Refusal: it is no picture; the words are kept in the form.
    """
    place = read_places(state, form, field="place", otherwise="item")[0]
    sources = [Source(_named(entry.filename or ""), entry.file) for entry in sent.files]
    report = take_in(
        house.studio, state.id, sources, runner=house.runner, actor=ACTOR, at_bench=place
    )
    taken = [arrival.capture for arrival in report.arrivals if arrival.ok]
    if not taken:
        says = report.stopped or "; ".join(one.says for one in report.refused)
        raise refused(form, "files", says or "that picture could not be read")
    return taken[0]


def _named(name: str) -> str:
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:200] or "bench picture"


def card(request: Request) -> Response:
    """The same on paper, to hang beside the bench."""
    return Response(
        wrong_card(), media_type="application/pdf",
        headers={"content-disposition": 'attachment; filename="when-it-goes-wrong.pdf"'},
    )  # fmt: skip


routes = [
    Route(HOME, page),
    Route(f"{HOME}.pdf", card),
    Route(f"{HOME}/note", note, methods=["POST"]),
    Route(f"{HOME}/more", more, methods=["POST"]),
]
