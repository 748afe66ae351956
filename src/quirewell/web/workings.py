"""Computations asked for on a page: their views, and the routes that keep them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.jobs.runner import Runner
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.event import Draft
from quirewell.record.finding import Input, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.books_begin import from_books
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.tasks import LOOK_THROUGH, previews_of
from quirewell.stages.working import WorkingView, keep, newest, work_out, working_view
from quirewell.stages.working_rows import FILES, WORKINGS, Box
from quirewell.studio.blobs import Staged, TooLarge
from quirewell.studio.faults import DiskFault
from quirewell.studio.image_kind import ImageError
from quirewell.studio.store_faults import StoreFault
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.saving import Again, save_texts, saver

LOG_BYTES = 128 * 1024**2
PICTURE_BYTES = 256 * 1024**2


def views(
    state: ItemState, keys: Sequence[str], bench: BenchState = EMPTY_BENCH
) -> dict[str, WorkingView]:
    """The computations of a page by their key, begun with what the ``bench``'s books know."""
    return {key: working_view(state, key, known=from_books(state, bench, key)) for key in keys}


def routes_of(stage: str, keys: Sequence[str], again: Callable[[str], Again]) -> list[Route]:
    """A route for each computation of a stage's page."""

    def home(request: Request) -> str:
        return f"/item/{request.path_params['item']}/{stage}#working-{_key(request)}"

    out = []
    for key in keys:
        path = f"/item/{{item}}/{stage}/{key}"
        if _file_box(key) is not None:
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
        # A picture that is too large is refused where nothing typed is lost, so more is let in.
        most = UPLOAD_BYTES if _is_picture(key) else LOG_BYTES
        sent = await read_form(request, most=most, files=1)
        return await run_in_threadpool(_take, request, sent, key, home, again)

    return endpoint


def _file_box(key: str) -> Box | None:
    return next((box for box in WORKINGS[key].boxes if box.kind in FILES), None)


def _is_picture(key: str) -> bool:
    box = _file_box(key)
    return box is not None and box.kind == "picture"


def _take(
    request: Request, sent: Sent, key: str, home: Callable[[Request], str], again: Again
) -> Response:
    box = _file_box(key)
    assert box is not None
    name, house = box.name, house_of(request)
    studio = house.studio
    run_by = partial(_in_worker, house.runner) if _is_picture(key) else run_method

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        if not sent.files:
            return work_out(state, key, form, *_held(house, state, key, box, form), run_by)
        file = sent.files[0]
        bare = _bare(file.filename or "") or name
        file.file.seek(0)  # The command may be asked again when the record moved meanwhile.
        try:
            with studio.blobs.staged(
                file.file, PICTURE_BYTES if _is_picture(key) else LOG_BYTES
            ) as copy:
                inputs = (Input(name, bare, copy.sha256),)
                try:
                    if _is_picture(key):
                        _looked_through(house, copy, name, form)
                    drafts = work_out(state, key, form, {name: copy.path}, inputs, run_by)
                except Refusal as refusal:
                    raise _renamed(refusal, copy.path.name, bare) from refusal
                studio.blobs.keep(copy)
        except (TooLarge, DiskFault, StoreFault) as error:
            raise Refusal((Problem(name, f"{bare}: {error}."),), values=form) from error
        return drafts

    try:
        return save_texts(request, dict(sent.texts), command, home(request), again)
    finally:
        for entry in sent.files:
            entry.file.close()


def _bare(name: str) -> str:
    """The last part of a file's name as sent, without folders and control signs."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:120]


def _held(
    house: House, state: ItemState, key: str, box: Box, form: Mapping[str, str]
) -> tuple[dict[str, Path], tuple[Input, ...]]:
    """The file given before, where one may be left out and was not; nothing without one.

    Raises:
        Refusal: a file is needed.
    """
    if not box.narrows:
        raise Refusal((Problem(box.name, "Choose the logger's file first."),), values=dict(form))
    run = newest(state, WORKINGS[key])
    held = next((one for one in run.inputs if one.role == box.name), None) if run else None
    if held is None or not held.sha256 or form.get(f"leave.{box.name}"):
        return {}, ()
    return {box.name: house.studio.blobs.path(held.sha256)}, (held,)


def _looked_through(house: House, copy: Staged, name: str, form: Mapping[str, str]) -> None:
    """Decode a picture once in a worker, within a budget of memory and time, as every picture that
    comes in is; its previews are made at the same time.

    Raises:
        Refusal: in a sentence, when it is damaged, too large or no picture.
    """
    previews = previews_of(house.studio.derived, copy.sha256)
    try:
        house.runner.limited.opened(LOOK_THROUGH, str(copy.path), previews)
    except ImageError as error:
        says = str(error).rstrip(".")
        raise Refusal((Problem(name, f"{says}."),), values=dict(form)) from error


def _in_worker(
    runner: Runner, method: str, subject: str, files: Mapping[str, Path],
    inputs: tuple[Input, ...], params: Mapping[str, str],
) -> Run:  # fmt: skip
    """A method run in a worker where it reads a picture.

    Raises:
        ValueError: with the method's own sentence.
    """
    if not files:
        return run_method(method, subject, files, inputs, params)
    job = runner.submit(
        "quirewell.stages.methods.run_method", method, subject, dict(files), inputs, dict(params),
        urgent=True,
    ).wait()  # fmt: skip
    if job.state != "done":
        raise ValueError(job.error or "the work was stopped; ask for it again")
    run: Run = job.result
    return run


def _renamed(refusal: Refusal, ours: str, theirs: str) -> Refusal:
    """A refusal that speaks of the file by the name it came with."""
    problems = tuple(Problem(one.field, one.says.replace(ours, theirs)) for one in refusal.problems)
    return Refusal(problems, refusal.rule, refusal.values)
