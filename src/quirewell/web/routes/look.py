"""A close-up of one picture: what was measured drawn on it, and the form that sets it right."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import Capture, ItemState
from quirewell.stages import examine as stage
from quirewell.stages.correct_view import correct_view, corrected_view
from quirewell.stages.correcting import correct_measuring, correction_of
from quirewell.stages.drawn import layers_of
from quirewell.stages.intake import set_aside
from quirewell.stages.naming import sheet_of
from quirewell.stages.refusal import Refusal
from quirewell.stages.relief_view import relief_on
from quirewell.web.house import house_of
from quirewell.web.measuring import start_measuring
from quirewell.web.page import render_item
from quirewell.web.saving import save


def look(request: Request) -> Response:
    """A close-up of one picture."""
    return _look(request, None, "")


def _look(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state, capture = _picture(request)
    code = sheet_of(capture.place)
    back = f"/item/{state.id}/examine/{code}" if code else f"/item/{state.id}/intake"
    held = correction_of(state, capture.id)
    run = stage.latest_measure(state, capture)
    events = house.studio.events(state.id) if held else ()
    return render_item(
        request, "look.html", state, "examine" if code else "intake", refusal=refusal,
        action=action, here=f"/item/{state.id}/look/{capture.id}",
        picture=stage.picture_view(state, capture), back=back,
        layers=layers_of(run, held), corrected=corrected_view(state, capture, events),
        um_per_px=stage.um_per_px(run) if run else None,
        relief=relief_on(state, capture) if stage.measurable(capture) else None,
        correctable=stage.measurable(capture),
        waiting=stage.measurable(capture) and stage.needs_measuring(state, capture),
    )  # fmt: skip


def correct(request: Request) -> Response:
    """The form that sets right what was measured on a picture."""
    return _correct(request, None)


def _correct(request: Request, refusal: Refusal | None) -> Response:
    state, capture = _picture(request)
    if not stage.measurable(capture):
        raise HTTPException(404, "Only a scan of a sheet is measured, so nothing is to correct.")
    view = correct_view(state, capture, refusal.values if refusal else {})
    run = stage.latest_measure(state, capture)
    wanted = ("outline", "fold", "losses", "tears", "stains")
    return render_item(
        request, "correct.html", state, "examine", refusal=refusal,
        here=f"/item/{state.id}/look/{capture.id}/correct",
        picture=stage.picture_view(state, capture), view=view,
        layers=[layer for layer in layers_of(run, None) if layer.key in wanted],
    )  # fmt: skip


async def save_correction(request: Request) -> Response:
    """Save a correction and begin to measure with it."""
    path = request.path_params
    back = f"/item/{path['item']}/look/{path['capture']}"
    answer = await save(
        request, lambda state, form: correct_measuring(state, {**form, "capture": path["capture"]}),
        back, _correct,
    )  # fmt: skip
    if answer.status_code == 303:
        house = house_of(request)
        await run_in_threadpool(lambda: start_measuring(house, house.item(path["item"])))
    return answer


async def save_aside(request: Request) -> Response:
    """Set a picture aside that does not belong here."""
    path = request.path_params
    return await save(
        request, lambda state, form: set_aside(state, {**form, "capture": path["capture"]}),
        f"/item/{path['item']}/intake", lambda request, refusal: _look(request, refusal, "aside"),
    )  # fmt: skip


def _picture(request: Request) -> tuple[ItemState, Capture]:
    state = house_of(request).item(request.path_params["item"])
    capture = state.captures.get(request.path_params["capture"])
    if capture is None:
        raise HTTPException(404, "This item has no such picture.")
    return state, capture


routes = [
    Route("/item/{item}/look/{capture}", look),
    Route("/item/{item}/look/{capture}/aside", save_aside, methods=["POST"]),
    Route("/item/{item}/look/{capture}/correct", correct, methods=["GET"]),
    Route("/item/{item}/look/{capture}/correct", save_correction, methods=["POST"]),
]
