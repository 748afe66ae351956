"""Before and after in pictures: one page, all pages on a sheet, and what they show.

No page computes a picture: each is made by a worker when first asked for, and kept.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import ask_all
from quirewell.stages.contact_sheet import LOOKS, WORDS, contact_sheet
from quirewell.stages.examine import latest_measure, um_per_px
from quirewell.stages.ink_lines import ink_lines, is_ink
from quirewell.stages.light_lines import light_line
from quirewell.stages.pair_layers import pair_layers
from quirewell.stages.pair_tone_maps import profile_rows, tone_maps
from quirewell.stages.prove import PairView, prove_view
from quirewell.stages.relief_view import relief_view
from quirewell.stages.results import COMPARE, captured, page_results
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item
from quirewell.web.routes.pictures import KEEP, TILE
from quirewell.web.scale import scale_bar

_SHOTS = "quirewell.stages.pair_shots."
PICTURES = {
    "after": f"{_SHOTS}write_alike",
    "scanned": f"{_SHOTS}write_scanned",
    "difference": f"{_SHOTS}write_difference",
}
_TILES = "quirewell.stages.pair_tiles."
TILED = {"after": f"{_TILES}write_after_tiles", "scanned": f"{_TILES}write_scanned_tiles"}
SMALL = {"before": "before.jpg", "after": "after.jpg", "difference": "difference.jpg"}
ROLES = ("before", "after")
LONGEST_PX = 1400
# Pictures kept under another edition were drawn otherwise (the after picture as scanned).
_EDITION = 2


def pair(request: Request) -> Response:
    """One page before and after."""
    state = house_of(request).item(request.path_params["item"])
    shown, run = _pair(state, request.path_params["place"])
    names = {entry.place: entry.name for entry in prove_view(state).pairs}
    places = list(names)
    at = places.index(shown.place)
    scans = {role: one for role in ROLES if (one := captured(state, run, role))}
    base = scans.get("before")
    factor = request.query_params.get("arrows", "")
    asked = ask_all([run], state)
    layers = pair_layers(
        run, _um_per_px(state, run), int(factor) if factor.isdigit() else 0,
        (base.width_px, base.height_px) if base else (0, 0),
    )  # fmt: skip
    result = next(entry for entry in page_results(state) if entry.place == shown.place)
    return render_item(
        request, "pair.html", state, "prove", pair=shown, run=run, layers=layers,
        findings=[one for one in asked if not is_ink(one.quantity)], inks=ink_lines(run),
        ink_findings=[one for one in asked if is_ink(one.quantity)],
        before=_capture_hash(run, "before"), after=_capture_hash(run, "after"),
        registered="before_to_after_px" in run.drawing,
        relief=relief_view(state, shown.place, scans),
        light=light_line(run, shown.place, shown.name), tones=tone_maps(run),
        profile=profile_rows(result), smallest_colour=result.smallest("paper.dE00"),
        bar=scale_bar(layers.width_px, layers.um_per_px),
        names=names, previous=places[at - 1] if at else "",
        following=places[at + 1] if at + 1 < len(places) else "",
    )  # fmt: skip


def _um_per_px(state: ItemState, run: Run) -> float | None:
    """The before picture's scale as the comparison had it, else as its measurement has it."""
    drawn = run.drawing.get("before_um_per_px", "").split()
    if drawn:
        return float(drawn[0])
    base = captured(state, run, "before")
    measured = latest_measure(state, base) if base else None
    return um_per_px(measured) if measured else None


def sheet(request: Request) -> Response:
    """All pairs of the item on one sheet."""
    state = house_of(request).item(request.path_params["item"])
    show, look = (request.query_params.get(key, "") for key in ("show", "look"))
    look = look if look in dict(LOOKS) else "all"
    return render_item(
        request, "pictures.html", state, "prove", sheet=contact_sheet(state, show, look),
        show=show if show in WORDS else "", look=look, words=WORDS, looks=LOOKS,
    )  # fmt: skip


def _pair(state: ItemState, place: str) -> tuple[PairView, Run]:
    for entry in prove_view(state).pairs:
        if entry.place == place:
            return entry, state.runs[entry.run]
    raise HTTPException(404, "This page was not compared before with after.")


def _capture_hash(run: Run, role: str) -> str:
    return next((entry.sha256 for entry in run.inputs if entry.role == role), "")


