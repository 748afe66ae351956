"""What a guest or an owner asks for, held against the table of roles; the bench passes.

A guest is told in words what is not shown. An owner who asks for anything but the report and the
pictures of their own item is told that there is nothing, as for an address that never was.
"""

from __future__ import annotations

from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from quirewell.record.nouns import ItemState
from quirewell.studio.faults import NoSuchItem
from quirewell.web import errors
from quirewell.web.house import House, house_of
from quirewell.web.links import Link
from quirewell.web.roles import LINKS, OPEN, OWNER, READ, ROLE, Addresses, link_for, may
from quirewell.web.sessions import BENCH, GUEST

NOT_SHOWN = (
    "This page is not shown to guests: it is about money or people, or it is for the work itself. "
    "A guest sees the record of the treatment."
)
NOT_SAVED = (
    "A guest changes nothing, so nothing was saved. Whoever works at the bench signs in with the "
    "bench's own passphrase."
)


@dataclass
class RoleGate:
    """Middleware before all routes; who is known as nobody sees only what is open to all."""

    app: ASGIApp

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope.get(ROLE) == BENCH:
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        method, role = scope["method"], scope.get(ROLE)
        found = addresses_of(request).matched(scope["path"])
        if not found.template and method in READ and role == GUEST:
            await self.app(scope, receive, send)
            return
        fine = may(role, method, found.template)
        if fine and role == OWNER and found.template not in OPEN:
            fine = await run_in_threadpool(
                _is_theirs, house_of(request), links_of(request), found.fills
            )
        if not fine:
            await _refused(request, role, method)(scope, receive, send)
            return
        if role == GUEST and found.template == "/":
            scope = {**scope, "query_string": _paged(request)}
        await self.app(scope, receive, send)


def _refused(request: Request, role: str | None, method: str) -> ASGIApp:
    if role != GUEST:
        return errors.told(request, 404, errors.NOT_FOUND)
    return errors.told(request, 403, NOT_SHOWN if method in READ else NOT_SAVED)


def _paged(request: Request) -> bytes:
    """Which part of a list is asked for, and no more: what a search finds would tell whose name
    stands in a record, though the name itself is hidden."""
    asked = request.query_params.get("page", "")
    return f"page={asked}".encode() if asked.isascii() and asked.isdigit() else b""


def addresses_of(request: Request) -> Addresses:
    """The routes of the application, asked by path."""
    held: Addresses | None = getattr(request.app.state, "addresses", None)
    if held is None:
        held = request.app.state.addresses = Addresses(request.app.routes)
    return held


def links_of(request: Request) -> tuple[Link, ...]:
    """The links that the asking browser holds."""
    held: tuple[Link, ...] = request.scope.get(LINKS, ())
    return held


def _is_theirs(house: House, links: tuple[Link, ...], fills: dict[str, str]) -> bool:
    if "item" in fills:
        return (
            link_for(links, fills["item"]) is not None and _state(house, fills["item"]) is not None
        )
    if "sha256" in fills:
        states = (_state(house, one.item) for one in links)
        return any(fills["sha256"] in _pictures(state) for state in states if state is not None)
    return False


def _state(house: House, item: str) -> ItemState | None:
    try:
        return house.studio.state(item)
    except NoSuchItem:
        return None


def _pictures(state: ItemState) -> set[str]:
    return {one.sha256 for one in state.captures.values()}


def sees(request: Request, path: str) -> bool:
    """Whether whoever asks could open another page, so that no link leads to a refusal."""
    role = request.scope.get(ROLE)
    if role == BENCH:
        return True
    found = addresses_of(request).matched(path)
    if not found.template or not may(role, "GET", found.template):
        return False
    if role == OWNER and found.template not in OPEN:
        return link_for(links_of(request), found.fills.get("item", "")) is not None
    return True
