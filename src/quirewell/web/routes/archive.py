"""The pages for archives, of one item and of the whole studio: what will go in, making, fetching,
checking. Only the bench comes here (`roles.py`)."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from quirewell.exchange.archive_plan import plan_archive
from quirewell.exchange.make import Wish
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.disks import free_bytes, size_words
from quirewell.web import archives
from quirewell.web.forms import Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import own_path, render, render_item, see
from quirewell.web.work_told import told_json

HOME = "/backups/archive"
FORM_BYTES = 8 * 1024
LONGEST_LICENCE = 200
GONE = "That archive is not kept here any more; make it again."


def page(request: Request) -> Response:
    """What an archive of the whole studio would hold, and those that wait."""
    return _page(request)


def _page(request: Request, refusal: Refusal | None = None) -> Response:
    house = house_of(request)
    kept = archives.waiting(house.studio)
    ids = [one.item for one in kept if one.item]
    return render(
        request, "archives.html", refusal=refusal, plan=plan_archive(house.studio), kept=kept,
        titles={id: title for id, (title, _) in house.studio.titles(ids).items()},
        here=HOME, **_more(house),
    )  # fmt: skip


def item_page(request: Request) -> Response:
    """The same for one item."""
    return _item_page(request)


def _item_page(request: Request, refusal: Refusal | None = None) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    return render_item(
        request, "archive_item.html", state, "send", refusal=refusal,
        plan=plan_archive(house.studio, state.id),
        whole=plan_archive(house.studio, state.id, with_private=True),
        kept=archives.waiting(house.studio, state.id), titles={state.id: state.item.title},
        here=_home(state.id), **_more(house),
    )  # fmt: skip


def _more(house: House) -> dict[str, Any]:
    folder = house.studio.folder
    return {
        "making": house.desk.view(archives.DESK), "size": size_words,
        "free": size_words(free_bytes(house.studio.derived)), "head": house.studio.head(),
        "most": archives.MOST_KEPT, "studio": folder.name,
    }  # fmt: skip


def _home(item: str) -> str:
    return f"/item/{item}/send/archive"


async def make(request: Request) -> Response:
    """Begin an archive of the whole studio."""
    sent = await read_form(request, most=FORM_BYTES)
    return await run_in_threadpool(_make, request, sent, "")


async def make_item(request: Request) -> Response:
    """Begin an archive of one item."""
    sent = await read_form(request, most=FORM_BYTES)
    return await run_in_threadpool(_make, request, sent, request.path_params["item"])


def _make(request: Request, sent: Sent, item: str) -> Response:
    house = house_of(request)
    called = house.item(item).item.title if item else "the studio"
    licence, private = " ".join(sent.get("licence").split()), bool(sent.get("private") and item)
    if len(licence) > LONGEST_LICENCE:
        problem = Problem("licence", f"{LONGEST_LICENCE} signs at the most: an address or words.")
    else:
        room = plan_archive(house.studio, item, private).room_bytes
        problem = Problem("", archives.no_room(house.studio, room))
    if problem.says:
        told = Refusal((problem,), "", dict(sent.texts))
        return _item_page(request, told) if item else _page(request, told)
    # One worker: the bench goes on while it is made.
    wish = Wish(item, bool(sent.get("tiles")), private, licence, workers=1)
    house.desk.errand(
        archives.DESK, f"Making the archive of {called}",
        lambda says: archives.make_one(house.studio, wish, says),
    )  # fmt: skip
    return see(_home(item) if item else HOME)


async def check(request: Request) -> Response:
    """Begin to look an archive over."""
    sent = await read_form(request, most=FORM_BYTES)
    name = request.path_params["name"]

    def begin() -> Response:
        house = house_of(request)
        path = archives.path_of(house.studio, name)
        if path is None:
            raise HTTPException(404, GONE)
        house.desk.errand(
            archives.DESK, f"Checking {path.name}",
            lambda says: archives.check_one(house.studio, name, says),
        )  # fmt: skip
        return see(own_path(sent.get("back"), HOME))

    return await run_in_threadpool(begin)


async def throw_away(request: Request) -> Response:
    """Take an archive away."""
    sent = await read_form(request, most=FORM_BYTES)
    name = request.path_params["name"]
    await run_in_threadpool(archives.throw_away, house_of(request).studio, name)
    return see(own_path(sent.get("back"), HOME))


def fetch(request: Request) -> Response:
    """The archive as one file, read from the disk piece by piece as it is sent."""
    path = archives.path_of(house_of(request).studio, request.path_params["name"])
    if path is None:
        raise HTTPException(404, GONE)
    return FileResponse(path, media_type="application/zip", filename=path.name)


def in_hand(request: Request) -> Response:
    """Where the making or checking stands."""
    return JSONResponse(told_json(house_of(request).desk.last(archives.DESK)))


async def seen(request: Request) -> Response:
    """Take away the note of what could not be done."""
    sent = await read_form(request, most=FORM_BYTES)
    house_of(request).desk.clear(archives.DESK)
    return see(own_path(sent.get("back"), HOME))


routes = [
    Route(HOME, page),
    Route(HOME, make, methods=["POST"]),
    Route(f"{HOME}/in-hand.json", in_hand),
    Route(f"{HOME}/seen", seen, methods=["POST"]),
    Route(f"{HOME}/{{name}}.zip", fetch),
    Route(f"{HOME}/{{name}}/check", check, methods=["POST"]),
    Route(f"{HOME}/{{name}}/away", throw_away, methods=["POST"]),
    Route("/item/{item}/send/archive", item_page),
    Route("/item/{item}/send/archive", make_item, methods=["POST"]),
]
