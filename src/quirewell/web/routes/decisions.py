"""All items and what is to be done with each; what must be told after which step."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages.all_items import DECISIONS
from quirewell.stages.decisions import SORTS, decisions, policy_view, set_policy
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render, see
from quirewell.web.paging import page_number, pages_of
from quirewell.web.saving import ACTOR

ROWS = 100


def page(request: Request) -> Response:
    """The table of decisions."""
    return _page(request, None)


def _page(request: Request, refusal: Refusal | None) -> Response:
    studio = house_of(request).studio
    by = request.query_params.get("by", "gain")
    rows = decisions(studio.states(*DECISIONS), by)
    pages = max(1, -(-len(rows) // ROWS))
    page = min(page_number(request.query_params.get("page", "")), pages)
    return render(
        request, "decisions.html", refusal=refusal, action="told" if refusal else "",
        rows=rows[(page - 1) * ROWS : page * ROWS], by=by,
        pages=pages_of("/decisions", {"by": request.query_params.get("by", "")[:20]}, page, pages),
        sorts=SORTS, told=policy_view(studio.bench()),
    )  # fmt: skip


async def told(request: Request) -> Response:
    """Keep the practice's own rows of what must be told."""
    sent = await read_form(request)

    def done() -> Response:
        studio = house_of(request).studio
        try:
            studio.append(STUDIO, None, set_policy(studio.bench(), dict(sent.texts)), ACTOR)
        except Refusal as refusal:
            return _page(request, refusal)
        return see("/decisions#told")

    return await run_in_threadpool(done)


routes = [
    Route("/decisions", page),
    Route("/decisions/told", told, methods=["POST"]),
]
