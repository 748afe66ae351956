"""The report as a PDF for guests and owners, with names and prices taken out.

Whoever asks gets the same file, the bench too, so that it can see what others see. Nothing but
this one way to a PDF is open to visitors (`show_mode.py`).
"""

from __future__ import annotations

from pathlib import Path

from anyio import sleep
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from quirewell.report.copies import COPY_FORMS
from quirewell.web import errors
from quirewell.web.copies import FAILED, Copies, NotNow
from quirewell.web.desk import Errand
from quirewell.web.house import house_of
from quirewell.web.lan import by_lan
from quirewell.web.page import render_item
from quirewell.web.show_mode import is_visitor

WAITED_S, STEP_S = 12.0, 0.1


async def fetch(request: Request) -> Response:
    """The copy, when it is there within a few seconds; else a page that says to look again."""
    form = request.path_params["form"]
    if form not in COPY_FORMS:
        raise HTTPException(404, errors.NOT_FOUND)
    try:
        answer = await run_in_threadpool(_asked, request, form)
    except NotNow as error:
        told = errors.told(request, 429, str(error))
        told.headers["Retry-After"] = str(int(-(-error.wait_s // 1)))
        return told
    if isinstance(answer, Response):
        return answer
    for _ in range(round(WAITED_S / STEP_S)):
        if not answer.work().running:
            break
        await sleep(STEP_S)
    return await run_in_threadpool(_written, request, form, answer)


def _asked(request: Request, form: str) -> Response | Errand:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    path = copies_of(request).ready(house, state, form)
    if path is not None:
        return _file(path, state.id, form)
    client = request.client
    address = client.host if by_lan(request) and client else ""
    return copies_of(request).begin(house, state, form, address)


def _written(request: Request, form: str, errand: Errand) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    work = errand.work()
    if work.failures:
        return errors.told(request, 409, FAILED if is_visitor(request) else work.failures[0])
    if errand.result is not None:
        return _file(errand.result, state.id, form)
    return render_item(request, "copy_wait.html", state, "prove", status=202)


def _file(path: Path, item: str, form: str) -> Response:
    return FileResponse(
        path, media_type="application/pdf", filename=f"{item}-report-{form}-copy.pdf"
    )


def copies_of(request: Request) -> Copies:
    """What looks after the copies of this server."""
    copies: Copies = request.app.state.copies
    return copies


routes = [Route("/item/{item}/report/copy/{form}.pdf", fetch)]
