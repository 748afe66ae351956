"""Full-text search over everything the record says."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages.search_view import search_view
from quirewell.web.house import house_of
from quirewell.web.page import render
from quirewell.web.paging import page_number, pages_of
from quirewell.web.roles import ROLE
from quirewell.web.sessions import BENCH
from quirewell.web.show_mode import showing

HOME = "/search"


def page(request: Request) -> Response:
    """What the words find, ranked, a page at a time."""
    asked = request.query_params
    typed, item = asked.get("words", ""), asked.get("item", "")[:200]
    view = search_view(
        house_of(request).studio, typed, private=_private(request),
        page=page_number(asked.get("page", "")), item=item,
    )  # fmt: skip
    keep = {"words": typed[:400], "item": item}
    return render(
        request, "search.html", view=view, pages=pages_of(HOME, keep, view.page, view.pages),
    )  # fmt: skip


def _private(request: Request) -> bool:
    """Whether names and money may be found: at the bench, and not while others look on."""
    return request.scope.get(ROLE) == BENCH and not showing(request)


routes = [Route(HOME, page)]
