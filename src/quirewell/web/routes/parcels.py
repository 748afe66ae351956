"""Parcels: what goes when and why, what if, the parcels made, the receiver's own terms."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.report.parcel_sheet import csv_text, sheet_pdf
from quirewell.stages import parcel_keeping as keeping
from quirewell.stages import parcel_service as terms
from quirewell.stages import parcelling
from quirewell.stages.all_items import PARCELS
from quirewell.stages.parcel_items import candidates, musts, plan_text
from quirewell.stages.parcel_lists import SHEETS, sheet_of
from quirewell.stages.parcel_what_if import beside, changed
from quirewell.stages.parcels_view import shown_plan, view
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.returns_view import returns_view
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import own_path, render, see
from quirewell.web.planning import PLAN, WHAT_IF, Planning
from quirewell.web.saving import ACTOR
from quirewell.web.work_told import told_json

HOME = "/parcels"
Command = Callable[[BenchState, dict[str, str]], tuple[Draft, ...]]


def today() -> str:
    """The day, as a record keeps it."""
    return datetime.now(UTC).date().isoformat()


def states_of(house: House) -> list[ItemState]:
    """Every item of the studio, as far as parcels read it."""
    return house.studio.states(*PARCELS)


def page(request: Request) -> Response:
    """The first answer, and everything behind it."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    bench, states = house.studio.bench(), states_of(house)
    asked_for = (refusal.values.get("service", "") if refusal else "") or (
        request.query_params.get("service", "")
    )
    seen = view(bench, states, today(), asked_for if asked_for in bench.services else "")
    return render(
        request, "parcels.html", refusal=refusal, action=action, view=seen,
        what_if=_what_if(house, bench, seen.plan.id if seen.plan else ""),
        plan_work=house.desk.view(PLAN), asked_work=house.desk.view(WHAT_IF),
        held=returns_view(states, bench), states=keeping.STATES, goes=terms.GOES,
    )  # fmt: skip


def _what_if(house: House, bench: BenchState, plan_id: str) -> dict[str, object] | None:
    """What was asked last, beside the plan that stands; nothing where that plan has changed."""
    held, plan = house.desk.held(WHAT_IF), bench.plans.get(plan_id)
    if not isinstance(held, Planning) or held.run is None or plan is None or held.base != plan_id:
        return None
    both = parcelling.as_json(plan.run), parcelling.as_json(held.run)
    return {
        "asked": held.asked, "plan": shown_plan(held.run, "", "", bench, plan.items),
        **beside(*both),
    }  # fmt: skip


def _saver(command: Command, action: str) -> Callable[[Request], object]:
    """A route that keeps one kind of form in the studio's own stream."""

    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio, form = house_of(request).studio, dict(sent.texts)
            try:
                studio.append(STUDIO, None, command(studio.bench(), form), ACTOR)
            except Refusal as refusal:
                return _page(request, Refusal(refusal.problems, values=form), _at(action, form))
            return see(own_path(form.get("back", ""), HOME) + f"#{form.get('at') or action}")

        return await run_in_threadpool(done)

    return save


def _at(action: str, form: dict[str, str]) -> str:
    """Which of several forms alike was sent: that of the row, item or parcel it names."""
    named = form.get("was") or form.get("item") or (form.get("id") if action == "change" else "")
    return f"{action}:{named}" if named else action


async def work_out(request: Request) -> Response:
    """Look for the plan in a worker; a small one is there at once."""
    sent = await read_form(request)

    def done() -> Response:
        house, form = house_of(request), dict(sent.texts)
        studio = house.studio
        service = terms.service_of(studio.bench(), form.get("service", ""))
        try:
            if service is None:
                raise ValueError("name the receiver first")
            among = candidates(states_of(house), service, studio.bench(), today())
            text, items, _ = plan_text(service, among, today())
            params = {"plan": text}
            if must := musts(among):
                params["inside"] = "\n".join(must)
            if form.get("seconds", "").strip():
                params["seconds"] = form["seconds"].strip()
            parcelling.check(params)
        except ValueError as error:
            says = f"{error}"[:1].upper() + f"{error}"[1:].rstrip(".") + "."
            return _page(request, Refusal((Problem("plan", says),), values=form), "plan")
        day, service_id = today(), service.id

        def keep(run: Run) -> None:
            drafts = keeping.keep_plan(studio.bench(), run, service_id, items, day)
            studio.append(STUDIO, None, drafts, ACTOR)

        return _begin(house, PLAN, lambda: Planning(house, "The plan", params, keep))

    return await run_in_threadpool(done)


