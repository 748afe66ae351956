"""The treatment report as a page: every number and sentence leads to its source."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.report.content import day
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.reports_read import report_read
from quirewell.web.routes.source import source_href


def page(request: Request) -> Response:
    """The report."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    held = report_read(house, state)
    return render_item(
        request, "report_read.html", state, "prove", chapters=held.chapters,
        day=day(held.head.at.isoformat()),
        to=lambda cell: source_href(state.id, cell.refs, cell.text),
    )  # fmt: skip


routes = [Route("/item/{item}/report/read", page)]
