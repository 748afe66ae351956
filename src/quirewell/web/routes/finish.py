"""Finish: the humidity chamber, the press seen from inside, a hand iron; before any heat."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages.cautions import LOCAL_CODES, plain
from quirewell.stages.press_view import press_view
from quirewell.stages.refusal import Refusal
from quirewell.stages.working import WORKINGS
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.saving import Again
from quirewell.web.workings import routes_of, views

KEYS = ("chamber", "press", "iron")
CARE = plain(dict.fromkeys(one for key in KEYS for one in WORKINGS[key].cautions))


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    state = house_of(request).item(request.path_params["item"])
    works = views(state, KEYS)
    run = works["press"].run
    return render_item(
        request, "finish.html", state, "finish", refusal=refusal, action=action, works=works,
        inside=None if run is None else press_view(run), local_codes=LOCAL_CODES, care=CARE,
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


routes = [Route("/item/{item}/finish", page), *routes_of("finish", KEYS, _again)]
