"""Cards to fill in by pencil, and the grid that types them up."""

from __future__ import annotations

from datetime import date

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.report.wrap_cards import cards_pdf
from quirewell.stages import grid
from quirewell.stages.reading_entry import PH_METHODS
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.studio.clock import bench_zone
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.saving import save_texts

HEAD = ("kind", "way", "method", "reason")


def page(request: Request) -> Response:
    """The grid as it was kept."""
    return _page(request, {}, None, ())


def _page(
    request: Request, form: dict[str, str], refusal: Refusal | None, aside: tuple[str, ...]
) -> Response:
    state = house_of(request).item(request.path_params["item"])
    shown = form or dict(refusal.values if refusal else {})
    paste = any(problem.field == "paste" for problem in refusal.problems) if refusal else False
    return render_item(
        request, "grid.html", state, "treat", refusal=refusal, action="paste" if paste else "keep",
        rows=grid.rows(state, shown, refusal), columns=grid.COLUMNS, aside=aside,
        laid=bool(form) and refusal is None, head={name: shown.get(name, "") for name in HEAD},
        wrong=_first(refusal), day=shown.get("day", "") or date.today().isoformat(),
        zone=bench_zone(),
        kinds=[(key, STEP_KINDS[key].name) for key in grid.BATHS],
        ways=list(dict.fromkeys(way for key in grid.BATHS for way in STEP_KINDS[key].ways)),
        methods=[(key, method.name) for key, method in PH_METHODS.items()],
    )  # fmt: skip


def _first(refusal: Refusal | None) -> int:
    return len(refusal.problems) if refusal else 0


async def paste(request: Request) -> Response:
    """Lay pasted rows into the grid; nothing is kept yet."""
    sent = await read_form(request)

    def laid() -> Response:
        state = house_of(request).item(request.path_params["item"])
        try:
            cells, aside = grid.pasted(state, sent.get("paste"))
        except Refusal as refusal:
            return _page(request, {}, refusal, ())
        if not cells:
            says = "Nothing in it could be placed. " + " ".join(aside)
            return _page(request, {}, Refusal((Problem("paste", says.strip()),)), ())
        return _page(request, cells, None, aside)

    return await run_in_threadpool(laid)


async def keep(request: Request) -> Response:
    """Keep the grid."""
    sent = await read_form(request)
    texts = {**sent.texts, "zone": bench_zone()}
    home = f"/item/{request.path_params['item']}/grid"

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        return grid.keep_grid(state, form)

    def again(request: Request, refusal: Refusal) -> Response:
        return _page(request, {}, refusal, ())

    return await run_in_threadpool(save_texts, request, texts, command, home, again)


def cards(request: Request) -> Response:
    """A card a sheet, to print."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    named = f'attachment; filename="{state.id}-cards.pdf"'
    return Response(
        cards_pdf(state), media_type="application/pdf", headers={"content-disposition": named}
    )


routes = [
    Route("/item/{item}/grid", page),
    Route("/item/{item}/grid/paste", paste, methods=["POST"]),
    Route("/item/{item}/grid/keep", keep, methods=["POST"]),
    Route("/item/{item}/cards.pdf", cards),
]
