"""The damage of one page, on its picture: drawn, listed, proposed and answered."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.stages import drawing_defects as commands
from quirewell.stages.defect_map import (
    KINDS,
    TERMS,
    damage_path,
    damage_view,
    first_page,
)
from quirewell.stages.examine import SEVERITIES
from quirewell.stages.refusal import Refusal
from quirewell.web.house import house_of
from quirewell.web.page import Answers, render_item, see
from quirewell.web.saving import Again, Command, Endpoint, save

_BASE = "/item/{item}/examine/{sheet}/damage"
_PAGE = _BASE + "/{side}/{half}/{moment}"


def begin(request: Request) -> Response:
    """Lead on to the first page of the sheet that has a picture."""
    state = house_of(request).item(request.path_params["item"])
    try:
        page, moment = first_page(state, request.path_params["sheet"])
    except KeyError as error:
        raise HTTPException(404, "This item has no such sheet.") from error
    return see(damage_path(state.id, page, moment))


def page(request: Request) -> Response:
    """One page's damage."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    state = house_of(request).item(request.path_params["item"])
    path, query = request.path_params, request.query_params
    typed = dict(refusal.values) if refusal and action == "note" else {}
    try:
        view = damage_view(
            state, path["sheet"], path["side"], path["half"], path["moment"],
            picture=typed.get("capture") or query.get("picture", ""), edit=query.get("edit", ""),
            typed=typed,
        )  # fmt: skip
    except KeyError as error:
        raise HTTPException(404, "This item has no such page or picture.") from error
    return render_item(
        request, "damage.html", state, "examine", refusal=refusal, action=action, view=view,
        form=Answers(view.values),
        here=damage_path(state.id, view.page, view.moment), kinds=KINDS,
        terms=list(TERMS), severities=list(SEVERITIES),
    )  # fmt: skip


def _saver(command: Command, action: str) -> Endpoint:
    async def endpoint(request: Request) -> Response:
        path = request.path_params
        page = f"{path['sheet']}.{path['side']}.{path['half']}"
        here = damage_path(path["item"], page, path["moment"])

        def carried(state: ItemState, form: dict[str, str]):  # type: ignore[no-untyped-def]
            return command(state, {**form, "page": page, "moment": path["moment"]})

        return await save(request, carried, here, _again(action))

    return endpoint


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


routes = [
    Route(_BASE, begin),
    Route(_PAGE, page),
    *(
        Route(f"{_PAGE}/{action}", _saver(command, action), methods=["POST"])
        for action, command in (
            ("note", commands.note_drawn),
            ("accept", commands.accept),
            ("reject", commands.reject),
            ("again", commands.offer_again),
            ("aside", commands.set_aside),
        )
    ),
]
