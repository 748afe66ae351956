"""Examine: the sheets, their pictures and measured values, defects, estimates, close-ups."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages import examine as stage
from quirewell.stages.naming import sheet_of
from quirewell.stages.overview import sheet_lines
from quirewell.stages.refusal import Refusal
from quirewell.web.choices import faces, places
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.measuring import start_measuring, waiting
from quirewell.web.page import drawing, own_path, render_item, see
from quirewell.web.saving import Again, saver


def page(request: Request) -> Response:
    """All sheets."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    state = house_of(request).item(request.path_params["item"])
    return render_item(
        request, "examine.html", state, "examine", refusal=refusal, action=action,
        drawing=drawing(state.gathering, state.id), sheets=sheet_lines(state),
        waiting=waiting(house_of(request), state),
        loose=[one for one in stage.defect_views(state) if not sheet_of(one.place)],
        grades=stage.grade_views(state), remaining=list(state.remaining.values()),
        places=places(state), terms=list(stage.DEFECT_TERMS), pictures=[], here=_home(request),
    )  # fmt: skip


def sheet(request: Request) -> Response:
    """One sheet."""
    return _sheet(request, request.path_params["sheet"], None, "")


def _sheet(request: Request, code: str, refusal: Refusal | None, action: str) -> Response:
    state = house_of(request).item(request.path_params["item"])
    try:
        view = stage.sheet_view(state, code)
    except KeyError as error:
        raise HTTPException(404, "This item has no such sheet.") from error
    pictures = [
        (one.id, f"{one.where}, {moment}: {one.filename}")
        for face in view.pages
        for moment, shown in (("before", face.before), ("after", face.after))
        for one in shown
    ]
    return render_item(
        request, "sheet.html", state, "examine", refusal=refusal, action=action, view=view,
        places=faces(code), terms=list(stage.DEFECT_TERMS), pictures=pictures,
        here=f"/item/{state.id}/examine/{code}",
    )  # fmt: skip


def _again(action: str) -> Again:
    def shown(request: Request, refusal: Refusal) -> Response:
        back = own_path(refusal.values.get("back", ""), "")
        code = back.rsplit("/", 1)[-1]
        if sheet_of(code) == code and code:
            return _sheet(request, code, refusal, action)
        return _page(request, refusal, action)

    return shown


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/examine"


async def measure(request: Request) -> Response:
    """Start measuring every scan that has no measurement yet."""
    sent = await read_form(request)
    house = house_of(request)
    await run_in_threadpool(lambda: start_measuring(house, house.item(request.path_params["item"])))
    return see(own_path(sent.get("back"), _home(request)))


routes = [
    Route("/item/{item}/examine", page),
    Route("/item/{item}/examine/measure", measure, methods=["POST"]),
    Route(
        "/item/{item}/examine/defect",
        saver(stage.note_defect, _home, _again, "defect"),
        methods=["POST"],
    ),
    Route(
        "/item/{item}/examine/grade",
        saver(stage.estimate_grade, _home, _again, "grade"),
        methods=["POST"],
    ),
    Route(
        "/item/{item}/examine/remaining",
        saver(stage.note_remaining, _home, _again, "remaining"),
        methods=["POST"],
    ),
    Route(
        "/item/{item}/examine/retract",
        saver(stage.retract, _home, _again, "retract"),
        methods=["POST"],
    ),
    Route("/item/{item}/examine/{sheet}", sheet),
]
