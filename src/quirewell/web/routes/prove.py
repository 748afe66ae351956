"""Prove: pairs with their verdicts, the curtain, the difference, margins, reports, recheck."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.report.recheck import Rechecked, recheck
from quirewell.report.treatment import write_report
from quirewell.stages.asking import ask_all
from quirewell.stages.examine import latest_measure, um_per_px
from quirewell.stages.ink_lines import ink_lines, is_ink
from quirewell.stages.noting import lock_margin
from quirewell.stages.outlook_entry import keep_outlook, outlook_view
from quirewell.stages.pair_layers import pair_layers
from quirewell.stages.prove import PairView, prove_view
from quirewell.stages.refusal import Refusal
from quirewell.stages.relief_view import relief_view
from quirewell.stages.results import COMPARE, captured
from quirewell.stages.season_view import season_view
from quirewell.web.desk import Errand, Says
from quirewell.web.house import House, house_of
from quirewell.web.measuring import waiting
from quirewell.web.page import drawing, render_item, see
from quirewell.web.routes.pictures import KEEP, TILE
from quirewell.web.saving import ACTOR, Again, saver
from quirewell.web.workings import routes_of, views

PICTURES = {
    "after": "quirewell.stages.pair_pictures.write_registered_after",
    "difference": "quirewell.stages.pair_pictures.write_difference",
}
AFTER, DIFFERENCE = "after/info.json", "difference.png"
LAYERS = {
    AFTER: "quirewell.stages.pair_tiles.write_after_tiles",
    DIFFERENCE: "quirewell.stages.pair_tiles.write_difference_map",
}
ROLES = ("before", "after")
WORKED = ("reserve", "heat", "store")
LONGEST_PX = 1400
MARGINS = (
    ("change.width_pct", "Change of width, %"),
    ("change.height_pct", "Change of height, %"),
)


@dataclass(frozen=True, slots=True)
class ReportLine:
    """A report in the list: where to fetch it, and what a recheck of it said."""

    id: str
    title: str
    sha256: str
    here: bool
    checked: Rechecked | None


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    view, works = prove_view(state), views(state, WORKED)
    return render_item(
        request, "prove.html", state, "prove", refusal=refusal, action=action, view=view,
        waiting=waiting(house, state), drawing=drawing(state.gathering, state.id),
        reports=[_line(house, state, *entry) for entry in reversed(view.reports)],
        margins=list(MARGINS), here=f"/item/{state.id}/prove", outlook=outlook_view(state),
        works=works, season=season_view(works["store"].run) if works["store"].run else None,
    )  # fmt: skip


def _line(house: House, state: ItemState, id: str, sha256: str, title: str) -> ReportLine:
    held = house.desk.held(state.id)
    result = held.result if isinstance(held, Errand) else None
    checked = result if isinstance(result, Rechecked) and result.report == id else None
    return ReportLine(id, title, sha256, find_report(house, state, id) is not None, checked)


def report_path(house: House, report_id: str) -> Path:
    """Where a report written from these pages is kept."""
    return house.studio.folder / "reports" / f"{report_id}.pdf"


def find_report(house: House, state: ItemState, report_id: str) -> Path | None:
    """The PDF of an issued report: ours, or one in the studio whose manifest names it."""
    if report_id not in state.reports:
        return None
    own = report_path(house, report_id)
    if own.is_file():
        return own
    for manifest in own.parent.glob("*.json"):
        pdf = manifest.with_suffix(".pdf")
        try:
            named = json.loads(manifest.read_text(encoding="utf-8"))["report"]
        except (OSError, ValueError, KeyError, TypeError):
            continue
        if named == report_id and pdf.is_file():
            return pdf
    return None


def pair(request: Request) -> Response:
    """One page before and after."""
    state = house_of(request).item(request.path_params["item"])
    shown, run = _pair(state, request.path_params["place"])
    before, after = (_capture_hash(run, role) for role in ("before", "after"))
    names = {entry.place: entry.name for entry in prove_view(state).pairs}
    places = list(names)
    at = places.index(shown.place)
    scans = {role: one for role in ROLES if (one := captured(state, run, role))}
    base = scans.get("before")
    measured = latest_measure(state, base) if base else None
    factor = request.query_params.get("arrows", "")
    asked = ask_all([run], state)
    return render_item(
        request, "pair.html", state, "prove", pair=shown, run=run,
        layers=pair_layers(
            run, um_per_px(measured) if measured else None, int(factor) if factor.isdigit() else 0,
            (base.width_px, base.height_px) if base else (0, 0),
        ),
        findings=[one for one in asked if not is_ink(one.quantity)], inks=ink_lines(run),
        ink_findings=[one for one in asked if is_ink(one.quantity)], before=before, after=after,
        registered="before_to_after_px" in run.drawing,
        relief=relief_view(state, shown.place, scans),
        names=names, previous=places[at - 1] if at else "",
        following=places[at + 1] if at + 1 < len(places) else "",
    )  # fmt: skip


def _pair(state: ItemState, place: str) -> tuple[PairView, Run]:
    for entry in prove_view(state).pairs:
        if entry.place == place:
            return entry, state.runs[entry.run]
    raise HTTPException(404, "This page was not compared before with after.")


def _capture_hash(run: Run, role: str) -> str:
    return next((entry.sha256 for entry in run.inputs if entry.role == role), "")


async def _layer(request: Request, name: str) -> Path:
    """A file of a pair's layers, made when first asked for."""
    house = house_of(request)
    state = await run_in_threadpool(house.item, request.path_params["item"])
    run = state.runs.get(request.path_params["run"])
    if run is None or run.method != COMPARE:
        raise HTTPException(404, "This page was not compared before with after.")
    folder = house.studio.derived / "pairs" / f"{run.id}-layers"
    files = {role: house.studio.blobs.path(_capture_hash(run, role)) for role in ROLES}
    more = (dict(run.drawing), folder) if name == AFTER else (folder / name,)
    for key in (f"{name}:{run.id}", ""):
        if not (folder / name).is_file():
            await house.call(LAYERS[name], files, dict(run.params), *more, key=key)
    return folder / name


