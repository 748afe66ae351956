"""The bench's own page: the strip measured once, its greys, the scanner calibrated."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.report.strip import strip_sheet
from quirewell.stages import bench as stage
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

MOST_SCANS = 24
Command = Callable[[BenchState, dict[str, str]], tuple[Draft, ...]]


def page(request: Request) -> Response:
    """What the bench knows of its own tools."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    seen = stage.view(house_of(request).studio.bench())
    return render(request, "bench.html", refusal=refusal, action=action, view=seen)


def _saver(command: Command, action: str) -> Callable[[Request], object]:
    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio = house_of(request).studio
            try:
                studio.append(STUDIO, None, command(studio.bench(), dict(sent.texts)), ACTOR)
            except Refusal as refusal:
                return _page(request, refusal, action)
            return see("/bench")

        return await run_in_threadpool(done)

    return save


async def calibrate(request: Request) -> Response:
    """Calibrate a scanner from the scans sent."""
    sent = await read_form(request, most=UPLOAD_BYTES, files=MOST_SCANS)
    return await run_in_threadpool(_calibrate, request, sent)


def _calibrate(request: Request, sent: Sent) -> Response:
    house = house_of(request)
    try:
        if not sent.files:
            raise Refusal((Problem("files", "No scan was chosen; choose three or more."),))
        with tempfile.TemporaryDirectory(dir=house.studio.derived) as held:
            sources = []
            for index, entry in enumerate(sent.files):
                path = Path(held) / f"scan{index}"
                with path.open("wb") as out:
                    while chunk := entry.file.read(1 << 20):
                        out.write(chunk)
                name = (entry.filename or f"scan {index + 1}").replace("\\", "/")
                sources.append((name.rsplit("/", 1)[-1][:200], path))
            params = {key: sent.get(key) for key in ("board", "board_u_pct") if sent.get(key)}
            stage.calibrate(
                house.studio, sources, params, name=sent.get("name"),
                untagged=sent.get("untagged") == "yes", runner=house.runner, actor=ACTOR,
            )  # fmt: skip
    except Refusal as refusal:
        problems, texts = refusal.problems, dict(sent.texts)
        return _page(request, Refusal(problems, values=texts), "calibrate")
    finally:
        for entry in sent.files:
            entry.file.close()
    return see("/bench")


def strip_pdf(request: Request) -> Response:
    """The bench strip to print."""
    named = 'attachment; filename="bench-strip.pdf"'
    return Response(
        strip_sheet(), media_type="application/pdf", headers={"Content-Disposition": named}
    )


routes = [
    Route("/bench", page),
    Route("/bench/strip", _saver(stage.measure_strip, "strip"), methods=["POST"]),
    Route("/bench/greys", _saver(stage.set_greys, "greys"), methods=["POST"]),
    Route("/bench/card", _saver(stage.set_card, "card"), methods=["POST"]),
    Route("/bench/target", _saver(stage.set_target, "target"), methods=["POST"]),
    Route("/bench/aside", _saver(stage.set_aside, "aside"), methods=["POST"]),
    Route("/bench/calibrate", calibrate, methods=["POST"]),
    Route("/bench/strip.pdf", strip_pdf),
]
