"""Prove, the evidence: verdicts over the leaves, margins locked beforehand, instruments."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages import margins
from quirewell.stages.asking import unit_text
from quirewell.stages.evidence import work_out
from quirewell.stages.evidence_table import EVIDENCE
from quirewell.stages.evidence_view import evidence_view
from quirewell.stages.refusal import Refusal
from quirewell.web.house import house_of
from quirewell.web.measuring import waiting
from quirewell.web.page import render_item
from quirewell.web.routes.treat import timed
from quirewell.web.saving import Again, saver


def page(request: Request) -> Response:
    """The evidence of an item."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    view = evidence_view(state)
    names = [
        (one.key, f"{one.name}, {unit_text(EVIDENCE[one.key].unit)}".rstrip(", "))
        for one in view.offers
    ]
    return render_item(
        request, "evidence.html", state, "prove", refusal=refusal, action=action, view=view,
        can_lock=names, waiting=waiting(house, state), here=f"/item/{state.id}/prove/evidence",
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/prove/evidence"


routes = [
    Route("/item/{item}/prove/evidence", page),
    Route(
        "/item/{item}/prove/evidence/work", saver(work_out, _home, _again, "work"),
        methods=["POST"],
    ),
    Route(
        "/item/{item}/prove/margin", saver(timed(margins.lock), _home, _again, "margin"),
        methods=["POST"],
    ),
    Route(
        "/item/{item}/prove/margins", saver(timed(margins.lock_presets), _home, _again, "presets"),
        methods=["POST"],
    ),
]  # fmt: skip
