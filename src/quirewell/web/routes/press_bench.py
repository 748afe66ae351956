"""The bench's press: calibrated on a dummy, its stacks, its materials."""

from __future__ import annotations

import tempfile
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.stages import bench as stage
from quirewell.stages import press_bench
from quirewell.stages.cautions import HEAT, LOCAL_CODES, plain
from quirewell.stages.press_calibrating import MORE, NEVER_IN_THE_ITEM
from quirewell.stages.pressing import TELL
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

LOG_BYTES = 8 * 1024 * 1024
HOME = "/bench/press"


def page(request: Request) -> Response:
    """What the bench knows of its press."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    seen = press_bench.view(house_of(request).studio.bench())
    return render(
        request, "bench_press.html", refusal=refusal, action=action, view=seen,
        care=plain(HEAT), local_codes=LOCAL_CODES, never=NEVER_IN_THE_ITEM,
    )  # fmt: skip


async def calibrate(request: Request) -> Response:
    """Calibrate a press from a dummy's stack, log and weights."""
    sent = await read_form(request, most=LOG_BYTES, files=1)
    return await run_in_threadpool(_calibrate, request, sent)


def _calibrate(request: Request, sent: Sent) -> Response:
    house = house_of(request)
    texts = dict(sent.texts)
    try:
        recipe = press_bench.stack_of(house.studio.bench(), texts.get("stack", ""))
        if recipe is None:
            raise Refusal((Problem("stack", "Choose the stack the dummy was pressed in."),))
        own = {
            key: texts[key].strip()
            for key in (*MORE, "wraps", "start_rh_pct", "platen_c", "minutes")
            if texts.get(key, "").strip()
        }
        with tempfile.TemporaryDirectory(dir=house.studio.derived) as held:
            log = _log(sent, Path(held))
            TELL.set(lambda done, of: house.runs_done.__setitem__(HOME, (done, of)))
            press_bench.calibrate_press(
                house.studio, _layers(house) | dict(recipe.params) | own, log,
                texts.get("press", ""), ACTOR,
            )  # fmt: skip
    except Refusal as refusal:
        return _page(request, Refusal(refusal.problems, values=texts), "calibrate")
    finally:
        house.runs_done.pop(HOME, None)
        for entry in sent.files:
            entry.file.close()
    return see(HOME)


async def runs_done(request: Request) -> Response:
    """How far a calibration has come; nothing while none is worked out."""
    now = house_of(request).runs_done.get(HOME)
    return JSONResponse({} if now is None else {"done": now[0], "of": now[1]})


def _layers(house: House) -> dict[str, str]:
    own = house.studio.bench().own_materials()
    return {"layers": own} if own else {}


def _log(sent: Sent, held: Path) -> tuple[str, Path] | None:
    if not sent.files or not sent.files[0].filename:
        return None
    entry = sent.files[0]
    name = Path((entry.filename or "").replace("\\", "/")).name[:120] or "log.csv"
    path = held / "log"
    with path.open("wb") as out:
        while chunk := entry.file.read(1 << 20):
            out.write(chunk)
    return name, path


async def materials(request: Request) -> Response:
    """Set the bench's own materials."""
    sent = await read_form(request)

    def done() -> Response:
        studio = house_of(request).studio
        try:
            drafts = press_bench.set_materials(studio.bench(), dict(sent.texts))
            studio.append(STUDIO, None, drafts, ACTOR)
        except Refusal as refusal:
            return _page(request, refusal, "materials")
        return see(f"{HOME}#materials")

    return await run_in_threadpool(done)


async def aside(request: Request) -> Response:
    """Set a calibration or a stack aside; the journal keeps it."""
    sent = await read_form(request)

    def done() -> Response:
        studio = house_of(request).studio
        try:
            studio.append(STUDIO, None, stage.set_aside(studio.bench(), dict(sent.texts)), ACTOR)
        except Refusal as refusal:
            return _page(request, refusal, "aside")
        return see(HOME)

    return await run_in_threadpool(done)


routes = [
    Route(HOME, page),
    Route(f"{HOME}/runs", runs_done),
    Route(f"{HOME}/calibrate", calibrate, methods=["POST"]),
    Route(f"{HOME}/materials", materials, methods=["POST"]),
    Route(f"{HOME}/aside", aside, methods=["POST"]),
]
