"""Send: where an item is in plans and parcels and why, how it is packed, what came back."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages import parcel_service as terms
from quirewell.stages import sending as stage
from quirewell.stages.afterwards import due
from quirewell.stages.parcel_items import candidates
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render_item, see
from quirewell.web.routes.parcels import states_of, today
from quirewell.web.saving import ACTOR, Again, save, saver


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state, bench = house.item(request.path_params["item"]), house.studio.bench()
    service = terms.service_of(bench)
    mine = None
    if service is not None:
        among = candidates(states_of(house), service, bench, today())
        mine = next(one for one in among if one.item == state.id)
    return render_item(
        request, "send.html", state, "send", refusal=refusal, action=action,
        view=stage.view(state, bench, today()), due=due(state, today()),
        service=service, mine=mine, goes=terms.GOES,
        currency=terms.studio_of(service).get("currency", "") if service else "",
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/send"


async def came_back(request: Request) -> Response:
    """A grade that came back, held against the parcel it went in."""

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        return stage.returned(house_of(request).studio.bench())(state, form)

    return await save(request, command, _home(request) + "#returned", _again("returned"))


async def typed(request: Request) -> Response:
    """What is typed about the item for its parcels; it stands in the studio's own stream."""
    sent = await read_form(request)

    def done() -> Response:
        studio, form = house_of(request).studio, dict(sent.texts)
        form["item"] = house_of(request).item(request.path_params["item"]).id
        try:
            studio.append(STUDIO, None, terms.type_item(studio.bench(), form), ACTOR)
        except Refusal as refusal:
            return _page(request, Refusal(refusal.problems, values=form), f"item:{form['item']}")
        return see(_home(request) + "#plan")

    return await run_in_threadpool(done)


routes = [
    Route("/item/{item}/send", page),
    Route("/item/{item}/send/typed", typed, methods=["POST"]),
    Route("/item/{item}/send/returned", came_back, methods=["POST"]),
    Route("/item/{item}/send/sold", saver(stage.sold, _home, _again, "sold"), methods=["POST"]),
    Route("/item/{item}/send/aside", saver(stage.aside, _home, _again, "aside"), methods=["POST"]),
]
