"""Prove: pairs with their verdicts, the curtain, the difference, margins, reports, recheck."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.report.forms import FORM_WORDS, FORMS, write_form
from quirewell.report.reader import UNITS, Reader
from quirewell.report.recheck import Rechecked, recheck
from quirewell.stages.outlook_entry import keep_outlook, outlook_view
from quirewell.stages.prove import prove_view
from quirewell.stages.refusal import Refusal
from quirewell.stages.season_view import season_view
from quirewell.stages.trial_measured import verdict_lines
from quirewell.studio.durable import sync_folder
from quirewell.web.desk import Errand, Says
from quirewell.web.forms import Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.measuring import waiting
from quirewell.web.page import drawing, render_item, see
from quirewell.web.saving import ACTOR, Again, saver
from quirewell.web.workings import routes_of, views

WORKED = ("reserve", "heat", "store")
UNIT_WORDS = (("metric", "mm and °C"), ("inches", "inches and °F"))


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
        forms=list(FORM_WORDS.items()), units=UNIT_WORDS,
        here=f"/item/{state.id}/prove", outlook=outlook_view(state),
        trials_said=verdict_lines(state), works=works,
        season=season_view(works["store"].run) if works["store"].run else None,
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


async def build(request: Request) -> Response:
    """Begin writing the report in the form and the units asked for."""
    bare = request.headers.get("content-length", "0") == "0"
    sent = Sent({}) if bare else await read_form(request)
    form, units = sent.get("form") or "full", sent.get("units") or "metric"
    if form not in FORMS or units not in UNITS:
        raise HTTPException(400, "Choose a form of the report, and its units, from the list.")

    def begin() -> Response:
        house = house_of(request)
        state = house.item(request.path_params["item"])

        def write(says: Says) -> str:
            folder = house.studio.folder / "reports"
            part = folder / f"writing-{secrets.token_hex(4)}.pdf"
            written = write_form(
                form, house.studio, state.id, part, ACTOR, Reader(units), progress=says
            )
            target = report_path(house, str(written.manifest["report"]))
            written.json.replace(target.with_suffix(".json"))
            written.pdf.replace(target)
            sync_folder(folder)
            return target.stem

        house.desk.errand(state.id, f"Writing: {FORM_WORDS[form].lower()}", write)
        return see(f"/item/{state.id}/prove")

    return await run_in_threadpool(begin)


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
        "/item/{item}/prove/outlook",
        saver(keep_outlook, _home, _again, "outlook"),
        methods=["POST"],
    ),
    *routes_of("prove", WORKED, _again),
    Route("/item/{item}/prove/report", build, methods=["POST"]),
    Route("/item/{item}/report/{report}.pdf", download),
    Route("/item/{item}/report/{report}/recheck", check, methods=["POST"]),
]
