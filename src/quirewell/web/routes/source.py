"""The page of a source: what stands behind one number or record, and computing it again."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.report.recheck import Rechecked, recheck_run
from quirewell.stages.source_view import known, several, source_view
from quirewell.web.desk import Errand
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item, see
from quirewell.web.reports_read import report_read, sentence_key

NONE = (
    "Nothing of this item has that name. It may have been typed by hand, or belong to another item."
)
MOVED = (
    "The report no longer says this sentence; the record has moved on. Open the report as a page "
    "again and touch what it says now."
)
MOST_IN_ADDRESS, MOST_SHOWN = 6, 30


def source_href(item_id: str, refs: Sequence[str], text: str = "") -> str:
    """Where a sentence with these sources leads."""
    base = f"/item/{quote(item_id, safe='')}/source"
    if len(refs) == 1:
        return f"{base}/{quote(refs[0], safe=':')}"
    if len(refs) <= MOST_IN_ADDRESS:
        return f"{base}?{urlencode([('ref', ref) for ref in refs])}"
    return f"{base}?{urlencode({'said': sentence_key(text, refs)})}"


def page(request: Request) -> Response:
    """The page of one source."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    ref = request.path_params["ref"]
    view = source_view(state, ref, house.studio.events(state.id))
    if view is None:
        raise HTTPException(404, NONE)
    return render_item(
        request, "source.html", state, "prove", view=view, checked=_checked(house, state, view.run),
        to=lambda refs: source_href(state.id, refs), here=source_href(state.id, (ref,)),
    )  # fmt: skip


def _checked(house: House, state: ItemState, run: str) -> Rechecked | None:
    """What computing the run again said, where that was the last work on the item."""
    held = house.desk.held(state.id)
    result = held.result if isinstance(held, Errand) else None
    mine = isinstance(result, Rechecked) and run and result.report == f"run:{run}"
    return result if mine else None


def listing(request: Request) -> Response:
    """The sources of a sentence that has several, with their pictures."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    text, refs = "", tuple(dict.fromkeys(request.query_params.getlist("ref")))
    if key := request.query_params.get("said", ""):
        found = report_read(house, state).sentences.get(key)
        if found is None:
            raise HTTPException(404, MOVED)
        text, refs = found
    if not refs or not all(known(state, ref) for ref in refs):
        raise HTTPException(404, NONE)
    if len(refs) == 1:
        return see(source_href(state.id, refs))
    links, pictures = several(state, refs)
    return render_item(
        request, "sources.html", state, "prove", text=text, links=links, pictures=pictures,
        most=MOST_SHOWN, to=lambda refs: source_href(state.id, refs),
    )  # fmt: skip


async def again(request: Request) -> Response:
    """Begin computing the run behind a source again."""

    def begin() -> Response:
        house = house_of(request)
        state = house.item(request.path_params["item"])
        ref = request.path_params["ref"]
        view = source_view(state, ref, ())
        if view is None or not view.run:
            raise HTTPException(404, NONE)
        house.desk.errand(
            state.id, f"Computing again: {view.title}",
            lambda says: recheck_run(house.studio, state.id, view.run, says),
        )  # fmt: skip
        return see(source_href(state.id, (ref,)) + "#again")

    return await run_in_threadpool(begin)


routes = [
    Route("/item/{item}/source", listing),
    Route("/item/{item}/source/{ref:path}", page, methods=["GET"]),
    Route("/item/{item}/source/{ref:path}", again, methods=["POST"]),
]