async def _compared(request: Request) -> Run:
    """The comparison a picture is asked of."""
    state = await run_in_threadpool(house_of(request).item, request.path_params["item"])
    run = state.runs.get(request.path_params["run"])
    if run is None or run.method != COMPARE:
        raise HTTPException(404, "This page was not compared before with after.")
    return run


def _asked_of(house: House, run: Run) -> tuple[Any, ...]:
    """What every task about a comparison is given first."""
    files = {role: house.studio.blobs.path(_capture_hash(run, role)) for role in ROLES}
    return files, dict(run.params), dict(run.drawing)


def _folder(house: House, run: str, kind: str) -> Path:
    return house.studio.derived / "pairs" / f"{run}-{kind}"


async def _made(
    house: House, wanted: Path, task: str, asked: Callable[[], tuple[Any, ...]], *arguments: Any
) -> Path:
    """A kept file, made when first asked for; asked for by two at once it is made once.

    ``asked`` gives the originals, which may have to be fetched, and what goes with them.
    """
    for key in (f"{wanted.name}:{wanted.parent}", ""):
        if not wanted.is_file():
            await house.call(task, *await run_in_threadpool(asked), *arguments, key=key)
    return wanted


async def tiles_info(request: Request) -> Response:
    """Description of the tiles of the after picture on the before picture's grid."""
    house, run, which = house_of(request), await _compared(request), request.path_params["which"]
    if which not in TILED:
        raise HTTPException(404)
    folder = _folder(house, run.id, "layers")
    path = await _made(
        house, folder / which / "info.json", TILED[which], partial(_asked_of, house, run), folder
    )
    described = json.loads(path.read_text(encoding="utf-8"))
    described["id"] = str(request.url).rsplit("/", 1)[0]
    return JSONResponse(described)


async def layer_map(request: Request) -> Response:
    """The colour difference without a legend, clear where nothing was compared."""
    house, run = house_of(request), await _compared(request)
    target = _folder(house, run.id, "layers") / "difference.png"
    path = await _made(
        house, target, f"{_TILES}write_difference_map", lambda: _asked_of(house, run)[:2], target
    )
    return FileResponse(path, media_type="image/png", headers=KEEP)


def tile(request: Request) -> Response:
    """One tile of the after picture."""
    rest, run, which = (request.path_params[key] for key in ("rest", "run", "which"))
    house = house_of(request)
    known = run in house.item(request.path_params["item"]).runs and which in TILED
    path = _folder(house, run, "layers") / which / rest
    if not known or not TILE.fullmatch(rest) or not path.is_file():
        raise HTTPException(404)
    return FileResponse(path, media_type="image/jpeg", headers=KEEP)


async def small(request: Request) -> Response:
    """A small picture of a pair; all three are made at once."""
    house, run = house_of(request), await _compared(request)
    name = SMALL.get(request.path_params["which"])
    if name is None:
        raise HTTPException(404)
    folder = _folder(house, run.id, "small")
    # The last of the three to be written says that all are there.
    await _made(
        house, folder / SMALL["difference"], f"{_SHOTS}write_small",
        partial(_asked_of, house, run), folder,
    )  # fmt: skip
    return FileResponse(folder / name, media_type="image/jpeg", headers=KEEP)


async def picture(request: Request) -> Response:
    """The after picture on the before picture's grid, or the difference; made when asked for."""
    house = house_of(request)
    which = request.path_params["which"]
    state = await run_in_threadpool(house.item, request.path_params["item"])
    _, run = _pair(state, request.path_params["place"])
    if which not in PICTURES:
        raise HTTPException(404)
    target = _folder(house, run.id, f"{which}-{_EDITION}.png")
    if not target.is_file():
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f"{run.id}-{secrets.token_hex(4)}.part.png")
        asked = await run_in_threadpool(_asked_of, house, run)
        await house.call(PICTURES[which], *asked, part, LONGEST_PX)
        part.replace(target)
    return FileResponse(target, media_type="image/png", headers={"Cache-Control": "no-cache"})


routes = [
    Route("/item/{item}/prove/pictures", sheet),
    Route("/item/{item}/pair/{run}/{which}/info.json", tiles_info),
    Route("/item/{item}/pair/{run}/difference.png", layer_map),
    Route("/item/{item}/pair/{run}/small/{which}.jpg", small),
    Route("/item/{item}/pair/{run}/{which}/{rest:path}", tile),
    Route("/item/{item}/prove/{place}/{which}.png", picture),
]
# A page's place stands where other pages of the stage have their names: asked for last.
last = [Route("/item/{item}/prove/{place}", pair)]
