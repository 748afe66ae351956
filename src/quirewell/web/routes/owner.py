"""What is agreed with an item's owner: custody, quote against actual, invoice, and the papers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.report.papers import KINDS, PAPERS, Asked, NoPaper, missing, write_paper
from quirewell.report.treatment import head_of
from quirewell.stages import clients, custody, quoting, time_spent
from quirewell.stages.all_items import INVOICES
from quirewell.stages.amounts import money
from quirewell.stages.owner_view import owner_view
from quirewell.stages.quote_begun import begun_rows
from quirewell.stages.quoting import Row
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO, Studio
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item
from quirewell.web.routes.treat import now_utc, timed
from quirewell.web.saving import ACTOR, Again, Command, save_texts, saver

FREE_ROWS, LEAST_ROWS = 3, 6


def page(request: Request) -> Response:
    """What was agreed, and how it stands."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state, bench = house.item(request.path_params["item"]), house.studio.bench()
    values: Mapping[str, str] = refusal.values if refusal else {}
    view = owner_view(state, bench)
    begin = request.query_params.get("begin", "")
    quote, rate = view.quote, bench.rate()
    unit = quote.unit if quote else rate.currency if rate else ""
    held = view.held
    return render_item(
        request, "owner.html", state, "", refusal=refusal, action=action, view=view,
        touched_at=state.touched, today=now_utc()[:10], private=clients.PRIVATE,
        clients=[("", "as the item's card says" if state.item.owner else "nobody named")]
        + [(one.id, one.name) for one in sorted(bench.clients.values(), key=_by_name)],
        suggested=[(n, says, _ticked(n, says, held, values, action == "take"))
                   for n, says in enumerate(custody.LIMITS)],
        own_limits=values.get("limits", "") if action == "take" else "\n".join(
            one for one in (held.limits if held else ()) if one not in custody.LIMITS
        ),
        quote_rows=_rows(values if action == "quote" else {}, _quote_rows(state, bench, begin)),
        invoice_rows=_rows(values if action == "invoice" else {},
                           _invoice_rows(state, bench, begin, unit)),
        begin=begin, unit=unit, rate=money(rate.hour, rate.currency) if rate else "",
        number=quoting.next_number(numbers_given(house)), times=time_spent.time_view(state),
        papers=[(kind, name, missing(state, bench, kind)) for kind, name in KINDS.items()],
    )  # fmt: skip


def _by_name(one: Any) -> str:
    return str(one.name).casefold()


def _ticked(n: int, says: str, held: Any, values: Mapping[str, str], again: bool) -> bool:
    if again:
        return bool(values.get(f"limit-{n}"))
    return held is not None and says in held.limits


def _quote_rows(state: ItemState, bench: BenchState, begin: str) -> Sequence[Row]:
    quote = quoting.newest_quote(state)
    if begin == "option" or quote is None:
        return begun_rows(state, bench)
    return quoting.rows_of(quote.lines, bench)


def _invoice_rows(state: ItemState, bench: BenchState, begin: str, unit: str) -> Sequence[Row]:
    quote = quoting.newest_quote(state)
    if begin == "quote" and quote is not None:
        return quoting.rows_of(quote.lines, bench)
    return quoting.actual_rows(state, bench, unit)


def _rows(values: Mapping[str, str], begun: Sequence[Row]) -> list[Row]:
    """Rows of a form: what was typed, or what it begins with, and free ones below."""
    if values:
        named = [n for n in range(quoting.MOST_LINES) if f"what-{n}" in values]
        return [
            Row(*(values.get(f"{box}-{n}", "") for box in ("what", "hours", "amount")))
            for n in named
        ]
    wanted = min(max(LEAST_ROWS, len(begun) + FREE_ROWS), quoting.MOST_LINES)
    return [*begun, *(Row() for _ in range(wanted - len(begun)))][: quoting.MOST_LINES]


def numbers_given(house: House) -> dict[str, str]:
    """Invoice numbers given out in the whole studio, with the item each went to."""
    return {
        one.number: state.item.title
        for state in house.studio.states(*INVOICES)
        for one in state.invoices.values()
    }


