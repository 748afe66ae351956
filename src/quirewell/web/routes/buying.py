"""Buying: things looked at, the seller's photographs, what to ask, the highest bid."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.bench import BenchState
from quirewell.record.books import Offer
from quirewell.record.event import Draft
from quirewell.stages import buying
from quirewell.stages.bid_told import rough
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.taking_in import Source, take_in
from quirewell.stages.tasks import LOOK_THROUGH, previews_of
from quirewell.studio.blobs import TooLarge
from quirewell.studio.faults import DiskFault
from quirewell.studio.store_faults import StoreFault
from quirewell.studio.studio import STUDIO
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render, see
from quirewell.web.saving import ACTOR

HOME = "/buying"
PICTURE_BYTES = 64 * 1024**2
Command = Callable[[BenchState, Offer, dict[str, str]], tuple[Draft, ...]]


def today() -> str:
    """The day, as a record keeps it."""
    return datetime.now(UTC).date().isoformat()


def page(request: Request) -> Response:
    """All that was looked at."""
    return _page(request, None)


def _page(request: Request, refusal: Refusal | None) -> Response:
    rows = buying.offers_view(house_of(request).studio.bench())
    return render(request, "buying.html", refusal=refusal, offers=rows)


def offer_page(request: Request) -> Response:
    """One offer."""
    return _offer(request, None, "")


def _offer(request: Request, refusal: Refusal | None, action: str) -> Response:
    bench = house_of(request).studio.bench()
    seen = buying.offer_view(bench, _held(bench, request))
    return render(
        request, "offer.html", refusal=refusal, action=action, view=seen, boxes=buying.BOXES,
        said=buying.SAID, today=today(), rough=rough,
    )  # fmt: skip


def _held(bench: BenchState, request: Request) -> Offer:
    offer = bench.offers.get(request.path_params["offer"])
    if offer is None:
        raise HTTPException(404, "There is no such offer; it may have been set aside.")
    return offer


async def add(request: Request) -> Response:
    """Begin with something that is offered."""
    sent = await read_form(request)

    def done() -> Response:
        studio = house_of(request).studio
        texts = dict(sent.texts)
        try:
            offer_id, drafts = buying.look_at(studio.bench(), {"day": today(), **texts})
        except Refusal as refusal:
            return _page(request, refusal)
        studio.append(STUDIO, None, drafts, ACTOR)
        return see(f"{HOME}/{offer_id}")

    return await run_in_threadpool(done)


async def aside(request: Request) -> Response:
    """Set an offer aside."""
    sent = await read_form(request)

    def done() -> Response:
        studio = house_of(request).studio
        try:
            studio.append(STUDIO, None, buying.set_aside(studio.bench(), sent.texts), ACTOR)
        except Refusal as refusal:
            return _page(request, refusal)
        return see(HOME)

    return await run_in_threadpool(done)


def _saver(command: Command, action: str, part: str = "") -> Callable[[Request], object]:
    async def save(request: Request) -> Response:
        sent = await read_form(request)

        def done() -> Response:
            studio = house_of(request).studio
            bench = studio.bench()
            offer, texts = _held(bench, request), {**sent.texts, "today": today()}
            try:
                studio.append(STUDIO, None, command(bench, offer, texts), ACTOR)
            except Refusal as refusal:
                return _offer(request, refusal, action)
            return see(f"{HOME}/{offer.id}{part}")

        return await run_in_threadpool(done)

    return save


async def pictures(request: Request) -> Response:
    """Take in a seller's photographs: each looked through in a worker before it is kept."""
    sent = await read_form(request, most=UPLOAD_BYTES, files=5 * buying.MOST_PICTURES)
    return await run_in_threadpool(_take, request, sent)


def _take(request: Request, sent: Sent) -> Response:
    house = house_of(request)
    offer = _held(house.studio.bench(), request)
    problems: list[Problem] = []
    kept: list[str] = []
    try:
        if not sent.files:
            problems.append(Problem("files", "No photograph was chosen; choose one or more."))
        for entry in sent.files:
            if len(set(offer.pictures) | set(kept)) >= buying.MOST_PICTURES:
                says = f"At most {buying.MOST_PICTURES} photographs go with an offer."
                problems.append(Problem("files", says))
                break
            name = _bare(entry.filename or "") or "a photograph"
            try:
                with house.studio.blobs.staged(entry.file, PICTURE_BYTES) as copy:
                    _looked_through(house, str(copy.path), copy.sha256)
                    kept.append(house.studio.blobs.keep(copy))
            except (TooLarge, DiskFault, StoreFault, ValueError) as error:
                says = f"{error}".replace(copy.path.name, name).rstrip(".")
                problems.append(Problem("files", f"{name} was not taken in: {says}."))
    finally:
        for entry in sent.files:
            entry.file.close()
    if kept:
        newest = _held(house.studio.bench(), request)
        drafts = buying.add_pictures(newest, tuple(kept))
        house.studio.append(STUDIO, None, drafts, ACTOR)
    if problems:
        return _offer(request, Refusal(tuple(problems), values=dict(sent.texts)), "pictures")
    return see(f"{HOME}/{offer.id}#pictures")


def _looked_through(house: House, path: str, sha256: str) -> None:
    """Decode a picture once, within a budget of memory and time; its previews are made too.

    Raises:
        ValueError: in a sentence, when it is damaged, too large or no picture.
    """
    previews = previews_of(house.studio.derived, sha256)
    house.runner.limited.opened(LOOK_THROUGH, path, previews)


def _bare(name: str) -> str:
    """The last part of a file's name as sent, without folders and control signs."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:120]


async def bought(request: Request) -> Response:
    """Open an item for what was bought: cost, remarks and photographs go over."""
    sent = await read_form(request)
    return await run_in_threadpool(_buy, request, sent)


def _buy(request: Request, sent: Sent) -> Response:
    house = house_of(request)
    studio = house.studio
    bench = studio.bench()
    offer = _held(bench, request)
    item_id = studio.new_id(offer.title)
    try:
        drafts, kept = buying.bought(bench, offer, item_id, dict(sent.texts))
    except Refusal as refusal:
        return _offer(request, refusal, "bought")
    sources = [
        Source(buying.picture_name(number), studio.blobs.path(sha256))
        for number, sha256 in enumerate(offer.pictures, 1)
        if studio.blobs.has(sha256)
    ]
    studio.append(item_id, 0, drafts, actor=ACTOR)
    studio.append(STUDIO, None, (kept,), ACTOR)
    take_in(studio, item_id, sources, runner=house.runner, actor=ACTOR)
    return see(f"/item/{item_id}")


routes = [
    Route(HOME, page, methods=["GET"]),
    Route(HOME, add, methods=["POST"]),
    Route(f"{HOME}/aside", aside, methods=["POST"]),
    Route(f"{HOME}/{{offer}}", offer_page, methods=["GET"]),
    Route(f"{HOME}/{{offer}}", _saver(buying.note, "note", "#bid"), methods=["POST"]),
    Route(f"{HOME}/{{offer}}/pictures", pictures, methods=["POST"]),
    Route(
        f"{HOME}/{{offer}}/leave",
        _saver(lambda _, offer, form: buying.leave_picture(offer, form), "pictures", "#pictures"),
        methods=["POST"],
    ),
    Route(
        f"{HOME}/{{offer}}/state",
        _saver(lambda _, offer, form: buying.move(offer, form), "state"),
        methods=["POST"],
    ),
    Route(f"{HOME}/{{offer}}/bought", bought, methods=["POST"]),
]
