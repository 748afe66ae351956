"""An item's money: what it cost, the hours in it, what it would bring, what it is held for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.dealing import COST_KINDS
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages import item_money, time_spent
from quirewell.stages.asking import ask_all
from quirewell.stages.books import grade_of
from quirewell.stages.item_account import money_view
from quirewell.stages.item_price import begins
from quirewell.stages.own_sales import plain
from quirewell.stages.refusal import Refusal, refused
from quirewell.stages.sale_entry import keep_sale
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.working import WorkingView, working_view
from quirewell.studio.clock import instant_text, now
from quirewell.studio.studio import STUDIO
from quirewell.web.choices import places
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render_item, see
from quirewell.web.saving import ACTOR, Again, save_texts
from quirewell.web.workings import routes_of

MOST_LISTED = 24  # records named in one address
Command = Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]
BenchCommand = Callable[[ItemState, dict[str, str], BenchState], tuple[Draft, ...]]


def page(request: Request) -> Response:
    """The item's money."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state, bench = house.item(request.path_params["item"]), house.studio.bench()
    view = money_view(state, bench)
    wants = [("", "no want")] + [
        (one.id, one.title) for one in bench.wants.values() if not one.met
    ]  # fmt: skip
    return render_item(
        request, "money.html", state, "money", refusal=refusal, action=action, view=view,
        asked=ask_all([view.account], state), works={"price": price_view(state, bench)},
        kinds=COST_KINDS, aims=item_money.AIMS, wants=wants, places=places(state),
        most_listed=MOST_LISTED,
        doings=[kind.name for kind in STEP_KINDS.values()], touched_at=state.touched,
    )  # fmt: skip


def price_view(state: ItemState, bench: BenchState) -> WorkingView:
    """What it would bring, its form begun with the books as they are today."""
    first, laid, note = begins(state, bench)
    laid["today"] = date.today().isoformat()
    return replace(working_view(state, "price", known=first, laid=laid), note=note)


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _saver(command: Command | BenchCommand, action: str, *, books: bool = False) -> Any:
    """A route that saves one kind of form; ``books`` says that its command asks the books."""

    async def endpoint(request: Request) -> Response:
        sent = await read_form(request)
        texts = {**sent.texts, "at": instant_text(now())}
        studio = house_of(request).studio

        def run(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
            return command(state, form, studio.bench()) if books else command(state, form)  # type: ignore[call-arg]

        back = f"/item/{request.path_params['item']}/money#{action}"
        return await run_in_threadpool(save_texts, request, texts, run, back, _again(action))

    return endpoint


def _into_books(state: ItemState, form: dict[str, str], bench: BenchState) -> tuple[Draft, ...]:
    """The item's sale as one of the books.

    Raises:
        Refusal: it is not sold, or the books hold it.
    """
    sold = state.sold.get("sold")
    if sold is None or sold.price <= 0:
        raise refused(form, "id", "only a sale with a price goes into the books")
    if any(one.item == state.id for one in bench.sales.values()):
        raise refused(form, "id", "the books hold the sale of this item already")
    grade, _ = grade_of(state)
    return keep_sale(
        bench,
        {"title": state.item.title, "price": plain(sold.price), "currency": sold.currency,
         "on": sold.on, "fees": "" if sold.fees is None else plain(sold.fees),
         "grade": "" if grade is None else plain(grade), "item": state.id,
         "treated": "yes" if state.steps else ""},
    )  # fmt: skip


async def into_books(request: Request) -> Response:
    """Put the item's sale among the sales of the books."""
    sent = await read_form(request)

    def done() -> Response:
        house = house_of(request)
        state, bench = house.item(request.path_params["item"]), house.studio.bench()
        try:
            drafts = _into_books(state, dict(sent.texts), bench)
        except Refusal as refusal:
            return _page(request, refusal, "sold")
        house.studio.append(STUDIO, None, drafts, ACTOR)
        return see(f"/item/{state.id}/money#sold")

    return await run_in_threadpool(done)


routes = [
    Route("/item/{item}/money", page),
    *(
        Route(f"/item/{{item}}/money/{name}", _saver(command, action, books=books),
              methods=["POST"])
        for name, command, action, books in (
            ("cost", item_money.note_cost, "cost", True),
            ("start", time_spent.start_timer, "time", False),
            ("stop", time_spent.stop_timer, "time", False),
            ("time", time_spent.note_time, "time", False),
            ("steps", item_money.time_from_steps, "time", False),
            ("sold", item_money.sell, "sold", True),
            ("hold", item_money.hold, "hold", True),
            ("mishap", item_money.note_mishap, "mishap", False),
            ("aside", item_money.set_aside, "aside", False),
        )
    ),
    Route("/item/{item}/money/into-books", into_books, methods=["POST"]),
    *routes_of("money", ("price",), _again),
]  # fmt: skip