async def take(request: Request) -> Response:
    """Take into custody; a new client's name typed beside the list is kept on the way."""
    sent = await read_form(request)
    return await run_in_threadpool(_take, request, dict(sent.texts))


def _take(request: Request, texts: dict[str, str]) -> Response:
    house = house_of(request)
    studio, name = house.studio, texts.get("new_client", "")

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        bench = studio.bench()
        if not name.strip():
            return custody.take_custody(state, bench, form)
        # All else is looked at first, so that no client is kept by a form that is refused.
        custody.take_custody(state, bench, {**form, "client": ""})
        client = _client(studio, bench, form)
        return custody.take_custody(state, studio.bench(), {**form, "client": client})

    return save_texts(request, texts, command, _home(request), _again("take"))


def _client(studio: Studio, bench: BenchState, form: dict[str, str]) -> str:
    """The id of the client of that name, kept now where there was none."""
    known = clients.named(bench, form["new_client"])
    if known is not None:
        return known.id
    asked = {"name": form["new_client"], "reach": form.get("new_reach", "")}
    try:
        drafts = clients.keep_client(bench, asked)
    except Refusal as refusal:
        raise Refusal(
            tuple(_renamed(one) for one in refusal.problems), values=dict(form)
        ) from refusal  # fmt: skip
    studio.append(STUDIO, None, drafts, ACTOR)
    return str(drafts[0].body["id"])


def _renamed(problem: Any) -> Any:
    return type(problem)({"name": "new_client", "reach": "new_reach"}.get(problem.field,
                                                                          problem.field),
                         problem.says)  # fmt: skip


def _with_bench(name: str) -> Any:
    """A route for a quote or an invoice: its command needs what the studio knows."""

    async def endpoint(request: Request) -> Response:
        sent = await read_form(request)
        house = house_of(request)

        def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
            bench = house.studio.bench()
            if name == "quote":
                return quoting.make_quote(state, bench, form)
            return quoting.write_invoice(state, bench, numbers_given(house), form)

        return await run_in_threadpool(
            save_texts, request, dict(sent.texts), command, _home(request), _again(name)
        )

    return endpoint


def paper(request: Request) -> Response:
    """One of the papers as PDF."""
    house = house_of(request)
    state, asked = house.item(request.path_params["item"]), request.query_params
    kind, size = request.path_params["kind"], asked.get("paper", "a4")
    wanted = Asked(kind, size, asked.get("names", "yes") != "no", asked.get("invoice", ""))
    if kind not in KINDS or size not in PAPERS:
        raise HTTPException(404, f"There is no such paper; there are {', '.join(KINDS)}.")
    studio = house.studio
    try:
        made = write_paper(
            wanted, state, studio.bench(), studio.name, head_of(studio, state.id), studio.blobs.path
        )
    except NoPaper as error:
        raise HTTPException(404, f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    return Response(
        made.pdf, media_type="application/pdf",
        headers={"content-disposition": f'attachment; filename="{state.id}-{kind}.pdf"',
                 "cache-control": "no-store"},
    )  # fmt: skip


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _home(request: Request) -> str:
    return f"/item/{request.path_params['item']}/owner"


FORMS: Mapping[str, Command] = {
    "give-back": custody.give_back,
    "paid": quoting.note_paid,
    "cancel": quoting.cancel_invoice,
    "quote-aside": quoting.set_quote_aside,
    "start": timed(time_spent.start_timer),
    "stop": timed(time_spent.stop_timer),
    "time": time_spent.note_time,
    "time-aside": time_spent.set_time_aside,
}

routes = [
    Route("/item/{item}/owner", page),
    Route("/item/{item}/owner/take", take, methods=["POST"]),
    Route("/item/{item}/owner/quote", _with_bench("quote"), methods=["POST"]),
    Route("/item/{item}/owner/invoice", _with_bench("invoice"), methods=["POST"]),
    Route("/item/{item}/owner/{kind}.pdf", paper),
    *(
        Route(f"/item/{{item}}/owner/{name}", saver(command, _home, _again, name), methods=["POST"])
        for name, command in FORMS.items()
    ),
]
