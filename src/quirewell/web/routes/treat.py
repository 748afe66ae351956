"""Treat: steps, ink tests, readings and baths."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.report.bath_card import bath_sheet
from quirewell.report.content import day
from quirewell.stages import treat as stage
from quirewell.stages.asking import ask_all
from quirewell.stages.bath_card import bath_card
from quirewell.stages.bath_state import pour_fresh
from quirewell.stages.by_course import courses_to_follow
from quirewell.stages.cautions import LIME_BATH, plain
from quirewell.stages.examine import known_sheets
from quirewell.stages.ledger_entry import keep_ledger
from quirewell.stages.ledger_view import ledger_of, usual_entries
from quirewell.stages.ledgering import METHOD as LEDGER
from quirewell.stages.lots_used import on_shelf, shelf_words
from quirewell.stages.refusal import Refusal
from quirewell.stages.stock import age_warnings
from quirewell.web.choices import places
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.saving import Again, Command, Endpoint, save, saver
from quirewell.web.workings import routes_of, views

WORKED = ("dry", "paste")
ShelfCommand = Callable[[ItemState, dict[str, str], BenchState], tuple[Draft, ...]]


def page(request: Request) -> Response:
    """The stage's page."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    bench = house.studio.bench()
    view = stage.view(state, bench)
    return render_item(
        request, "treat.html", state, "treat", refusal=refusal, action=action, view=view,
        touched_at=state.touched, sheets=known_sheets(state), places=places(state),
        lots_text=lots_text, stock_mind=age_warnings(bench, date.today()),
        shelf=[("", "none")] + [(lot.id, shelf_words(lot, None)) for lot in on_shelf(bench)],
        to_follow=courses_to_follow(bench),
        kinds=[("", "choose")] + [(row["key"], row["name"]) for row in view["kinds"]],
        ways=list(dict.fromkeys((way, way) for row in view["kinds"] for way in row["ways"])),
        quantities=[(row["key"], row["name"]) for row in view["quantities"]]
        + [("size", "Size, width x height")],
        ph_methods=[(row["key"], row["name"]) for row in view["ph_methods"]],
        baths=[(row["id"], f"{row['says']}, {row['litres']:g} L") for row in view["baths"]],
        asked={
            row["run"]: ask_all([state.runs[row["run"]]], state) if row["run"] in state.runs else ()
            for row in view["baths"]
        },
        lime_cautions=plain(LIME_BATH), works=views(state, WORKED),
        ledgers={bath.id: ledger_of(state, bath) for bath in state.baths.values()},
        usual={bath.id: usual_entries(state, bath) for bath in state.baths.values()},
    )  # fmt: skip


def bath_card_pdf(request: Request) -> Response:
    """The bath's card on one printed page, with the change its ledger asks for."""
    state = house_of(request).item(request.path_params["item"])
    bath = state.baths.get(request.path_params["bath"])
    run = state.runs.get(bath.run) if bath else None
    if bath is None or run is None:
        raise HTTPException(404, "There is no such bath here.")
    at = datetime.now(UTC)
    card = bath_card(run, state.newest_run(LEDGER, bath.id), state.item.title)
    named = f'attachment; filename="{state.id}-{bath.id}.pdf"'
    return Response(
        bath_sheet(card, at, day(at.isoformat())), media_type="application/pdf",
        headers={"content-disposition": named},
    )  # fmt: skip


def lots_text(lots: list[Mapping[str, Any]]) -> str:
    """Materials as typed, one a line."""
    parts = ([lot["material"], lot["lot"], lot["amount"]] for lot in lots)
    return "\n".join("; ".join(part).rstrip("; ") for part in parts)


def now_utc() -> str:
    """This moment, as a record keeps it."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def timed(command: Command) -> Command:
    """A command told the time of the save: stages know no clock."""

    def told(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        return command(state, {**form, "at": now_utc()})

    return told


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/treat"


def _from_shelf(command: ShelfCommand, name: str) -> Endpoint:
    """A route for a step that may take a lot from the studio's shelf."""

    async def endpoint(request: Request) -> Response:
        studio = house_of(request).studio

        def run(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
            return command(state, form, studio.bench())

        return await save(request, timed(run), _home(request), _again(name))

    return endpoint


SHELF_FORMS: Mapping[str, ShelfCommand] = {
    "start": stage.start_step,
    "finish": stage.finish_step,
    "plan": stage.plan_step,
    "correct": stage.correct_step,
}
FORMS: Mapping[str, Command] = {
    "test": stage.record_spot_test,
    "reading": stage.record_reading,
    "correct-reading": stage.correct_reading,
    "bath": stage.mix_bath,
    "ledger": keep_ledger,
    "fresh": pour_fresh,
    "aside": stage.set_aside,
}

routes = [
    Route("/item/{item}/treat", page),
    Route("/item/{item}/treat/card/{bath}.pdf", bath_card_pdf),
    *(
        Route(f"/item/{{item}}/treat/{name}", saver(command, _home, _again, name), methods=["POST"])
        for name, command in FORMS.items()
    ),
    *(
        Route(f"/item/{{item}}/treat/{name}", _from_shelf(command, name), methods=["POST"])
        for name, command in SHELF_FORMS.items()
    ),
    *routes_of("treat", WORKED, _again),
]
