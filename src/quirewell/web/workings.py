"""Computations asked for on a page: their views, and the routes that keep them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.event import Draft
from quirewell.record.finding import Input
from quirewell.record.nouns import ItemState
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.working import WORKINGS, WorkingView, keep, work_out, working_view
from quirewell.studio.blobs import TooLarge
from quirewell.web.forms import Sent, read_form
from quirewell.web.house import house_of
from quirewell.web.saving import Again, save_texts, saver

LOG_BYTES = 128 * 1024**2


def views(state: ItemState, keys: Sequence[str]) -> dict[str, WorkingView]:
    """The computations of a page by their key."""
    return {key: working_view(state, key) for key in keys}


def routes_of(stage: str, keys: Sequence[str], again: Callable[[str], Again]) -> list[Route]:
    """A route for each computation of a stage's page."""

    def home(request: Request) -> str:
        return f"/item/{request.path_params['item']}/{stage}#working-{_key(request)}"

    out = []
    for key in keys:
        path = f"/item/{{item}}/{stage}/{key}"
        if any(box.kind == "file" for box in WORKINGS[key].boxes):
            out.append(Route(path, _with_file(key, home, again(key)), methods=["POST"]))
        else:
            out.append(Route(path, saver(keep(key), home, again, key), methods=["POST"]))
    return out


def _key(request: Request) -> str:
    return request.url.path.rsplit("/", 1)[1]


def _with_file(
    key: str, home: Callable[[Request], str], again: Again
) -> Callable[[Request], object]:
    """A route for a form with a file: kept byte for byte only when it could be read."""

    async def endpoint(request: Request) -> Response:
        sent = await read_form(request, most=LOG_BYTES, files=1)
        return await run_in_threadpool(_take, request, sent, key, home, again)

    return endpoint


def _take(
    request: Request, sent: Sent, key: str, home: Callable[[Request], str], again: Again
) -> Response:
    name = next(box.name for box in WORKINGS[key].boxes if box.kind == "file")
    studio = house_of(request).studio

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        if not sent.files:
            raise Refusal((Problem(name, "Choose the logger's file first."),), values=form)
        file = sent.files[0]
        bare = Path((file.filename or "").replace("\\", "/")).name[:120] or "log"
        try:
            with studio.blobs.staged(file.file, LOG_BYTES) as copy:
                inputs = (Input(name, bare, copy.sha256),)
                try:
                    drafts = work_out(state, key, form, {name: copy.path}, inputs)
                except Refusal as refusal:
                    raise _renamed(refusal, copy.path.name, bare) from refusal
                studio.blobs.keep(copy)
        except TooLarge as error:
            raise Refusal((Problem(name, f"{error}."),), values=form) from error
        return drafts

    try:
        return save_texts(request, dict(sent.texts), command, home(request), again)
    finally:
        for entry in sent.files:
            entry.file.close()


def _renamed(refusal: Refusal, ours: str, theirs: str) -> Refusal:
    """A refusal that speaks of the file by the name it came with."""
    problems = tuple(Problem(one.field, one.says.replace(ours, theirs)) for one in refusal.problems)
    return Refusal(problems, refusal.rule, refusal.values)
