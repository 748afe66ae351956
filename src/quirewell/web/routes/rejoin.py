"""Rejoin: taking apart as recorded, holes found and matched, sheets laid one after another."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.jobs.batch import Call
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.report import rejoin_print
from quirewell.report.rejoin_drawing import lay_svg, match_svg
from quirewell.stages import finding_holes, hole_marking, hole_pictures, rejoining, taking_apart
from quirewell.stages.cautions import LOCAL_CODES
from quirewell.stages.head_shown import head_shown
from quirewell.stages.refusal import Refusal
from quirewell.stages.sheet_order import note_and_check, order_view
from quirewell.stages.working import WorkingView, working_view
from quirewell.web.fetching import begun, hashes_of
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import drawing, render_item, see
from quirewell.web.saving import ACTOR, Again, Command, saver
from quirewell.web.workings import routes_of

WORKED = ("creep", "fold")
TIMES = ("1", "10", "30", "100")
_PATH = "/item/{item}/rejoin"


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    asked = request.query_params.get("times", "30")
    times = asked if asked in TIMES else "30"
    matched, works = rejoining.matched(state), _works(state)
    return render_item(
        request, "rejoin.html", state, "rejoin", refusal=refusal, action=action,
        apart=taking_apart.view(state), guide=rejoining.guide(state), order=order_view(state),
        facings=_named(taking_apart.FACINGS, "not said"),
        crowns=_named(taking_apart.CROWNS, "not said"), legs=_named(taking_apart.LEGS, "not said"),
        rust=_named(taking_apart.RUST, "not said"), care=_named(taking_apart.CARE, "not decided"),
        staple_care=taking_apart.STAPLE_CARE, holes=hole_marking.listed(state),
        searchable=len(_searchable(house, state)), matched=matched,
        picture=Markup(match_svg(matched.picture, int(times)) if matched.picture else ""),
        times=[(one, "true size" if one == "1" else f"{one} times") for one in TIMES],
        asked_times=times, papers=list(rejoin_print.NAMES),
        works=works, choices=rejoining.fold_choices(works["fold"].run), local_codes=LOCAL_CODES,
        head=head_shown(state, works["fold"].run),
    )  # fmt: skip


def _works(state: ItemState) -> dict[str, WorkingView]:
    """Creep and fold, begun with what the scans measured."""
    laid = rejoining.laid_widths(state)
    return {key: working_view(state, key, laid) for key in WORKED}


def _searchable(house: House, state: ItemState) -> tuple[Call, ...]:
    return hole_pictures.to_find(state, house.studio.blobs.place, house.studio.bench())


def _named(options: tuple[str, ...], empty: str) -> list[tuple[str, str]]:
    return [(one, one or empty) for one in options]


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


# --- holes of one sheet -----------------------------------------------------------------------


def holes_page(request: Request) -> Response:
    """One sheet's holes, over its picture where there is one."""
    return _holes_page(request, None)


def _holes_page(request: Request, refusal: Refusal | None) -> Response:
    state = house_of(request).item(request.path_params["item"])
    view = hole_marking.view(state, _sheet(state, request))
    return render_item(
        request, "rejoin_holes.html", state, "rejoin", refusal=refusal, view=view,
        states=hole_marking.STATES, starts=hole_marking.starts(view),
        pictures=hole_pictures.offered(state, view.place),
    )  # fmt: skip


def _sheet(state: ItemState, request: Request) -> str:
    place = str(request.path_params["place"])
    if state.gathering is None or place not in state.gathering.sheets():
        raise HTTPException(404, "This item has no such sheet.")
    return place


def _holes_again(action: str) -> Again:
    return _holes_page


async def find(request: Request) -> Response:
    """Begin looking for holes in every picture not searched yet."""
    house = house_of(request)

    def begin() -> Response:
        state = house.item(request.path_params["item"])
        if calls := _searchable(house, state):
            house.desk.begin(
                state.id,
                lambda: begun(
                    house,
                    hashes_of(calls),
                    lambda: finding_holes.start_finding(house.studio, state.id, house.runner),
                ),
            )
        return see(f"/item/{state.id}/rejoin#holes")

    return await run_in_threadpool(begin)


