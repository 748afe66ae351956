"""Links for owners: made, listed and taken back on the bench's machine; opened from elsewhere."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages.refusal import Problem, Refusal
from quirewell.web import errors
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.lan import by_lan, lan_of
from quirewell.web.lan_door import LINK_COOKIE, LINK_ENDED
from quirewell.web.links import DAYS, MOST_DAYS, BadLink, Link
from quirewell.web.page import own_path, render_item, see
from quirewell.web.roles import ROLE
from quirewell.web.routes.door import qr_svg
from quirewell.web.sessions import BENCH

FORM_BYTES = 8 * 1024
ON_THE_MACHINE = "Links are made and taken back on the bench's machine itself."
NO_LINKS = "This studio is served to its own machine only. Start it with --lan, then make the link."


def page(request: Request) -> Response:
    """The item's links, and the form for another."""
    return _page(request)


def _page(
    request: Request, made: Link | None = None, url: str = "", refusal: Refusal | None = None
) -> Response:
    if by_lan(request):
        raise HTTPException(403, ON_THE_MACHINE)
    house, lan = house_of(request), lan_of(request)
    state = house.item(request.path_params["item"])
    more: dict[str, Any] = {"code": Markup(qr_svg(url, inline=True)) if url else ""}
    return render_item(
        request, "link.html", state, "send", refusal=refusal, lan=lan, days=DAYS,
        most_days=MOST_DAYS, made=made, url=url, links=lan.links.all(state.id) if lan else (),
        stands=lan.links.stands if lan else None, here=f"/item/{state.id}/send/link",
        studio=house.studio.folder.name, **more,
    )  # fmt: skip


async def make(request: Request) -> Response:
    """Make a link; its address is shown in this one answer and never again."""
    sent = await read_form(request, most=FORM_BYTES)
    return await run_in_threadpool(_make, request, sent.get("days"), sent.get("name"))


def _make(request: Request, days: str, name: str) -> Response:
    if by_lan(request):
        raise HTTPException(403, ON_THE_MACHINE)
    lan = lan_of(request)
    if lan is None:
        raise HTTPException(409, NO_LINKS)
    state = house_of(request).item(request.path_params["item"])
    try:
        token, made = lan.links.make(state.id, days, name)
    except BadLink as error:
        told = Refusal((Problem("days", str(error)),), "", {"days": days, "name": name})
        return _page(request, refusal=told)
    return _page(request, made, f"{lan.urls[0]}seen/{token}")


async def take_back(request: Request) -> Response:
    """End a link at once."""
    if by_lan(request):
        raise HTTPException(403, ON_THE_MACHINE)
    sent = await read_form(request, most=FORM_BYTES)
    lan = lan_of(request)
    if lan is None:
        raise HTTPException(409, NO_LINKS)
    await run_in_threadpool(lan.links.take_back, sent.get("id"))
    return see(own_path(sent.get("back"), f"/item/{request.path_params['item']}/send/link"))


def seen(request: Request) -> Response:
    """Open a link: the token goes from the address into a cookie, and the address is left behind.

    The cookie is sent along when a link in a letter is followed (SameSite=Lax), since nothing can
    be changed with it.
    """
    lan = lan_of(request)
    link = lan.links.find(request.path_params["token"]) if lan and by_lan(request) else None
    if link is None:
        answer = errors.told(request, 404, LINK_ENDED)
    else:
        answer = see(f"/item/{link.item}/report/read")
        if request.scope.get(ROLE) != BENCH:
            answer.set_cookie(
                f"{LINK_COOKIE}{link.id}", request.path_params["token"], expires=link.until,
                path="/", secure=True, httponly=True, samesite="lax",
            )  # fmt: skip
    answer.headers["Referrer-Policy"] = "no-referrer"
    return answer


routes = [
    Route("/item/{item}/send/link", page),
    Route("/item/{item}/send/link", make, methods=["POST"]),
    Route("/item/{item}/send/link/back", take_back, methods=["POST"]),
    Route("/seen/{token}", seen),
]
