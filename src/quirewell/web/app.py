"""The pages as one application over one studio folder."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from quirewell.jobs.runner import Runner
from quirewell.studio.elsewhere import opened_elsewhere
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from quirewell.web import errors
from quirewell.web.alarm import Alarm
from quirewell.web.copies import Copies
from quirewell.web.desk import Desk
from quirewell.web.gate import RoleGate
from quirewell.web.house import STATIC, House, islands_built
from quirewell.web.keeper import Keeper
from quirewell.web.lan import Lan
from quirewell.web.lan_door import LanDoor
from quirewell.web.request_log import RequestLog
from quirewell.web.routes import (
    after,
    archive,
    before,
    bench,
    books,
    buying,
    clients,
    condition,
    contact,
    copy,
    damage,
    decide,
    decisions,
    door,
    evidence,
    examine,
    finish,
    grade_rules,
    grid,
    intake,
    items,
    kept,
    link,
    look,
    money,
    owner,
    pairs,
    parcels,
    pictures,
    plan,
    press_bench,
    prove,
    recipes,
    rejoin,
    relief,
    report_read,
    search,
    send,
    share,
    show,
    source,
    today,
    treat,
    trial,
    work,
    wrong,
)
from quirewell.web.security import LocalOnly
from quirewell.web.show_mode import ShowMode

WORKERS = 2


def create_app(studio_folder: Path, workers: int = WORKERS) -> ASGIApp:
    """The application over the studio in ``studio_folder``, for its own machine only."""
    return local_door(build(studio_folder, workers))


def local_door(app: Starlette) -> ASGIApp:
    """The application as the machine itself reaches it."""
    return RequestLog(LocalOnly(app))


def tablets_door(app: Starlette, lan: Lan) -> ASGIApp:
    """The same application as tablets reach it, under TLS."""
    return RequestLog(LanDoor(app, lan))


def build(
    studio_folder: Path, workers: int = WORKERS, lan: Lan | None = None, alarm: Alarm | None = None,
    keeper: Keeper | None = None,
) -> Starlette:  # fmt: skip
    """The application behind its doors; the studio opens when the server starts. ``keeper`` makes
    backups by itself; without one they are made when a page asks for it."""
    backups = keeper or Keeper()

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        studio = Studio.open(studio_folder)
        runner = Runner(workers)
        app.state.house = House(studio, runner, Desk(), islands_built())
        if alarm is not None:
            alarm.start(studio)
        if keeper is not None:
            keeper.start(studio)
        try:
            with opened_elsewhere(runner.limited.opened):
                yield
        finally:
            if alarm is not None:
                await run_in_threadpool(alarm.stop)
            await run_in_threadpool(backups.stop)
            if lan is not None:
                await run_in_threadpool(lan.sessions.settle)
                await run_in_threadpool(lan.links.settle)
            await run_in_threadpool(app.state.house.desk.settle)
            runner.close()
            studio.close()

    app = Starlette(
        routes=[
            *items.routes,
            *search.routes,
            *bench.routes,
            *kept.routes,
            *archive.routes,
            *door.routes,
            *press_bench.routes,
            *grade_rules.routes,
            *recipes.routes,
            *grid.routes,
            *books.routes,
            *money.routes,
            *clients.routes,
            *intake.routes,
            *contact.routes,
            *condition.routes,
            *damage.routes,
            *examine.routes,
            *look.routes,
            *decide.routes,
            *decisions.routes,
            *today.routes,
            *treat.routes,
            *before.routes,
            *trial.routes,
            *rejoin.routes,
            *finish.routes,
            *report_read.routes,
            *copy.routes,
            *source.routes,
            *pairs.routes,
            *evidence.routes,
            *prove.routes,
            *pairs.last,
            *owner.routes,
            *after.routes,
            *share.routes,
            *link.routes,
            *send.routes,
            *show.routes,
            *parcels.routes,
            *plan.routes,
            *buying.routes,
            *relief.routes,
            *work.routes,
            *wrong.routes,
            *pictures.routes,
            Mount("/static", StaticFiles(directory=STATIC)),
        ],
        exception_handlers={
            HTTPException: errors.on_http,
            StudioError: errors.on_fault,
            Exception: errors.on_bug,
        },
        lifespan=lifespan,
        middleware=[Middleware(ShowMode), Middleware(RoleGate)],
    )
    app.state.lan = lan
    app.state.keeper = backups
    app.state.copies = Copies()
    return app