async def layer_info(request: Request) -> Response:
    """Description of the tiles of the after picture on the before picture's grid."""
    described = json.loads((await _layer(request, AFTER)).read_text(encoding="utf-8"))
    described["id"] = str(request.url).rsplit("/", 1)[0]
    return JSONResponse(described)


async def layer_map(request: Request) -> Response:
    """The colour difference without a legend, clear where nothing was compared."""
    return FileResponse(await _layer(request, DIFFERENCE), media_type="image/png", headers=KEEP)


def layer_tile(request: Request) -> Response:
    """One tile of the after picture."""
    rest, run = request.path_params["rest"], request.path_params["run"]
    known = run in house_of(request).item(request.path_params["item"]).runs
    path = house_of(request).studio.derived / "pairs" / f"{run}-layers" / "after" / rest
    if not known or not TILE.fullmatch(rest) or not path.is_file():
        raise HTTPException(404)
    return FileResponse(path, media_type="image/jpeg", headers=KEEP)


async def picture(request: Request) -> Response:
    """The after picture on the before picture's grid, or the difference; made when asked for."""
    house = house_of(request)
    task = PICTURES.get(request.path_params["which"])
    state = await run_in_threadpool(house.item, request.path_params["item"])
    _, run = _pair(state, request.path_params["place"])
    if task is None:
        raise HTTPException(404)
    folder = house.studio.derived / "pairs"
    target = folder / f"{run.id}-{request.path_params['which']}.png"
    if not target.is_file():
        folder.mkdir(parents=True, exist_ok=True)
        part = folder / f"{run.id}-{secrets.token_hex(4)}.part.png"
        files = {role: house.studio.blobs.path(_capture_hash(run, role)) for role in ROLES}
        await house.call(task, files, dict(run.params), part, LONGEST_PX)
        part.replace(target)
    return FileResponse(target, media_type="image/png", headers={"Cache-Control": "no-cache"})


def build(request: Request) -> Response:
    """Begin writing the report."""
    house = house_of(request)
    state = house.item(request.path_params["item"])

    def write(says: Says) -> str:
        folder = house.studio.folder / "reports"
        part = folder / f"writing-{secrets.token_hex(4)}.pdf"
        written = write_report(house.studio, state.id, part, actor=ACTOR, progress=says)
        target = report_path(house, str(written.manifest["report"]))
        written.json.replace(target.with_suffix(".json"))
        written.pdf.replace(target)
        return target.stem

    house.desk.errand(state.id, "Writing the report", write)
    return see(f"/item/{state.id}/prove")


def download(request: Request) -> Response:
    """A report that was written here."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    path = find_report(house, state, request.path_params["report"])
    if path is None:
        raise HTTPException(404, "That report is not kept here; write it again.")
    return FileResponse(
        path, media_type="application/pdf",
        filename=f"{state.id}-treatment-report.pdf",
    )  # fmt: skip


def check(request: Request) -> Response:
    """Begin computing every number of a report again."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    path = find_report(house, state, request.path_params["report"])
    if path is None:
        raise HTTPException(404, "That report is not kept here; write it again.")
    house.desk.errand(
        state.id, "Rechecking the report", lambda says: recheck(path, house.studio, says)
    )
    return see(f"/item/{state.id}/prove")


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/prove"


routes = [
    Route("/item/{item}/prove", page),
    Route(
        "/item/{item}/prove/margin", saver(lock_margin, _home, _again, "margin"), methods=["POST"]
    ),
    Route(
        "/item/{item}/prove/outlook",
        saver(keep_outlook, _home, _again, "outlook"),
        methods=["POST"],
    ),
    *routes_of("prove", WORKED, _again),
    Route("/item/{item}/prove/report", build, methods=["POST"]),
    Route("/item/{item}/report/{report}.pdf", download),
    Route("/item/{item}/report/{report}/recheck", check, methods=["POST"]),
    Route("/item/{item}/pair/{run}/after/info.json", layer_info),
    Route("/item/{item}/pair/{run}/difference.png", layer_map),
    Route("/item/{item}/pair/{run}/after/{rest:path}", layer_tile),
    Route("/item/{item}/prove/{place}", pair),
    Route("/item/{item}/prove/{place}/{which}.png", picture),
]
