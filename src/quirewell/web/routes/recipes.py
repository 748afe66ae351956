"""Courses of treatment: the list, one course in one of its editions, and changing it as text."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.event import Draft
from quirewell.stages import recipe_keep as stage
from quirewell.stages import recipe_told as told
from quirewell.stages.cautions import LOCAL_CODES
from quirewell.stages.course import Course
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

HOME = "/recipes"
Command = Callable[[BenchState, dict[str, str]], tuple[Draft, ...]]
Page = Callable[[Request, Refusal | None], Response]


def page(request: Request) -> Response:
    """Every course with its steps."""
    return _list(request, None)


def _list(request: Request, refusal: Refusal | None) -> Response:
    bench = house_of(request).studio.bench()
    return render(
        request, "recipes.html", refusal=refusal, courses=told.all_told(bench), guide=told.GUIDE,
        begin=told.START,
    )  # fmt: skip


def one(request: Request) -> Response:
    """One course, in its newest edition or the one asked for."""
    return _one(request, None)


def _found(bench: BenchState, key: str, edition: str) -> Course:
    course = stage.course_of(bench, f"{key}@{edition}" if edition else key)
    if course is None and not edition and (every := stage.editions(bench, key)):
        course = every[-1]
    if course is None or course.key != key:
        raise HTTPException(404, "There is no such course, or no such edition of it.")
    return course


def _one(request: Request, refusal: Refusal | None) -> Response:
    bench = house_of(request).studio.bench()
    key = request.path_params["key"]
    course = _found(bench, key, request.query_params.get("edition", "")[:9])
    every = told.editions_told(bench, key)
    return render(
        request, "recipe.html", refusal=refusal, seen=told.told(bench, course), every=every,
        newest=every[0].edition, guide=told.GUIDE, local_codes=LOCAL_CODES,
    )  # fmt: skip


def _saver(command: Command, again: Page, back: Callable[[Request, str], str]) -> object:
    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio = house_of(request).studio
            key = request.path_params.get("key", "")
            day = datetime.now(UTC).date().isoformat()
            texts = {**sent.texts, "key": key, "today": day}
            try:
                drafts = command(studio.bench(), texts)
                studio.append(STUDIO, None, drafts, ACTOR)
            except Refusal as refusal:
                return again(request, refusal)
            return see(back(request, str(drafts[0].body["key"])))

        return await run_in_threadpool(done)

    return save


def toml(request: Request) -> Response:
    """An edition's text as a file."""
    key, edition = request.path_params["key"], request.path_params["edition"]
    course = _found(house_of(request).studio.bench(), key, edition)
    named = f'attachment; filename="{course.key}.{course.edition}.toml"'
    headers = {"Content-Disposition": named}
    return Response(course.text, media_type="application/toml", headers=headers)


def _course_page(request: Request, key: str) -> str:
    return f"{HOME}/{key}"


routes = [
    Route(HOME, page, methods=["GET"]),
    Route(HOME, _saver(stage.keep_course, _list, _course_page), methods=["POST"]),  # type: ignore[arg-type]
    Route(f"{HOME}/{{key}}", one, methods=["GET"]),
    Route(f"{HOME}/{{key}}", _saver(stage.keep_course, _one, _course_page), methods=["POST"]),  # type: ignore[arg-type]
    Route(f"{HOME}/{{key}}/aside", _saver(stage.set_aside, _one, _course_page), methods=["POST"]),  # type: ignore[arg-type]
    Route(f"{HOME}/{{key}}/{{edition}}.toml", toml, methods=["GET"]),
]
