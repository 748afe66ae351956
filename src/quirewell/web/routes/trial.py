"""Two ways of one step against each other: plan by lot, lock, and see how it went."""

from __future__ import annotations

import secrets
from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages import trials as stage
from quirewell.stages.asking import ask_all
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.routes.treat import timed
from quirewell.web.saving import Again, Command, saver

COMMANDS: Mapping[str, Command] = {
    "plan": stage.plan_trial,
    "change": stage.change_trial,
    "lock": timed(stage.lock_trial),
    "aside": stage.drop_trial,
}


def page(request: Request) -> Response:
    """The item's trials."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    state = house_of(request).item(request.path_params["item"])
    views = stage.trials_view(state)
    kinds = [kind for kind in STEP_KINDS.values() if len(kind.ways) > 1]
    return render_item(
        request, "trial.html", state, "treat", refusal=refusal, action=action, views=views,
        asked={view.trial.id: ask_all([view.run], state) if view.run else () for view in views},
        kinds=[(kind.key, kind.name) for kind in kinds],
        ways=list(dict.fromkeys(way for kind in kinds for way in kind.ways)),
        quantities=[(key, row[0]) for key, row in stage.QUANTITIES.items()],
        seed=secrets.token_hex(8), last_way=kinds[0].ways[-1], touched_at=state.touched,
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/trial"


routes = [
    Route("/item/{item}/trial", page),
    *(
        Route(f"/item/{{item}}/trial/{name}", saver(command, _home, _again, name), methods=["POST"])
        for name, command in COMMANDS.items()
    ),
]