async def look(request: Request) -> Response:
    """Begin looking for a sheet's holes in one picture, its height kept where it was typed."""
    texts = dict((await read_form(request)).texts)
    house = house_of(request)

    def begin() -> Response:
        state = house.item(request.path_params["item"])
        place = _sheet(state, request)
        try:
            capture, drafts = hole_pictures.asked_picture(state, place, texts)
        except Refusal as refusal:
            return _holes_page(request, refusal)
        if drafts:
            house.studio.append(state.id, None, drafts, actor=ACTOR)
        house.desk.begin(
            state.id,
            lambda: begun(
                house,
                [state.captures[capture].sha256],
                lambda: finding_holes.start_finding(
                    house.studio, state.id, house.runner, only=capture
                ),
            ),
        )
        return see(f"/item/{state.id}/rejoin/holes/{place}")

    return await run_in_threadpool(begin)


# --- one sheet at a time ----------------------------------------------------------------------


def lay_page(request: Request) -> Response:
    """The guide at one sheet."""
    state = house_of(request).item(request.path_params["item"])
    place = _sheet(state, request)
    guide = rejoining.guide(state)
    order = [step.place for step in guide.steps]
    if place not in order:
        raise HTTPException(404, "This sheet was said not to be there.")
    at = order.index(place)
    step = guide.steps[at]
    return render_item(
        request, "rejoin_lay.html", state, "rejoin", guide=guide, step=step,
        before=order[at - 1] if at else "", after=order[at + 1] if at + 1 < len(order) else "",
        drawing=drawing(state.gathering, state.id, None, place), picture=Markup(lay_svg(step)),
        staple_care=taking_apart.STAPLE_CARE,
    )  # fmt: skip


def _timed_lay(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    at = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return rejoining.lay(state, {**form, "at": at})


async def lay(request: Request) -> Response:
    """A sheet is laid; on to the next that waits."""
    endpoint = saver(_timed_lay, _next, lambda action: _again(action), "lay")
    return await endpoint(request)


def _next(request: Request) -> str:
    return f"/item/{request.path_params['item']}/rejoin/next"


def next_page(request: Request) -> Response:
    """To the next sheet that waits; when none does, to the staples below the last one."""
    state = house_of(request).item(request.path_params["item"])
    now = rejoining.guide(state)
    if now.next_place:
        return see(f"/item/{state.id}/rejoin/lay/{now.next_place}#stands")
    last = f"/lay/{now.steps[-1].place}#staples" if now.steps else ""
    return see(f"/item/{state.id}/rejoin{last}")


# --- printed ----------------------------------------------------------------------------------


def printed(request: Request) -> Response:
    """The light-box sheet or the centrefold board as PDF; what is missing for it is said."""
    state = house_of(request).item(request.path_params["item"])
    board = request.url.path.endswith("board.pdf")
    which = rejoin_print.BOARD if board else rejoin_print.LIGHT_BOX
    paper = request.query_params.get("paper", "a4")
    try:
        pdf = rejoin_print.printed(state, which, paper)
    except Refusal as refusal:
        return _page(request, refusal, "print")
    named = f'attachment; filename="{state.id}-{which}.pdf"'
    return Response(pdf, media_type="application/pdf", headers={"content-disposition": named})


def _back(part: str) -> Callable[[Request], str]:
    return lambda request: f"/item/{request.path_params['item']}/rejoin#{part}"


_FORMS: tuple[tuple[str, Command, str], ...] = (
    ("sheets", note_and_check, "found"),
    ("staple", taking_apart.note_staple, "staples"),
    ("match", rejoining.match_holes, "matched"),
)
routes = [
    Route(_PATH, page),
    Route(f"{_PATH}/next", next_page),
    Route(f"{_PATH}/sheet.pdf", printed),
    Route(f"{_PATH}/board.pdf", printed),
    Route(f"{_PATH}/find", find, methods=["POST"]),
    Route(f"{_PATH}/lay", lay, methods=["POST"]),
    Route(f"{_PATH}/up", saver(rejoining.take_up, _next, _again, "up"), methods=["POST"]),
    Route(f"{_PATH}/lay/{{place}}", lay_page),
    Route(f"{_PATH}/holes/{{place}}", holes_page, methods=["GET"]),
    Route(f"{_PATH}/holes/{{place}}/look", look, methods=["POST"]),
    Route(
        f"{_PATH}/holes/{{place}}",
        saver(hole_marking.mark_holes, _back("holes"), _holes_again, "holes"),
        methods=["POST"],
    ),
    *(
        Route(f"{_PATH}/{name}", saver(command, _back(part), _again, name), methods=["POST"])
        for name, command, part in _FORMS
    ),
    *routes_of("rejoin", WORKED, _again),
]
