"""Intake: guides, many files at once, assignment by hand, and the quick condition page."""

from __future__ import annotations

from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.report.condition import condition_sheet
from quirewell.stages import intake as stage
from quirewell.stages.filenames import LIGHT_BOX, PATTERN, VIEWS
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.taking_in import IntakeReport, Source, take_in
from quirewell.web.choices import scanned
from quirewell.web.forms import UPLOAD_BYTES, UPLOAD_FILES, Sent, read_form
from quirewell.web.house import house_of
from quirewell.web.measuring import start_measuring
from quirewell.web.page import render_item
from quirewell.web.routes.contact import look_again
from quirewell.web.saving import ACTOR, Again, saver


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(
    request: Request, refusal: Refusal | None, action: str, report: IntakeReport | None = None
) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    return render_item(
        request, "intake.html", state, "intake", refusal=refusal, action=action,
        view=stage.view(state, look_again(house, state), house.studio.bench()),
        places=scanned(state), pattern=PATTERN, report=report,
        views=[
            ("", "a scan, or one phone picture"), *((name, name) for name in VIEWS),
            (LIGHT_BOX, "a sheet over a light box"),
        ],
        captures=state.captures,
        here=f"/item/{state.id}/intake",
    )  # fmt: skip


async def files(request: Request) -> Response:
    """Take in pictures: one or many, from a script or a plain form."""
    house_of(request).item(request.path_params["item"])
    sent = await read_form(request, most=UPLOAD_BYTES, files=UPLOAD_FILES)
    return await run_in_threadpool(_take, request, sent)


def _take(request: Request, sent: Sent) -> Response:
    house = house_of(request)
    item_id = request.path_params["item"]
    try:
        if not sent.files:
            says = "No file was chosen; choose pictures, or drop them onto the page."
            return _page(request, Refusal((Problem("files", says),)), "files")
        sources = [Source(_bare(entry.filename or ""), entry.file) for entry in sent.files]
        report = take_in(house.studio, item_id, sources, runner=house.runner, actor=ACTOR)
    finally:
        for entry in sent.files:
            entry.file.close()
    if "application/json" in request.headers.get("accept", ""):
        arrivals = [{"ok": entry.ok, "says": entry.says} for entry in report.arrivals]
        return JSONResponse({"arrivals": arrivals, "says": report.stopped or "Nothing arrived."})
    start_measuring(house, house.item(item_id))
    return _page(request, None, "files", report)


def _bare(name: str) -> str:
    """The last part of a file's name as sent, without folders and control signs."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:200] or "unnamed"


def condition(request: Request) -> Response:
    """The printed condition page, made now from what is known."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    data = condition_sheet(state, house.studio.head(), datetime.now(UTC), house.studio.blobs.path)
    named = f'attachment; filename="{state.id}-condition.pdf"'
    return Response(data, media_type="application/pdf", headers={"Content-Disposition": named})


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/intake"


routes = [
    Route("/item/{item}/intake", page),
    Route("/item/{item}/intake/files", files, methods=["POST"]),
    Route(
        "/item/{item}/intake/assign", saver(stage.assign, _home, _again, "assign"), methods=["POST"]
    ),
    Route("/item/{item}/condition.pdf", condition),
]
