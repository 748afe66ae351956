"""The contact sheet: all pictures that wait, in scan order, put in their places at once."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.stages import contact, matching
from quirewell.stages.refusal import Refusal
from quirewell.studio.faults import Stale
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.measuring import start_measuring
from quirewell.web.page import render_item, see
from quirewell.web.saving import ACTOR


def look_again(house: House, state: ItemState) -> matching.Matches:
    """What the pictures' print says so far; what is not known yet is begun to be looked for."""
    known = matching.known_matches(house.studio, state)
    if known.left and matching.at_hand(house.studio, state):
        matching.start_matching(house.studio, state, house.runner)
    return known


def page(request: Request) -> Response:
    """The sheet as proposed."""
    return _page(request, {}, None)


def _page(request: Request, form: dict[str, str], refusal: Refusal | None) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    seen = contact.view(state, look_again(house, state), form)
    return render_item(
        request, "contact.html", state, "intake", refusal=refusal, view=seen,
        moments=[("before", "before treatment"), ("after", "after treatment")],
        here=f"/item/{state.id}/intake/sheet",
    )  # fmt: skip


async def again(request: Request) -> Response:
    """The sheet with what was chosen so far, numbered on from one picture or proposed anew."""
    sent = await read_form(request)
    return await run_in_threadpool(_page, request, dict(sent.texts), None)


async def confirm(request: Request) -> Response:
    """Put every picture where the sheet says."""
    sent = await read_form(request)

    def done() -> Response:
        house = house_of(request)
        state = house.item(request.path_params["item"])
        form = {**sent.texts, "act": ""}
        try:
            drafts = contact.assign_all(state, form)
            house.studio.append(state.id, state.version, drafts, actor=ACTOR)
        except Refusal as refusal:
            return _page(request, form, refusal)
        except Stale:
            return _page(request, form, None)
        start_measuring(house, house.item(state.id))
        return see(f"/item/{state.id}/intake")

    return await run_in_threadpool(done)


routes = [
    Route("/item/{item}/intake/sheet", page, methods=["GET"]),
    Route("/item/{item}/intake/sheet", again, methods=["POST"]),
    Route("/item/{item}/intake/sheet/assign", confirm, methods=["POST"]),
]
