"""The books of the practice: rates, sales, an existing collection, wants, stock, memory."""

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
from quirewell.record.event import Draft
from quirewell.stages import books as stage
from quirewell.stages import item_entry, sale_entry, stock
from quirewell.stages.all_items import COSTS, materials_used
from quirewell.stages.asking import ask_all
from quirewell.stages.column_match import table_text
from quirewell.stages.memory import ASSUMES, memory_run, memory_told
from quirewell.stages.own_sales import rates_of, sales_of
from quirewell.stages.plain_table import TableError
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import Answers, render, see
from quirewell.web.saving import ACTOR

Form = dict[str, str]
Command = Callable[[BenchState, Form], tuple[Draft, ...]]
Page = Callable[[Request, Refusal | None, str], Response]
LOOK_BYTES = 4 * 1024**2
MOST_SHOWN = 200


def _today() -> str:
    return date.today().isoformat()


def _kept(request: Request) -> int:
    text = request.query_params.get("kept", "")
    return int(text) if text.isdecimal() and len(text) < 6 else 0


def _show(page: Page) -> Callable[[Request], Response]:
    return lambda request: page(request, None, "")


def _saver(command: Command, page: Page, action: str, back: str) -> Any:
    """A route that saves a form of the studio's stream and leads back, or shows what was wrong."""

    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio = house_of(request).studio
            form = {**sent.texts, "today": _today()}
            try:
                drafts = command(studio.bench(), form)
                if drafts:
                    studio.append(STUDIO, None, drafts, ACTOR)
            except Refusal as refusal:
                held = refusal.values or form
                return page(request, Refusal(refusal.problems, refusal.rule, held), action)
            return see(back, kept=len(drafts))

        return await run_in_threadpool(done)

    return save


# --- front: rates -----------------------------------------------------------------------------


def front(request: Request, refusal: Refusal | None, action: str) -> Response:
    """Rates, and what the books hold."""
    bench = house_of(request).studio.bench()
    return render(
        request, "books.html", refusal=refusal, action=action, rate=bench.rate(),
        known=rates_of(bench), kept=_kept(request), sales=len(bench.sales),
        wants=sum(not one.met for one in bench.wants.values()),
        lots=sum(not one.gone for one in bench.stock.values()),
        mind_list=stock.age_warnings(bench, date.today()),
    )  # fmt: skip


# --- sales ------------------------------------------------------------------------------------


def sales(request: Request, refusal: Refusal | None, action: str) -> Response:
    """Own sales: one by hand, a table, the list."""
    bench = house_of(request).studio.bench()
    wanted = " ".join(request.query_params.get("title", "").split())[:200]
    every = sales_of(bench)
    found = [one for one in every if wanted.casefold() in one.title.casefold()]
    tables: dict[str, int] = {}
    for one in every:
        if one.came:
            tables[one.came] = tables.get(one.came, 0) + 1
    return render(
        request, "books_sales.html", refusal=refusal, action=action, kept=_kept(request),
        wanted=wanted, found=list(reversed(found))[:MOST_SHOWN], count=len(found),
        total=len(every), tables=tables, known=rates_of(bench),
        titles=sorted({one.title for one in every}, key=str.casefold)[:MOST_SHOWN],
    )  # fmt: skip


def collection(request: Request, refusal: Refusal | None, action: str) -> Response:
    """The form for an existing collection's table."""
    return render(request, "books_collection.html", refusal=refusal, action=action,
                  kept=_kept(request))  # fmt: skip


def _looker(kind: str) -> Any:
    """A route that looks at a table, shows it, and keeps it once it is confirmed."""
    page = sales if kind == "sales" else collection

    async def look(request: Request) -> Response:
        sent = await read_form(request, most=LOOK_BYTES, files=1)
        try:
            return await run_in_threadpool(_look, request, sent, kind)
        except TableError as error:
            says = f"{error}"[:1].upper() + f"{error}"[1:].rstrip(".") + "."
            refusal = Refusal((Problem("file", says),), values=dict(sent.texts))
            return await run_in_threadpool(page, request, refusal, "look")
        finally:
            for entry in sent.files:
                entry.file.close()

    return look


