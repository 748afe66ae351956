"""Grading rules: the table in force, own rows and an own scale over it, every version kept."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.stages import own_rules as stage
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

HOME = "/rules"
TABLES = ("built-in", "in-force", "scale")


def page(request: Request) -> Response:
    """The rules in force."""
    return _page(request, None)


def _page(request: Request, refusal: Refusal | None) -> Response:
    seen = stage.view(house_of(request).studio.bench())
    return render(request, "rules.html", refusal=refusal, view=seen)


def _saver(command: Callable[[BenchState, dict[str, str]], tuple[Draft, ...]]) -> object:
    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio = house_of(request).studio
            texts = {**sent.texts, "today": datetime.now(UTC).date().isoformat()}
            try:
                studio.append(STUDIO, None, command(studio.bench(), texts), ACTOR)
            except Refusal as refusal:
                return _page(request, refusal)
            return see(HOME)

        return await run_in_threadpool(done)

    return save


def csv(request: Request) -> Response:
    """A table as a file."""
    name = request.path_params["name"]
    if name not in TABLES:
        raise HTTPException(404, "There is no such table.")
    text = stage.table(house_of(request).studio.bench(), name)
    named = f'attachment; filename="grading-{name}.csv"'
    return Response(text, media_type="text/csv", headers={"Content-Disposition": named})


routes = [
    Route(HOME, page, methods=["GET"]),
    Route(HOME, _saver(stage.set_rules), methods=["POST"]),  # type: ignore[arg-type]
    Route(f"{HOME}/aside", _saver(stage.set_aside), methods=["POST"]),  # type: ignore[arg-type]
    Route(f"{HOME}/{{name}}.csv", csv),
]
