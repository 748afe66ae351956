"""Show mode: while filming or teaching, names and prices are taken out of every page on the server.

A switch of the browser (a cookie) and of nobody else; it stands in no record. Every answer passes
here: pages, drawings and data are looked through, pages that are about money or people are replaced
by a sentence, and what cannot be looked through (PDF, tables, archives) is refused with one.

Guests and owners pass the same filter always, whatever their browser asks for; their pages lose
what would be refused as well (`visitor_page.py`).
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from decimal import Decimal
from html import escape

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from quirewell.stages.all_items import HIDDEN, RUNS
from quirewell.studio.studio import Studio
from quirewell.web import errors
from quirewell.web.gate import links_of, sees
from quirewell.web.house import House, house_of
from quirewell.web.roles import OWNER, ROLE
from quirewell.web.sessions import BENCH
from quirewell.web.show_hide import Hidden, hidden_of, hide_data, hide_page, sums_in
from quirewell.web.visitor_page import visitor_page

COOKIE, ON = "quirewell-show", "yes"
SWITCH = "/show-mode"
CLOSED = re.compile(
    r"/(?:books|parcels|clients|buying|offers?|decisions|backups|bench/health)(?:/.*)?"
    r"|/item/[^/]+/(?:money|owner|send/link)(?:/.*)?"
)
# The one file that may go out, since it is set without anything private (`copies.py`).
TAKEN_OUT = re.compile(r"/item/[^/]+/report/copy/(?:short|full)\.pdf")
HEADING = "Hidden in show mode"
HIDDEN_PAGE = (
    "This page is about money or people, so it is not shown in show mode. Leave show mode to see "
    "it again."
)
NO_FILE = (
    "A file may hold names and prices, and they cannot be taken out of it, so none is given out in "
    "show mode. Leave show mode to fetch it."
)
NO_VISITORS_FILE = (
    "A file may hold names and prices, and they cannot be taken out of it, so none is given out "
    "here. Ask at the bench for it."
)
LINE = "Show mode: names and prices are hidden"
GUEST_LINE = "You are here as a guest: you read, and change nothing. Names and prices are hidden."
OWNER_LINE = "The report on one item, shown by its bench until {}. Names and prices are hidden."
_PASSED = ("image/", "text/css", "text/javascript", "application/javascript", "font/")
_LOOKED = ("text/html", "image/svg+xml", "application/json", "text/plain")
_FORM = re.compile(r'<form\b[^>]*id="show-mode".*?</form>', re.DOTALL)


def showing(request: Request) -> bool:
    """Whether this browser is in show mode."""
    return request.cookies.get(COOKIE) == ON


@dataclass
class ShowMode:
    """Middleware around all routes; what it looks for is read anew when the journal moved."""

    app: ASGIApp
    _known: dict[str, Hidden] = field(default_factory=dict)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request, path = Request(scope), scope["path"]
        visits = is_visitor(request)
        if path.startswith("/static/") or not (visits or showing(request)):
            await self.app(scope, receive, send)
            return
        if path == SWITCH and not visits:
            await self.app(scope, receive, send)
            return
        if CLOSED.fullmatch(path) and not visits:
            hidden = await run_in_threadpool(self._hidden, house_of(request))
            answer = errors.told(request, 403, HIDDEN_PAGE)
            told = bytes(answer.body).decode().replace(errors.HEADINGS[403], HEADING)
            page = _page(request, told, hidden, False)
            answer.body = page.encode()
            answer.headers["content-length"] = str(len(answer.body))
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, _Looked(self, request, receive, send))

    def _hidden(self, house: House) -> Hidden:
        head = house.studio.head()
        held = self._known.get(head)
        if held is None:
            held = hidden_now(house.studio)
            self._known = {head: held}
        return held


def hidden_now(studio: Studio) -> Hidden:
    """What a studio has to hide; the runs of each item are read once and let go again."""

    def in_runs(units: tuple[str, ...]) -> set[Decimal]:
        found = studio.each(
            "sums in runs", RUNS, lambda state: sums_in(state.runs.values(), units), repr(units)
        )
        return set().union(*found.values())

    return hidden_of(studio.states(*HIDDEN), studio.bench(), in_runs)


class _Looked:
    """Takes an answer in whole where it is looked through, and lets pictures and scripts pass."""

    def __init__(self, mode: ShowMode, request: Request, receive: Receive, send: Send) -> None:
        self._mode, self._request, self._receive, self._send = mode, request, receive, send
        self._start: Message | None = None
        self._kind, self._body, self._refused = "", bytearray(), False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = Headers(raw=message["headers"])
            self._kind = headers.get("content-type", "").split(";")[0].strip().lower()
            file = "attachment" in headers.get("content-disposition", "").lower()
            looked = self._kind in _LOOKED and not file
            passed = not self._kind or (self._kind.startswith(_PASSED) and not file)
            path = self._request.scope["path"]
            clean = self._kind == "application/pdf" and TAKEN_OUT.fullmatch(path) is not None
            if not looked and (passed or clean):
                if is_visitor(self._request):
                    # The picture of today is not to be looked at when the door is shut.
                    raw = MutableHeaders(raw=list(message["headers"]))
                    raw["cache-control"] = "no-store"
                    message = {**message, "headers": raw.raw}
                await self._send(message)
                return
            self._start, self._refused = message, not looked
            return
        if self._start is None:
            await self._send(message)
            return
        if not self._refused:
            self._body += message.get("body", b"")
        if not message.get("more_body"):
            await self._finish(self._start)

    async def _finish(self, start: Message) -> None:
        request = self._request
        if self._refused:
            visits = is_visitor(request)
            answer = errors.told(request, 403, NO_VISITORS_FILE if visits else NO_FILE)
            self._kind = str(answer.media_type)
            start = {**start, "status": 403, "headers": answer.raw_headers}
            heading = errors.HEADINGS[403] if visits else HEADING
            told = bytes(answer.body).decode().replace(errors.HEADINGS[403], heading)
            self._body = bytearray(told.encode())
        hidden = await run_in_threadpool(self._mode._hidden, house_of(request))
        body = await run_in_threadpool(self._hide, bytes(self._body), hidden, start["status"])
        headers = MutableHeaders(raw=list(start["headers"]))
        headers["content-length"] = str(len(body))
        for stale in ("etag", "last-modified"):
            if stale in headers:
                del headers[stale]
        headers["cache-control"] = "no-store"
        await self._send({**start, "headers": headers.raw})
        await self._send({"type": "http.response.body", "body": body})

    def _hide(self, body: bytes, hidden: Hidden, status: int) -> bytes:
        text = body.decode("utf-8", "replace")
        if self._kind == "application/json":
            try:
                return json.dumps(hide_data(json.loads(text), hidden)).encode()
            except ValueError:
                return b"{}"
        if self._kind == "text/plain":
            return hidden.text(text).encode()
        if self._kind == "image/svg+xml":
            return hide_page(text, hidden).encode()
        return _page(self._request, text, hidden, status != 200).encode()


def is_visitor(request: Request) -> bool:
    """Whether a guest or an owner asks: somebody known, and not the bench."""
    return request.scope.get(ROLE) not in (None, BENCH)


def _page(request: Request, text: str, hidden: Hidden, typed: bool) -> str:
    """A page looked through, with the line on top that says so and leads out."""
    line = (
        f'<div class="say saved" role="status"><p>{LINE}</p>'
        f'<form method="post" action="{SWITCH}"><input type="hidden" name="on" value="no">'
        f'<input type="hidden" name="back" value="{escape(request.url.path)}">'
        '<button class="quiet">Leave show mode</button></form></div>'
    )
    text = _FORM.sub("", text)
    if is_visitor(request):
        own = request.scope.get(ROLE) == OWNER
        text = visitor_page(text, lambda path: sees(request, path), own)
        line = f'<div class="say saved" role="status"><p>{_visitors_line(request)}</p></div>'
    shown = hide_page(text, hidden, typed)
    return shown.replace('<header class="top">', f'{line}<header class="top">', 1)


def _visitors_line(request: Request) -> str:
    links = links_of(request)
    if not links:
        return GUEST_LINE
    return OWNER_LINE.format(max(one.until for one in links).strftime("%-d %B %Y"))