def _look(request: Request, sent: Sent, kind: str) -> Response:
    house, form = house_of(request), dict(sent.texts)
    if sent.files:
        form["came"] = (sent.files[0].filename or "").replace("\\", "/").rsplit("/", 1)[-1]
        form["table"] = table_text(sent.files[0].file.read())
    if not form.get("table", "").strip():
        raise TableError("choose a CSV file, or paste the table")
    bench, today = house.studio.bench(), date.today()
    seen: Any
    if kind == "sales":
        seen = sale_entry.look(bench, form["table"], form, today)
    else:
        seen = item_entry.look_items(form["table"], form, house.studio.states(*COSTS), today)
    problems = seen.matched.problems
    if form.get("step") == "keep" and not problems and seen.taken:
        kept = _keep(house, bench, seen, form, kind)
        return see(f"/books/{kind}", kept=kept)
    refusal = Refusal(problems, values=form) if problems else None
    return render(
        request, "books_look.html", refusal=refusal, kind=kind, seen=seen, form=Answers(form),
        fields=sale_entry.FIELDS if kind == "sales" else item_entry.FIELDS, most=MOST_SHOWN,
        known=rates_of(bench), action="look",
    )  # fmt: skip


def _keep(house: House, bench: BenchState, seen: Any, form: Form, kind: str) -> int:
    if kind == "sales":
        drafts = sale_entry.keep_table(bench, seen, form.get("came", ""))
        return len(house.studio.append(STUDIO, None, drafts, ACTOR))
    for _, row in seen.taken:
        item_id = house.studio.new_id(row.title)
        house.studio.append(item_id, 0, item_entry.drafts_of(item_id, row), actor=ACTOR)
    return len(seen.taken)


# --- wants, stock, memory ---------------------------------------------------------------------


def wants(request: Request, refusal: Refusal | None, action: str) -> Response:
    """What is looked for, and the copies that stand in."""
    house = house_of(request)
    bench = house.studio.bench()
    return render(
        request, "books_wants.html", refusal=refusal, action=action, kept=_kept(request),
        rows=stage.wants_view(bench, stage.wanted_states(house.studio)), known=rates_of(bench),
    )  # fmt: skip


def shelf(request: Request, refusal: Refusal | None, action: str) -> Response:
    """Lots of materials."""
    house = house_of(request)
    used = materials_used(house.studio)
    lots, mind = stock.stock_view(house.studio.bench(), used, date.today())
    return render(
        request, "books_stock.html", refusal=refusal, action=action, kept=_kept(request),
        lots=lots, mind_list=mind, usual=stock.USUAL,
        edited=house.studio.bench().stock.get(request.query_params.get("edit", "")),
    )  # fmt: skip


def memory(request: Request) -> Response:
    """What this bench remembers."""
    house = house_of(request)
    run = memory_run(house.studio)
    state = next((house.studio.state(line.id) for line in house.studio.page(limit=1)), None)
    asked = ask_all([run], state) if state is not None else ()
    named = [
        one if one.subject == "item" else replace(one, name=f"{one.name}: {one.subject}")
        for one in asked
    ]
    return render(
        request, "books_memory.html", told=memory_told(run), asked=named, assumes=ASSUMES,
    )  # fmt: skip


routes = [
    Route("/books", _show(front)),
    Route("/books/rates", _saver(stage.set_rates, front, "rates", "/books"), methods=["POST"]),
    Route("/books/sales", _show(sales)),
    Route("/books/sales/keep", _saver(sale_entry.keep_sale, sales, "keep", "/books/sales"),
          methods=["POST"]),
    Route("/books/sales/table-aside",
          _saver(sale_entry.aside_table, sales, "aside", "/books/sales"), methods=["POST"]),
    Route("/books/sales/look", _looker("sales"), methods=["POST"]),
    Route("/books/collection", _show(collection)),
    Route("/books/collection/look", _looker("collection"), methods=["POST"]),
    Route("/books/wants", _show(wants)),
    Route("/books/stock", _show(shelf)),
    Route("/books/memory", memory),
    *(
        Route(f"/books/{part}/{name}", _saver(command, page, name, f"/books/{part}"),
              methods=["POST"])
        for part, name, command, page in (
            ("sales", "aside", stage.set_aside, sales),
            ("wants", "note", stage.note_want, wants),
            ("wants", "met", stage.meet_want, wants),
            ("wants", "stand-in", stage.stand_in, wants),
            ("wants", "aside", stage.set_aside, wants),
            ("stock", "keep", stock.keep_lot, shelf),
            ("stock", "mark", stock.mark_lot, shelf),
            ("stock", "aside", stage.set_aside, shelf),
        )
    ),
]  # fmt: skip
