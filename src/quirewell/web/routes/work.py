"""Where the work in hand stands, for the page that waits for it."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import own_path, see
from quirewell.web.work_told import told_json


def state(request: Request) -> Response:
    """State, not increments: asking twice does no harm."""
    house = house_of(request)
    work = house.desk.last(house.item(request.path_params["item"]).id)
    return JSONResponse(told_json(work))


async def seen(request: Request) -> Response:
    """Take away the note of what could not be done."""
    sent = await read_form(request)
    item_id = request.path_params["item"]
    house_of(request).desk.clear(item_id)
    return see(own_path(sent.get("back"), f"/item/{item_id}"))


routes = [
    Route("/item/{item}/in-hand.json", state),
    Route("/item/{item}/in-hand/seen", seen, methods=["POST"]),
]
