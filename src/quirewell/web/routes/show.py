"""The switch of show mode: for this browser only, until it is left or the browser is closed."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.web.forms import read_form
from quirewell.web.page import own_path, see
from quirewell.web.show_mode import COOKIE, ON, SWITCH


async def switch(request: Request) -> Response:
    """Turn show mode on or off, and lead back."""
    sent = await read_form(request)
    answer = see(own_path(sent.get("back"), "/"))
    secure = request.url.scheme == "https"
    if sent.get("on") == ON:
        answer.set_cookie(COOKIE, ON, httponly=True, samesite="strict", secure=secure)
    else:
        answer.delete_cookie(COOKIE, httponly=True, samesite="strict", secure=secure)
    return answer


routes = [Route(SWITCH, switch, methods=["POST"])]
