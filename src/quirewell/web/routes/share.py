"""Share an item: first a plan of what would be in and what not, then the folder as a zip, and the
page as one file. What was made lies with what can be made again, never in the record."""

from __future__ import annotations

import json
import re
import secrets
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from quirewell.exchange.share import ONE_FILE, NotShared, write_share, zipped
from quirewell.exchange.share_film import NoFilm
from quirewell.exchange.share_page import size_words
from quirewell.exchange.share_plan import (
    FILMS,
    READ_THEM,
    Plan,
    Wanted,
    make_plan,
    shots_of,
)
from quirewell.record.nouns import ItemState
from quirewell.stages.refusal import Problem, Refusal
from quirewell.web.desk import Says
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item, see

FILM_WORDS = (("webm", "WebM"), ("gif", "GIF"), ("none", "none"))
KEPT = 3
_NAME = re.compile(r"[0-9a-f]{12}")
_ASKED = "asked.json"


@dataclass(frozen=True, slots=True)
class Done:
    """Something made before, newest first: its name, and how large its files are."""

    name: str
    zip_size: str
    one_size: str


def page(request: Request) -> Response:
    """The plan as it was asked for last, or as it begins."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    asked = _asked(house, state)
    return _page(request, state, make_plan(state, house.studio.bench(), wanted_of(state, asked)))


def _page(
    request: Request, state: ItemState, plan: Plan, problems: tuple[str, ...] = ()
) -> Response:
    house = house_of(request)
    refusal = Refusal(tuple(Problem("", one) for one in problems)) if problems else None
    return render_item(
        request, "share.html", state, "send", refusal=refusal, plan=plan, films=FILM_WORDS,
        mind=READ_THEM, done_before=_made(house, state), here=f"/item/{state.id}/send/share",
        lines=plan.listing.splitlines(),
    )  # fmt: skip


def wanted_of(state: ItemState, texts: Mapping[str, str]) -> Wanted:
    """What a form of this page asks for; an empty one asks for the usual."""
    if not texts:
        return Wanted(one_file=True)
    keys = [one.key for one in shots_of(state)]
    film = texts.get("film", "")
    captions = {
        key: texts[f"caption:{key}"] for key in keys if texts.get(f"caption:{key}", "").strip()
    }
    return Wanted(
        tuple(key for key in keys if texts.get(f"in:{key}")), captions, texts.get("title", ""),
        next((one for one in FILMS if one == film), "webm"), bool(texts.get("plates")),
        bool(texts.get("one_file")), bool(texts.get("title_seen")),
    )  # fmt: skip


async def look(request: Request) -> Response:
    """The plan with what was ticked and typed; nothing is made."""
    sent = await read_form(request)
    return await run_in_threadpool(_look, request, dict(sent.texts))


def _look(request: Request, texts: dict[str, str]) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    plan = make_plan(state, house.studio.bench(), wanted_of(state, texts))
    return _page(request, state, plan, plan.problems)


async def make(request: Request) -> Response:
    """Make it, if nothing speaks against it and every caption was seen."""
    sent = await read_form(request)
    return await run_in_threadpool(_make, request, dict(sent.texts))


def _make(request: Request, texts: dict[str, str]) -> Response:
    house = house_of(request)
    state, bench = house.item(request.path_params["item"]), house.studio.bench()
    wanted = wanted_of(state, texts)
    plan = make_plan(state, bench, wanted)
    unseen = [one.name for one in plan.shots if f"caption:{one.key}" not in texts]
    problems = [*plan.problems, *(() if wanted.title_seen else plan.asks)]
    if unseen:
        problems.append(
            f"These came in just now, and their captions were not shown yet: {', '.join(unseen)}. "
            "Read them below, then make it."
        )
    if problems:
        return _page(request, state, plan, tuple(problems))
    home = _home(house, state)
    home.mkdir(parents=True, exist_ok=True)
    (home / _ASKED).write_text(json.dumps(texts), encoding="utf-8")

    def act(says: Says) -> str:
        name = secrets.token_hex(6)
        folder = home / name
        try:
            shared = write_share(plan, state, bench, house.studio.blobs.path, folder, says)
            says("packing")
            zipped(shared, home / f"{name}.zip")
            if wanted.one_file:
                shutil.copyfile(folder / ONE_FILE, home / f"{name}.html")
        except (NotShared, NoFilm) as error:
            raise ValueError(str(error)) from error
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        _tidy(home)
        return name

    house.desk.errand(state.id, "Making the folder to share", act)
    return see(f"/item/{state.id}/send/share")


def _home(house: House, state: ItemState) -> Path:
    return house.studio.derived / "shared" / state.id


def _asked(house: House, state: ItemState) -> dict[str, str]:
    """What was asked for last; nothing where it cannot be read."""
    try:
        held = json.loads((_home(house, state) / _ASKED).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(key): str(text) for key, text in held.items()} if isinstance(held, dict) else {}


def _zips(home: Path) -> list[Path]:
    found = [path for path in home.glob("*.zip") if _NAME.fullmatch(path.stem)]
    return sorted(found, key=lambda path: path.stat().st_mtime_ns, reverse=True)


def _tidy(home: Path) -> None:
    """Keep the newest few only."""
    for old in _zips(home)[KEPT:]:
        old.with_suffix(".html").unlink(missing_ok=True)
        old.unlink(missing_ok=True)


def _made(house: House, state: ItemState) -> tuple[Done, ...]:
    out = []
    for path in _zips(_home(house, state)):
        one = path.with_suffix(".html")
        size = size_words(one.stat().st_size) if one.is_file() else ""
        out.append(Done(path.stem, size_words(path.stat().st_size), size))
    return tuple(out)


def fetch(request: Request) -> Response:
    """The zip, or the page as one file; kept on the device, not opened here."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    name, kind = request.path_params["name"], request.path_params["kind"]
    path = _home(house, state) / f"{name}.{kind}"
    if not _NAME.fullmatch(name) or kind not in ("zip", "html") or not path.is_file():
        raise HTTPException(404, "It is not kept here any more; make it again.")
    media = "application/zip" if kind == "zip" else "application/octet-stream"
    return FileResponse(path, media_type=media, filename=f"share.{kind}")


routes = [
    Route("/item/{item}/send/share", page),
    Route("/item/{item}/send/share", make, methods=["POST"]),
    Route("/item/{item}/send/share/plan", look, methods=["POST"]),
    Route("/item/{item}/send/share/{name}.{kind}", fetch),
]
