"""The pages *Backups* and *How the studio is*; the line on the start page that leads to them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.clock import now
from quirewell.studio.disks import plugged_in, size_words
from quirewell.studio.faults import StudioError
from quirewell.studio.health import examine
from quirewell.studio.keep_setup import set_up
from quirewell.studio.keep_view import place_view
from quirewell.studio.keep_words import Standing, standing
from quirewell.studio.own_settings import Rotation
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.keeper import Keeper
from quirewell.web.lan import by_lan
from quirewell.web.page import render, see
from quirewell.web.roles import ROLE
from quirewell.web.sessions import BENCH
from quirewell.web.show_mode import showing

FORM_BYTES = 8 * 1024
HERE_ONLY = "Where backups go is set on the bench's own machine, not from a tablet."
NUMBERS = (
    ("daily", "days", 0, 1000), ("weekly", "weeks", 0, 1000), ("monthly", "months", 0, 1000),
    ("old_after", "days after which a backup is old", 1, 366),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Offer:
    """A folder on another disk that could be taken."""

    path: str
    says: str


def line(request: Request) -> Standing | None:
    """How the backups stand, for the start page; nothing for guests and in show mode."""
    if showing(request) or request.scope.get(ROLE, BENCH) != BENCH:
        return None
    studio = house_of(request).studio
    return standing(studio.folder, now(), studio.head(), studio.settings.opened_at)


def keeper_of(request: Request) -> Keeper:
    """What looks after the backups of this server."""
    keeper: Keeper = request.app.state.keeper
    return keeper


def page(request: Request) -> Response:
    """How the backups stand, where they are, what is kept."""
    return _page(request)


def _page(request: Request, refusal: Refusal | None = None) -> Response:
    studio = house_of(request).studio
    try:
        view = place_view(studio.folder, now(), studio.head(), studio.settings.opened_at)
        fault = ""
    except StudioError as error:
        view, fault = None, f"{error}."
    return render(
        request, "backups.html", refusal=refusal, view=view, fault=fault,
        busy=keeper_of(request).busy or (view is not None and view.busy),
        offers=() if view is not None and view.place else _offers(studio.folder),
        here_only=by_lan(request), folder=studio.folder.name,
    )  # fmt: skip


def _offers(studio: Path) -> tuple[Offer, ...]:
    return tuple(
        Offer(
            f"{disk.path.rstrip('/')}/quirewell",
            f"{disk.path} ({disk.kind}), {size_words(disk.free_bytes)} free",
        )
        for disk in plugged_in(studio)
    )


async def set_place(request: Request) -> Response:
    """Set up where the backups go, and begin the first."""
    if by_lan(request):
        raise HTTPException(403, HERE_ONLY)
    sent = await read_form(request, most=FORM_BYTES)

    def done() -> Response:
        studio = house_of(request).studio
        values = dict(sent.texts)
        typed = sent.get("place") or sent.get("offer")
        try:
            numbers = _numbers(values)
            if not typed or not Path(typed).is_absolute():
                raise StudioError(
                    "give the whole path of a folder on another disk, such as /media/disk/quirewell"
                )
            rotation = Rotation(numbers["daily"], numbers["weekly"], numbers["monthly"])
            set_up(studio.folder, Path(typed), rotation, numbers["old_after"])
        except (StudioError, OSError) as error:
            says = str(error)
            problem = Problem("place", f"{says[:1].upper()}{says[1:]}".rstrip(".") + ".")
            return _page(request, Refusal((problem,), "", values))
        keeper_of(request).begin(studio.folder)
        return see("/backups")

    return await run_in_threadpool(done)


def _numbers(values: dict[str, str]) -> dict[str, int]:
    found = {}
    for name, words, least, most in NUMBERS:
        text = values.get(name, "").strip()
        if not (text.isascii() and text.isdigit() and len(text) < 6):
            raise StudioError(f"the number of {words} must be a whole number, got {text[:20]!r}")
        if not least <= int(text) <= most:
            raise StudioError(f"the number of {words} must be from {least} to {most}")
        found[name] = int(text)
    return found


async def make_now(request: Request) -> Response:
    """Begin a backup and come back at once; one that runs already goes on."""
    await read_form(request, most=FORM_BYTES)
    await run_in_threadpool(keeper_of(request).begin, house_of(request).studio.folder)
    return see("/backups")


def health(request: Request) -> Response:
    """A line for everything that was looked at, the worst first."""
    found = examine(house_of(request).studio.folder)
    rows = sorted(found.rows, key=lambda row: ("wrong", "look", "fine").index(row.level))
    return render(
        request, "health.html", health=found, rows=rows,
        folder=house_of(request).studio.folder.name,
    )  # fmt: skip


routes = [
    Route("/backups", page, methods=["GET"]),
    Route("/backups/place", set_place, methods=["POST"]),
    Route("/backups/now", make_now, methods=["POST"]),
    Route("/bench/health", health),
]
