"""The pages as one application over one studio folder."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from quirewell.jobs.runner import Runner
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from quirewell.web import errors
from quirewell.web.alarm import Alarm
from quirewell.web.desk import Desk
from quirewell.web.house import STATIC, House, islands_built
from quirewell.web.lan import Lan
from quirewell.web.lan_door import LanDoor
from quirewell.web.routes import (
    before,
    bench,
    books,
    buying,
    clients,
    condition,
    contact,
    damage,
    decide,
    decisions,
    door,
    examine,
    finish,
    grade_rules,
    grid,
    intake,
    items,
    look,
    money,
    owner,
    parcels,
    pictures,
    plan,
    press_bench,
    prove,
    recipes,
    rejoin,
    relief,
    send,
    today,
    treat,
    trial,
    work,
    wrong,
)
from quirewell.web.security import LocalOnly

WORKERS = 2


def create_app(studio_folder: Path, workers: int = WORKERS) -> ASGIApp:
    """The application over the studio in ``studio_folder``, for its own machine only."""
    return local_door(build(studio_folder, workers))


def local_door(app: Starlette) -> ASGIApp:
    """The application as the machine itself reaches it."""
    return LocalOnly(app)


def tablets_door(app: Starlette, lan: Lan) -> ASGIApp:
    """The same application as tablets reach it, under TLS."""
    return LanDoor(app, lan)


def build(
    studio_folder: Path, workers: int = WORKERS, lan: Lan | None = None, alarm: Alarm | None = None
) -> Starlette:
    """The application behind its doors; the studio opens when the server starts."""

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        studio = Studio.open(studio_folder)
        runner = Runner(workers)
        app.state.house = House(studio, runner, Desk(), islands_built())
        if alarm is not None:
            alarm.start(studio)
        try:
            yield
        finally:
            if alarm is not None:
                await run_in_threadpool(alarm.stop)
            if lan is not None:
                await run_in_threadpool(lan.sessions.settle)
            await run_in_threadpool(app.state.house.desk.settle)
            runner.close()
            studio.close()

    app = Starlette(
        routes=[
            *items.routes,
            *bench.routes,
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
            *prove.routes,
            *owner.routes,
            *send.routes,
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
    )
    app.state.lan = lan
    return app
