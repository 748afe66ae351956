"""The plan of the bench: what is done when, the evening's answers, worked out anew as it goes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.benchwork import BenchPlan
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.report.day_sheet import day_sheet_pdf
from quirewell.stages import bench_planning, gantt, plan_progress
from quirewell.stages import plan_keeping as keeping
from quirewell.stages.all_items import PLAN, items_to_plan
from quirewell.stages.plan_ics import calendar
from quirewell.stages.plan_view import CHANGES, PRESETS, view
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.clock import instant_text
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import STUDIO
from quirewell.web.bench_work import BENCH, BenchPlanning
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR
from quirewell.web.work_told import told_json

HOME = "/plan"
Form = dict[str, str]
Command = Callable[[BenchState, Form], tuple[Draft, ...]]


def this_minute() -> datetime:
    """The moment, to the minute, in UTC."""
    return datetime.now(UTC).replace(second=0, microsecond=0)


def states_of(house: House) -> list[ItemState]:
    """Every item of the studio, as far as a plan reads it."""
    return house.studio.states(*PLAN)


def page(request: Request) -> Response:
    """The plan that stands, or what to do to get one."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house, asked = house_of(request), request.query_params
    bench = house.studio.bench()
    wanted, item, no_such = asked.get("item", "").strip()[:200], "", ""
    if wanted:
        try:
            item = house.studio.find(wanted) or ""
            no_such = "" if item else f"There is no item {wanted!r}; give its title or its id."
        except StudioError as error:
            no_such = f"{error}."
    earlier = bench.bench_plans.get(asked.get("plan", ""))
    also = [item, *(earlier.items.values() if earlier is not None else ())]
    also += refusal.values.get("items", "").split() if refusal else []
    states = items_to_plan(house.studio, bench, also)
    by: gantt.By = "equipment" if asked.get("by") == "equipment" else "sheets"
    seen = view(
        bench, states, this_minute(), by=by,
        until=asked.get("until", "")[:40], plan_id=asked.get("plan", ""),
    )  # fmt: skip
    return render(
        request, "plan.html", refusal=refusal, action=action, view=seen, by=by,
        search=house.desk.view(BENCH), presets=PRESETS, changes=CHANGES,
        item=item, no_such=no_such, wanted=wanted, others=house.studio.count() - len(states),
    )  # fmt: skip


async def work_out(request: Request) -> Response:
    """Look for a plan in a worker; a small one is there at once."""
    sent = await read_form(request)

    def done() -> Response:
        house, form, now = house_of(request), dict(sent.texts), this_minute()
        form["at"] = now.isoformat()
        try:
            params = keeping.ask(house.studio.bench(), states_of(house), form)
        except Refusal as refusal:
            return _page(request, Refusal(refusal.problems, values=form), "choose")
        return _begin(house, params, now, None)

    return await run_in_threadpool(done)


async def again(request: Request) -> Response:
    """Work the plan that stands out anew, from what really happened."""
    await read_form(request)

    def done() -> Response:
        house, now = house_of(request), this_minute()
        plan = keeping.newest(house.studio.bench())
        if plan is None:
            raise HTTPException(404, "There is no plan yet; work one out first.")
        try:
            params = plan_progress.replan(plan, states_of(house), now.isoformat())
            bench_planning.check(params)
        except ValueError as error:
            says = f"{error}"[:1].upper() + f"{error}"[1:].rstrip(".") + "."
            return _page(request, Refusal((Problem("again", says),)), "again")
        return _begin(house, params, now, plan)

    return await run_in_threadpool(done)


def _begin(house: House, params: Form, now: datetime, before: BenchPlan | None) -> Response:
    studio, at = house.studio, instant_text(now)

    def keep(run: Run) -> None:
        note = ""
        if before is not None:
            note = plan_progress.moved(keeping.told_of(before), bench_planning.as_json(run))
        items = before.items if before is not None else {}
        studio.append(STUDIO, None, keeping.keep(studio.bench(), run, items, at, note), ACTOR)

    if house.desk.begin(BENCH, lambda: BenchPlanning(house, "The plan", params, keep)):
        held = house.desk.held(BENCH)
        assert isinstance(held, BenchPlanning)
        held.wait()
    return see(HOME)


async def stop(request: Request) -> Response:
    """Take the best plan so far."""
    await read_form(request)
    held = house_of(request).desk.held(BENCH)
    if isinstance(held, BenchPlanning):
        held.stop()
        await run_in_threadpool(held.wait)
    return see(HOME)


async def seen(request: Request) -> Response:
    """Take away the note of what could not be done."""
    await read_form(request)
    house_of(request).desk.clear(BENCH)
    return see(HOME)


def in_hand(request: Request) -> Response:
    """State of the search, not increments."""
    return JSONResponse(told_json(house_of(request).desk.last(BENCH)))


def _saver(command: Command, action: str) -> Callable[[Request], object]:
    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio, form = house_of(request).studio, dict(sent.texts)
            try:
                studio.append(STUDIO, None, command(studio.bench(), form), ACTOR)
            except Refusal as refusal:
                return _page(request, Refusal(refusal.problems, values=form), action)
            return see(f"{HOME}#{action}")

        return await run_in_threadpool(done)

    return save


def _plan_of(request: Request) -> tuple[BenchState, BenchPlan]:
    bench = house_of(request).studio.bench()
    plan = bench.bench_plans.get(request.query_params.get("plan", ""), keeping.newest(bench))
    if plan is None or not keeping.told_of(plan)["steps"]:
        raise HTTPException(404, "There is no plan with steps; work one out first.")
    return bench, plan


def calendar_file(request: Request) -> Response:
    """The sittings as a calendar; each plan of the same work moves the events of the one before."""
    bench, plan = _plan_of(request)
    start, text = keeping.told_of(plan)["start"], b""
    for one in bench.bench_plans.values():
        told = keeping.told_of(one)
        if told["start"] == start and told["steps"] and one.items == plan.items:
            text = calendar(told, datetime.fromisoformat(one.at.replace("Z", "+00:00")), text)
        if one.id == plan.id:
            break
    return _file(text, "text/calendar; charset=utf-8", "bench-plan.ics")


def day_pdf(request: Request) -> Response:
    """One day of the plan to print, with blanks to tick and write."""
    bench, plan = _plan_of(request)
    told = plan_progress.standing(keeping.told_of(plan), states_of(house_of(request)))
    try:
        day = date.fromisoformat(request.path_params["day"])
        made = day_sheet_pdf(told, day, bench, datetime.now(UTC))
    except ValueError as error:
        raise HTTPException(404, "The plan has nothing on such a day.") from error
    return _file(made, "application/pdf", f"bench-{day}.pdf")


def _file(body: bytes, kind: str, name: str) -> Response:
    named = f'attachment; filename="{name}"'
    return Response(body, media_type=kind, headers={"content-disposition": named})


routes = [
    Route(HOME, page),
    Route(f"{HOME}/work-out", work_out, methods=["POST"]),
    Route(f"{HOME}/again", again, methods=["POST"]),
    Route(f"{HOME}/stop", stop, methods=["POST"]),
    Route(f"{HOME}/seen", seen, methods=["POST"]),
    Route(f"{HOME}/in-hand.json", in_hand),
    Route(f"{HOME}/bench", _saver(keeping.set_shop, "bench"), methods=["POST"]),
    Route(f"{HOME}/aside", _saver(keeping.aside, "plan"), methods=["POST"]),
    Route(f"{HOME}/calendar.ics", calendar_file),
    Route(f"{HOME}/day/{{day}}.pdf", day_pdf),
]