async def what_if(request: Request) -> Response:
    """Work the standing plan out with one thing changed, beside it and not kept."""
    sent = await read_form(request)

    def done() -> Response:
        house, form = house_of(request), dict(sent.texts)
        plan = house.studio.bench().plans.get(form.get("plan", ""))
        if plan is None:
            raise HTTPException(404, "That plan was set aside; work one out first.")
        try:
            params, says = changed(plan.run.params, form)
            parcelling.check(params)
        except Refusal as refusal:
            return _page(request, Refusal(refusal.problems, values=form), "what-if")
        except ValueError as error:
            says_no = f"{error}"[:1].upper() + f"{error}"[1:].rstrip(".") + "."
            return _page(request, Refusal((Problem("tier", says_no),), values=form), "what-if")

        def start() -> Planning:
            return Planning(house, "What if", params, asked=says, base=plan.id)

        return _begin(house, WHAT_IF, start)

    return await run_in_threadpool(done)


def _begin(house: House, key: str, start: Callable[[], Planning]) -> Response:
    if house.desk.begin(key, start):
        held = house.desk.held(key)
        assert isinstance(held, Planning)
        held.wait()
    return see(HOME + ("#what-if" if key == WHAT_IF else ""))


async def keep_asked(request: Request) -> Response:
    """Keep the plan that was asked about in place of the one that stands."""
    await read_form(request)

    def done() -> Response:
        house = house_of(request)
        studio, held = house.studio, house.desk.held(WHAT_IF)
        bench = studio.bench()
        if not isinstance(held, Planning) or held.run is None or held.base not in bench.plans:
            raise HTTPException(409, "There is no asked plan any more; ask again.")
        base = bench.plans[held.base]
        note = "what if: " + "; ".join(held.asked)
        drafts = keeping.keep_plan(bench, held.run, base.service, base.items, today(), note)
        studio.append(STUDIO, None, drafts, ACTOR)
        return see(HOME)

    return await run_in_threadpool(done)


async def stop(request: Request) -> Response:
    """Take the best plan so far."""
    sent = await read_form(request)
    held = house_of(request).desk.held(_key(sent.get("which")))
    if isinstance(held, Planning):
        held.stop()
        await run_in_threadpool(held.wait)
    return see(HOME)


async def seen(request: Request) -> Response:
    """Take away the note of what could not be done."""
    sent = await read_form(request)
    house_of(request).desk.clear(_key(sent.get("which")))
    return see(HOME)


def _key(which: str) -> str:
    return WHAT_IF if which == "what-if" else PLAN


def in_hand(request: Request) -> Response:
    """State of the search, not increments."""
    desk = house_of(request).desk
    return JSONResponse(told_json(desk.last(_key(request.query_params.get("which", "")))))


def sheet(request: Request) -> Response:
    """A packing list or a sheet of declared values, to print or as a table."""
    house = house_of(request)
    bench = house.studio.bench()
    kind, ext = request.path_params["kind"], request.path_params["ext"]
    parcel = bench.parcels.get(request.path_params["parcel"])
    if parcel is None or kind not in SHEETS or ext not in ("pdf", "csv"):
        raise HTTPException(404, "There is no such sheet; go back to the parcels.")
    made = sheet_of(kind, bench, parcel, states_of(house), today())
    named = f'attachment; filename="{parcel.id}-{kind}.{ext}"'
    if ext == "csv":
        body: bytes | str = csv_text(made["columns"], made["rows"])
        kind_of = "text/csv; charset=utf-8"
    else:
        body, kind_of = sheet_pdf(made, datetime.now(UTC)), "application/pdf"
    return Response(body, media_type=kind_of, headers={"content-disposition": named})


def _make(request: Request) -> Command:
    house = house_of(request)
    return lambda bench, form: keeping.make_parcel(bench, form, states_of(house))


async def make(request: Request) -> Response:
    """Make a parcel of the plan, or one by hand."""
    answer: Response = await _saver(_make(request), "kept")(request)  # type: ignore[misc]
    return answer


FORMS: dict[str, Command] = {
    "service": terms.set_service,
    "tier": terms.set_tier,
    "shipment": terms.set_parcel,
    "drop": terms.drop_row,
    "paste": terms.paste,
    "example": terms.begin_example,
    "item": terms.type_item,
    "change": lambda bench, form: keeping.change_parcel(bench, form, today()),
    "aside": keeping.aside,
}

routes = [
    Route(HOME, page),
    *(Route(f"{HOME}/{name}", _saver(act, name), methods=["POST"]) for name, act in FORMS.items()),
    Route(f"{HOME}/plan", work_out, methods=["POST"]),
    Route(f"{HOME}/what-if", what_if, methods=["POST"]),
    Route(f"{HOME}/what-if/keep", keep_asked, methods=["POST"]),
    Route(f"{HOME}/make", make, methods=["POST"]),
    Route(f"{HOME}/stop", stop, methods=["POST"]),
    Route(f"{HOME}/seen", seen, methods=["POST"]),
    Route(f"{HOME}/in-hand.json", in_hand),
    Route(f"{HOME}/kept/{{parcel}}/{{kind}}.{{ext}}", sheet),
]
