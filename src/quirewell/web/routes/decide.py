"""Decide: what the damage leaves of an item, which bath, which water, what it would be worth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.stages.all_items import RETURNS
from quirewell.stages.books_begin import RENEWED, from_books, renewed
from quirewell.stages.cautions import LOCAL_CODES, plain
from quirewell.stages.disclosure import age_words
from quirewell.stages.dosing import as_json as dose_json
from quirewell.stages.grading import as_json as grade_json
from quirewell.stages.memory import hours_per_wrap
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.stages.returns_table import newer_returns, returns_table
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.weigh_begin import hours_row, weigh_begins
from quirewell.stages.weigh_entry import add_option, choose_option, keep_weighing
from quirewell.stages.weigh_view import newer_grade, weigh_view
from quirewell.stages.working import WorkingView, newest, working_view
from quirewell.stages.working_rows import WORKINGS
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item
from quirewell.web.saving import Again, saver
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
    works["grade"] = _grade(house, state)
    dose = works["dose"].run or run_method(WORKINGS["dose"].method, "plan", {})
    graded = works["grade"].run
    weighed = _weighing(house, state)
    return render_item(
        request, "decide.html", state, "decide", refusal=refusal, action=action, works=works,
        dose=dose_json(dose), graded=None if graded is None else grade_json(graded),
        local_codes=LOCAL_CODES, care=CARE, weigh=weighed,
        weighed=None if weighed.run is None else weigh_view(state, weighed.run),
        chosen=state.choices.get("choice"),
        steps=[(key, kind.name) for key, kind in STEP_KINDS.items()],
        told_age=age_words(_checked(house), datetime.now(UTC).date()),
    )  # fmt: skip


def _grade(house: House, state: ItemState) -> WorkingView:
    """The estimate's form, begun with every grade that came back of other items and, where they
    were set anew, with the rules in force."""
    bench = house.studio.bench()
    others = [one for one in house.studio.states(*RETURNS) if one.id != state.id]
    table = returns_table(others, bench)
    known = {**from_books(state, bench, "grade"), "returns": table}
    laid = newer_returns(newest(state, WORKINGS["grade"]), table)
    anew = renewed(state, bench, "grade")
    if anew is None:
        return working_view(state, "grade", laid, known=known)
    view = working_view(state, "grade", {**(laid or {}), **anew}, opened=True, known=known)
    return replace(view, note=RENEWED)


def _weighing(house: House, state: ItemState) -> WorkingView:
    """The weighing's form: what was typed before, save what was estimated or sold since."""
    run = newest(state, WORKINGS["weigh"])
    known = weigh_begins(state, house.studio.bench())
    if run is None and not known.get("options") and state.gathering is not None:
        known["options"] = hours_row(hours_per_wrap(house.studio), state.gathering.wraps)
    again: list[str] = [] if run is None else ["sales", "item"]
    if run is not None and newer_grade(state, run) is not None:
        again += ["defects", "rules", "scale", "returns", "adding"]
    laid = {name: known[name] for name in again if name in known}
    return working_view(state, "weigh", laid, known=known)


def _checked(house: House) -> str:
    own = house.studio.bench().disclosure()
    return "" if own is None else own.checked_on


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(part: str) -> Callable[[Request], str]:
    return lambda request: f"/item/{request.path_params['item']}/decide#{part}"


routes = [
    Route("/item/{item}/decide", page),
    *routes_of("decide", KEYS, _again),
    Route("/item/{item}/decide/weigh",
          saver(keep_weighing, _home("working-weigh"), _again, "weigh"), methods=["POST"]),
    Route("/item/{item}/decide/own-option",
          saver(add_option, _home("working-weigh"), _again, "own-option"), methods=["POST"]),
    Route("/item/{item}/decide/choose",
          saver(choose_option, _home("choose"), _again, "choose"), methods=["POST"]),
]  # fmt: skip
