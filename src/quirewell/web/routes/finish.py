"""Finish: the humidity chamber, the press seen from inside, a hand iron; before any heat."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.cautions import LOCAL_CODES, plain
from quirewell.stages.press_bench import keep_stack, laid_words, stack_of
from quirewell.stages.press_bench import view as bench_view
from quirewell.stages.press_entry import layer_names
from quirewell.stages.press_view import press_view
from quirewell.stages.pressed import pressed
from quirewell.stages.pressing import TELL
from quirewell.stages.refusal import Refusal
from quirewell.stages.working import keep, working_view
from quirewell.stages.working_rows import WORKINGS
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item, see
from quirewell.web.saving import ACTOR, Again, saver
from quirewell.web.workings import routes_of, views

KEYS = ("chamber", "press", "iron")
CARE = plain(dict.fromkeys(one for key in KEYS for one in WORKINGS[key].cautions))


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state, bench = house.item(request.path_params["item"]), house.studio.bench()
    chosen = stack_of(bench, request.query_params.get("stack", ""))
    laid = _laid(state, bench) | ({} if chosen is None else dict(chosen.params))
    presses = tuple((one.use, one.press) for one in bench.known_presses())
    layers = tuple((name, name) for name in layer_names(bench.own_materials()))
    offers = {"known": (("", "not calibrated"), *presses), "above": layers, "below": layers}
    works = views(state, KEYS)
    works["press"] = working_view(state, "press", laid, offers, chosen is not None)
    run = works["press"].run
    return render_item(
        request, "finish.html", state, "finish", refusal=refusal, action=action, works=works,
        inside=None if run is None else press_view(run), local_codes=LOCAL_CODES, care=CARE,
        stacks=bench_view(bench).choices, chosen=chosen,
        chosen_says="" if chosen is None else laid_words(chosen),
        kept=_kept(state), heat=views(state, ("heat",))["heat"],
    )  # fmt: skip


def _laid(state: ItemState, bench: BenchState) -> dict[str, str]:
    """What the bench brings to a press's form: its own materials, and its newest press."""
    out = {}
    if bench.own_materials():
        out["layers"] = bench.own_materials()
    run = state.newest_run(WORKINGS["press"].method, WORKINGS["press"].subject)
    if bench.known_presses() and not (run and run.params.get("known")):
        out["known"] = bench.known_presses()[-1].use
    return out


def _kept(state: ItemState) -> str:
    """The step that followed the newest pressing, in words; empty while it is only planned."""
    run = state.newest_run(WORKINGS["press"].method, WORKINGS["press"].subject)
    done = [step for step in state.steps.values() if run is not None and step.run == run.id]
    return "" if not done else "Pressed as planned: recorded among the steps."


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


# --- looking inside, told while it runs -------------------------------------------------------


async def look_inside(request: Request) -> Response:
    """Work a pressing out; how many of its runs are done can be asked meanwhile."""
    house, item = house_of(request), str(request.path_params["item"])

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        return _told(house, item, state, form)

    endpoint = saver(command, lambda r: f"/item/{item}/finish#working-press", _again, "press")
    return await endpoint(request)


def _told(house: House, item: str, state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    token = TELL.set(lambda done, of: house.runs_done.__setitem__(item, (done, of)))
    try:
        return keep("press")(state, dict(form))
    finally:
        TELL.reset(token)
        house.runs_done.pop(item, None)


async def runs_done(request: Request) -> Response:
    """How many runs of an item's pressing are done now; nothing while none is worked out."""
    now = house_of(request).runs_done.get(str(request.path_params["item"]))
    return JSONResponse({} if now is None else {"done": now[0], "of": now[1]})


# --- kept by name, done as planned ------------------------------------------------------------


async def keep_by_name(request: Request) -> Response:
    """Keep the newest pressing's stack with the bench."""
    sent = await read_form(request)

    def done() -> Response:
        house = house_of(request)
        state = house.item(request.path_params["item"])
        try:
            drafts = keep_stack(house.studio.bench(), state, dict(sent.texts))
            house.studio.append(STUDIO, None, drafts, ACTOR)
        except Refusal as refusal:
            return _page(request, refusal, "stack")
        return see(f"/item/{state.id}/finish#working-press")

    return await run_in_threadpool(done)


def _pressed(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    return pressed(state, {**form, "at": datetime.now(UTC).isoformat(timespec="seconds")})


_PATH = "/item/{item}/finish"
routes = [
    Route(_PATH, page),
    Route(f"{_PATH}/press", look_inside, methods=["POST"]),
    Route(f"{_PATH}/press/runs", runs_done),
    Route(f"{_PATH}/stack", keep_by_name, methods=["POST"]),
    Route(
        f"{_PATH}/pressed",
        saver(_pressed, lambda r: f"/item/{r.path_params['item']}/finish", _again, "pressed"),
        methods=["POST"],
    ),
    *routes_of("finish", ("chamber", "iron"), _again),
]
