"""Two ways of one step against each other: plan by lot, lock, and see how it went."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.report.trial_drawing import drawable, trial_svg
from quirewell.stages import trials as stage
from quirewell.stages.asking import ask_all
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.trial_measured import VerdictView, cells_words, keep_verdict, verdict_views
from quirewell.stages.trial_verdict import PLACES
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.routes.treat import timed
from quirewell.web.saving import Again, Command, saver

COMMANDS: Mapping[str, Command] = {
    "plan": stage.plan_trial,
    "change": stage.change_trial,
    "lock": timed(stage.lock_trial),
    "aside": stage.drop_trial,
    "verdict": keep_verdict,
}


def page(request: Request) -> Response:
    """The item's trials."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    state = house_of(request).item(request.path_params["item"])
    held = verdict_views(state)
    views = [one.view for one in held]
    kinds = [kind for kind in STEP_KINDS.values() if len(kind.ways) > 1]
    return render_item(
        request, "trial.html", state, "treat", refusal=refusal, action=action, views=views,
        asked={view.trial.id: ask_all([view.run], state) if view.run else () for view in views},
        verdicts={one.view.trial.id: _verdict(one, state) for one in held},
        kinds=[(kind.key, kind.name) for kind in kinds],
        ways=list(dict.fromkeys(way for kind in kinds for way in kind.ways)),
        quantities=[(key, row[0]) for key, row in stage.QUANTITIES.items()],
        seed=secrets.token_hex(8), last_way=kinds[0].ways[-1], touched_at=state.touched,
    )  # fmt: skip


def _verdict(held: VerdictView, state: ItemState) -> dict[str, Any]:
    """What was measured and what it says, with the picture where there is one."""
    run, places = held.run, PLACES.get(held.view.trial.unit, 2)
    apart = ("trial.pair_difference", "trial.left_out", "trial.verdict", "trial.with_all")
    return {
        "held": held, "picture": Markup(trial_svg(held)) if drawable(held) else "",
        "rows": {
            row.pair: {"a": cells_words(row.a, places), "b": cells_words(row.b, places),
                       "out": row.out, "ref": row.ref, "read": row.read,
                       "less": "" if row.difference is None else
                       f"{row.difference:+.{places}f}".replace("-", "\u2212")}
            for row in held.rows
        },
        "asked": [one for one in ask_all([run], state) if one.quantity not in apart] if run else (),
    }  # fmt: skip


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
