"""After a treatment: the next check, what checks say, claims, and where it lies."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.afterwards import AGAINST, CLAIM_STATES
from quirewell.stages import afterwards as stage
from quirewell.stages import afterwards_keep as commands
from quirewell.stages.asking import ask_all
from quirewell.stages.claims import claim_lines
from quirewell.stages.reading_entry import PH_METHODS, QUANTITIES
from quirewell.stages.refusal import Refusal
from quirewell.stages.results import listed
from quirewell.stages.sending import view as sending_view
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.routes.parcels import today
from quirewell.web.routes.treat import timed
from quirewell.web.saving import Again, saver

COMMANDS = {
    "check": timed(commands.keep_check),
    "next": commands.ask_for_check,
    "claim": timed(commands.keep_claim),
    "again": commands.compare_anew,
    "aside": commands.aside,
}


def page(request: Request) -> Response:
    """The page of what came after."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    view = stage.after_view(state, today())
    sent = sending_view(state, house.studio.bench(), today())
    return render_item(
        request, "after.html", state, "send", refusal=refusal, action=action, view=view,
        sent=sent, claims=claim_lines(state), look_for=stage.LOOK_FOR, today=today(),
        asked=[(one, ask_all([one.run], state)) for one in view.series],
        suggested=[f"{QUANTITIES[quantity].name}, {listed(places)}"
                   for quantity, places in view.suggested.items()],
        ph_methods=[("", "not a pH"), *((key, one.name) for key, one in PH_METHODS.items())],
        pictures=[("", "none"), *((one.id, one.filename) for one in state.captures.values())],
        against=list(AGAINST), states=list(CLAIM_STATES), touched_at=state.touched,
        asked_for="next_check" in state.next_checks,
        anew=any(not one.kept for one in view.series),
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/send/after"


routes = [
    Route("/item/{item}/send/after", page),
    *(
        Route(
            f"/item/{{item}}/send/after/{name}",
            saver(command, _home, _again, name),
            methods=["POST"],
        )
        for name, command in COMMANDS.items()
    ),
]
