"""The studio's items, a new item, and an item's own page with the gathering drawing."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages import overview
from quirewell.stages.afterwards import due_words
from quirewell.stages.item_account import held_says
from quirewell.stages.owner_view import item_owned
from quirewell.stages.refusal import Refusal
from quirewell.stages.shades import shade, shades
from quirewell.stages.treat import undo_guard
from quirewell.studio.faults import NotUndoable
from quirewell.studio.lists import HAVINGS, ORDERS, Where
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import drawing, own_path, render, render_item, see
from quirewell.web.paging import page_number, pages_of
from quirewell.web.routes.kept import line
from quirewell.web.routes.parcels import today
from quirewell.web.saving import ACTOR, Again, saver

CARDS = 24
SHOWING = (
    ("", "all items"), ("open", "with steps not done"), ("under way", "with a step under way"),
    ("planned", "with planned steps"), ("unassigned", "with pictures to assign"),
    ("due", "whose check is overdue"), ("unsold", "not sold"), ("sold", "sold"),
)  # fmt: skip
SORTING = (
    ("changed", "changed last first"), ("opened", "opened last first"), ("title", "by title"),
    ("year", "by year"), ("check", "by the day of the next check"),
)  # fmt: skip


def index(request: Request) -> Response:
    """The items of the studio as cards, a page at a time."""
    house = house_of(request)
    bench, asked = house.studio.bench(), request.query_params
    where = Where(
        asked.get("title", "")[:100],
        next((one for one in HAVINGS if one == asked.get("show")), ""),
        next((one for one in ORDERS if one == asked.get("sort")), "changed"),
        today(),
    )
    count = house.studio.count(where)
    pages = max(1, -(-count // CARDS))
    page = min(page_number(asked.get("page", "")), pages)
    lines = house.studio.page(where, CARDS, (page - 1) * CARDS)
    states = [house.studio.state(line.id) for line in lines]
    keep = {"title": where.title, "show": where.having, "sort": asked.get("sort") and where.order}
    narrowed = bool(where.title or where.having)
    return render(
        request, "studio.html", cards=[overview.card_view(state, bench) for state in states],
        late={state.id: due_words(state, where.day) for state in states}, where=where, count=count,
        every=house.studio.count() if narrowed else count, narrowed=narrowed,
        showing=SHOWING, sorting=SORTING, least=CARDS // 2,
        pages=pages_of("/", {name: value or "" for name, value in keep.items()}, page, pages),
        studio_name=house.studio.name, kept=line(request),
    )  # fmt: skip


def new(request: Request) -> Response:
    """The form for a new item."""
    return render(request, "new.html")


async def create(request: Request) -> Response:
    """Open a new item."""
    sent = await read_form(request)

    def made() -> Response:
        studio = house_of(request).studio
        item_id = studio.new_id(sent.get("title"))
        try:
            drafts = overview.open_item(item_id, dict(sent.texts))
        except Refusal as refusal:
            return render(request, "new.html", refusal=refusal)
        events = studio.append(item_id, 0, drafts, actor=ACTOR)
        return see(f"/item/{item_id}", done=events[0].seq)

    return await run_in_threadpool(made)


def item(request: Request) -> Response:
    """An item's page."""
    return _item(request, None, "")


def _item(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    chosen = shade(state, request.query_params.get("show", "progress"))
    return render_item(
        request, "item.html", state, "", refusal=refusal, action=action,
        view=overview.item_view(state, house.studio.bench()), shades=shades(state), shade=chosen,
        drawing=drawing(state.gathering, state.id, chosen),
        held=held_says(state, house.studio.bench()),
        owned=item_owned(state, house.studio.bench()),
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _item(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}"


async def undo(request: Request) -> Response:
    """Counter the event a page offered to undo."""
    sent = await read_form(request)

    def done() -> Response:
        house = house_of(request)
        state = house.item(request.path_params["item"])
        back = own_path(sent.get("back"), f"/item/{state.id}")
        number = sent.get("seq")
        if not (number.isdigit() and len(number) < 12):
            raise HTTPException(400, "Nothing was undone: the form did not say what to undo.")
        try:
            event = house.studio.undo(state.id, int(number), ACTOR, guard=undo_guard)
        except NotUndoable as error:
            raise HTTPException(409, str(error)) from error
        return see(back, done=event.seq)

    return await run_in_threadpool(done)


routes = [
    Route("/", index),
    Route("/new", new, methods=["GET"]),
    Route("/new", create, methods=["POST"]),
    Route("/item/{item}", item),
    Route(
        "/item/{item}/describe",
        saver(overview.describe_item, _home, _again, "describe"),
        methods=["POST"],
    ),
    Route(
        "/item/{item}/gathering",
        saver(overview.describe_gathering, _home, _again, "gathering"),
        methods=["POST"],
    ),
    Route("/item/{item}/undo", undo, methods=["POST"]),
]
