"""The door for tablets: over TLS only, under our own names only, and known by a passphrase.

Beside the rules of `security.py` a request must come under one of the names or addresses that the
studio's certificate was made for, and carry the cookie of a session. Nothing that a client may
write tells where it comes from: forwarded headers are never read.

There is no Strict-Transport-Security: there is no plain page under these names that a browser
could be kept from, and it would also hold the machine's name to TLS at every other port.
"""

from __future__ import annotations

from urllib.parse import urlencode

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.types import ASGIApp, Receive, Scope, Send

from quirewell.web import errors
from quirewell.web.lan import BY_LAN, TABLET, Lan
from quirewell.web.links import Link
from quirewell.web.page import ENVIRONMENT
from quirewell.web.roles import LINKS, OWNER, ROLE
from quirewell.web.security import READS, LocalOnly, RefusedRequest

# "__Host-": taken by a browser over TLS only, from this very host, for all its paths (RFC 6265bis).
COOKIE = "__Host-quirewell"
LINK_COOKIE, MOST_LINKS = f"{COOKIE}-link-", 10
OPEN = frozenset({"/in", "/trust", "/trust/certificate.crt"})
OPEN_UNDER = ("/static/", "/seen/")
LINK_ENDED = (
    "The link to this page has ended or was taken back. Ask the bench for a new one. If this is "
    "the bench's own tablet, sign in at /in."
)
SIGN_IN_AGAIN = (
    "This tablet is not signed in (any more), so nothing was saved. Sign in again at /in; what "
    "waits on the tablet is sent then."
)
# A scheme of our own: a browser that knows none asks for nothing (RFC 9110, 15.5.2).
CHALLENGE = {"WWW-Authenticate": 'Passphrase realm="quirewell"'}


class LanDoor(LocalOnly):
    """Middleware: our hosts only, own writes only, and only who is signed in."""

    def __init__(self, app: ASGIApp, lan: Lan) -> None:
        super().__init__(app)
        self.lan = lan
        self.hosts = lan.reach.hosts(lan.port)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        await super().__call__(scope, receive, send)

    def _host(self, scope: Scope, headers: Headers) -> str:
        hosts = headers.getlist("host")
        named = hosts[0].lower() if len(hosts) == 1 else ""
        if scope.get("scheme") != "https" or named not in self.hosts:
            raise RefusedRequest(
                400,
                "This studio answers here only to the addresses that were printed when it was "
                f"started: {' '.join(self.lan.urls)}",
            )
        return named

    def _turned_away(self, scope: Scope) -> Response | None:
        request = Request(scope)
        scope[BY_LAN] = True
        client = scope.get("client")
        scope[TABLET] = self.lan.sessions.find(
            request.cookies.get(COOKIE, ""), client[0] if client else ""
        )
        if scope[TABLET] is not None:
            scope[ROLE] = scope[TABLET].role
            return None
        scope[LINKS] = self._links(request)
        if scope[LINKS]:
            scope[ROLE] = OWNER
            return None
        path = scope["path"]
        if path in OPEN or path.startswith(OPEN_UNDER):
            return None
        if any(name.startswith(LINK_COOKIE) for name in request.cookies):
            return errors.told(request, 404, LINK_ENDED)
        return _asked_in(request)

    def _links(self, request: Request) -> tuple[Link, ...]:
        """The links that this browser holds and that stand."""
        held = [text for name, text in request.cookies.items() if name.startswith(LINK_COOKIE)]
        found = (self.lan.links.find(token) for token in held[-MOST_LINKS:])
        return tuple(one for one in found if one is not None)


def _asked_in(request: Request) -> Response:
    """A page leads to the passphrase and back; a form sent in vain says how to send it again; a
    script, a picture and all else is told in words, by 401."""
    headers = request.headers
    mode = headers.get("sec-fetch-mode")
    wants = headers.get("accept", "")
    if mode == "navigate" or (mode is None and "text/html" in wants):
        if request.method in READS:
            back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/in?{urlencode({'back': back})}", status_code=303)
        page = ENVIRONMENT.get_template("in_again.html").render(
            islands=False, done=None, problems=(), item_id="", here="/in", served_to="network",
            tablet=None,
        )  # fmt: skip
        return HTMLResponse(page, status_code=401, headers=CHALLENGE)
    if "application/json" in wants:
        return JSONResponse(
            {"saved": False, "says": SIGN_IN_AGAIN, "sign_in": "/in"}, 401, headers=CHALLENGE
        )
    return PlainTextResponse(f"{SIGN_IN_AGAIN}\n", 401, headers=CHALLENGE)
