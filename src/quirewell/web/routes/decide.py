"""Decide: what the damage leaves of an item, which bath, which water, what it would be worth."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages.cautions import LOCAL_CODES, plain
from quirewell.stages.dosing import as_json as dose_json
from quirewell.stages.grading import as_json as grade_json
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.stages.working_rows import WORKINGS
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.saving import Again
from quirewell.web.workings import routes_of, views

KEYS = ("grade", "dose", "water", "worth")
CARE = plain(dict.fromkeys(one for key in KEYS for one in WORKINGS[key].cautions))


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    works = views(state, KEYS, house.studio.bench())
    dose = works["dose"].run or run_method(WORKINGS["dose"].method, "plan", {})
    graded = works["grade"].run
    return render_item(
        request, "decide.html", state, "decide", refusal=refusal, action=action, works=works,
        dose=dose_json(dose), graded=None if graded is None else grade_json(graded),
        local_codes=LOCAL_CODES, care=CARE,
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


routes = [Route("/item/{item}/decide", page), *routes_of("decide", KEYS, _again)]
