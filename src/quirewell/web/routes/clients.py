"""The clients' page: who things are treated for, and where each thing is."""

from __future__ import annotations

from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.stages import clients as stage
from quirewell.stages.all_items import CLIENTS
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

HOME = "/clients"
Command = Callable[[BenchState, dict[str, str]], tuple[Draft, ...]]


def page(request: Request) -> Response:
    """Every client, and the form for a new one."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    return render(
        request, "clients.html", refusal=refusal, action=action, private=stage.PRIVATE,
        clients=stage.clients_view(house.studio.bench(), house.studio.states(*CLIENTS)),
        editing=refusal.values.get("id", "") if refusal else "",
    )  # fmt: skip


def _saver(command: Command, action: str) -> Callable[[Request], object]:
    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio = house_of(request).studio
            try:
                studio.append(STUDIO, None, command(studio.bench(), dict(sent.texts)), ACTOR)
            except Refusal as refusal:
                return _page(request, refusal, action)
            return see(HOME)

        return await run_in_threadpool(done)

    return save


routes = [
    Route(HOME, page),
    Route(f"{HOME}/keep", _saver(stage.keep_client, "keep"), methods=["POST"]),
    Route(f"{HOME}/aside", _saver(stage.set_client_aside, "aside"), methods=["POST"]),
]
