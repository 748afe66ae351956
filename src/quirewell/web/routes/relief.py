"""A page's relief as pictures for its close-up and for its pair, made when first asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages.relief_view import METHOD, MOMENTS, height_range, latest_relief
from quirewell.stages.results import COMPARE
from quirewell.web.house import House, house_of
from quirewell.web.routes.pictures import KEEP

NAMES = ("height", "shaded")
WRITE = "quirewell.stages.relief_layers.write_layers"
WRITE_LAID = "quirewell.stages.relief_layers.write_layers_laid"


async def layer(request: Request) -> Response:
    """Height or shade of a relief on its own grid."""
    return await _layer(request, None)


async def laid(request: Request) -> Response:
    """The same of an after relief, on the before picture's grid as a comparison found it."""
    state = await run_in_threadpool(house_of(request).item, request.path_params["item"])
    pair = state.runs.get(request.path_params["pair"])
    if pair is None or pair.method != COMPARE or "before_to_after_px" not in pair.drawing:
        raise HTTPException(404, "These two pictures were not laid on each other.")
    return await _layer(request, pair)


async def _layer(request: Request, pair: Run | None) -> Response:
    house = house_of(request)
    state = await run_in_threadpool(house.item, request.path_params["item"])
    run, name = state.runs.get(request.path_params["run"]), request.path_params["name"]
    if run is None or run.method != METHOD or name not in run.drawing.get("layers", "").split():
        raise HTTPException(404, "There is no such relief in this item.")
    span = _span(state, run)
    words = "shaded" if span is None else f"{span[0]:.0f}_{span[1]:.0f}"
    on = "own" if pair is None else pair.id
    folder = house.studio.derived / "relief" / run.id / on / words
    if not (folder / f"{name}.png").is_file():
        await _write(house, run, pair, span, folder)
    return FileResponse(folder / f"{name}.png", media_type="image/png", headers=KEEP)


async def _write(
    house: House, run: Run, pair: Run | None, span: tuple[float, float] | None, folder: Path
) -> None:
    path_of = house.studio.blobs.path
    files = {entry.role: await run_in_threadpool(path_of, entry.sha256) for entry in run.inputs}
    more: list[Any] = [] if pair is None else [dict(pair.drawing)]
    task = WRITE if pair is None else WRITE_LAID
    key = f"relief:{folder.name}:{run.id}:{'' if pair is None else pair.id}"
    await house.call(task, files, dict(run.params), span, folder, *more, key=key)


def _span(state: ItemState, run: Run) -> tuple[float, float] | None:
    """The range of height that this page's reliefs share, as the view says it."""
    latest = (latest_relief(state, run.subject, moment) for moment in MOMENTS)
    return height_range(tuple({one.id: one for one in (run, *latest) if one}.values()))


routes = [
    Route("/item/{item}/relief/{run}/{name}.png", layer),
    Route("/item/{item}/relief/{run}/on/{pair}/{name}.png", laid),
]
