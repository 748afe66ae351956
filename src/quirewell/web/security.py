"""Who may talk to this server, and what a page may load.

The server listens on a loopback address only, unless tablets are let in (`lan_door.py`). A page of
a foreign site could still reach it in two ways, and both are closed here, for either door:

- by a name that was made to point at 127.0.0.1: every request, reads too, must name a
  loopback host (with the port it came in on);
- by sending a form across sites: a write must come from our own origin. ``Sec-Fetch-Site``
  is asked first, then ``Origin`` is compared whole with the host. A request with neither
  header is no browser's and passes.
"""

from __future__ import annotations

import re

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from quirewell.web.roles import ROLE
from quirewell.web.sessions import BENCH

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # Nothing is told to other sites. "no-referrer" would go one step too far: browsers then send
    # "Origin: null" with our own forms (Fetch, "append a request Origin header"), which we refuse.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
MOST_DRAINED = 32 << 20
MOST_TARGET = 16 << 10
MOST_HEAD = 64 << 10
READS = frozenset({"GET", "HEAD", "OPTIONS"})
_HOST = re.compile(r"(127\.0\.0\.1|localhost|\[::1\])(:(\d{1,5}))?", re.IGNORECASE)


class RefusedRequest(Exception):
    """A request that is not let in; ``status`` and the sentence it is told."""

    def __init__(self, status: int, says: str) -> None:
        super().__init__(says)
        self.status = status
        self.says = says


def check_host(headers: Headers, port: int | None) -> str:
    """The request's host text when it names this machine and the port it came in on.

    Raises:
        RefusedRequest: for any other host, and for none or several.
    """
    hosts = headers.getlist("host")
    found = _HOST.fullmatch(hosts[0]) if len(hosts) == 1 else None
    if found is None or (port is not None and int(found[3] or "80") != port):
        raise RefusedRequest(
            400,
            "This server answers only to 127.0.0.1, localhost or [::1], with the port it was "
            "started on. Open the address that was printed when it started.",
        )
    return hosts[0].lower()


def check_target(path: str, version: str) -> None:
    """Let a plain path of HTTP/1 through: from the root, with signs that our addresses hold.

    Raises:
        RefusedRequest: for another form of target (RFC 9112, 3.2), for control signs, and for the
            stroke that some systems take for one between folders.
    """
    plain = path.startswith("/") and "\\" not in path and path.isprintable()
    if not plain or version not in ("1.0", "1.1"):
        raise RefusedRequest(400, "There can be no such address here; open the studio's pages.")


def check_size(scope: Scope) -> None:
    """Let through what a person's browser sends; the server's own limit looks only at a head that
    is not whole yet, so that one which arrives in a single piece passes it.

    Raises:
        RefusedRequest: for a target of more than 16 KiB, and for a head of more than 64 KiB.
    """
    if len(scope.get("raw_path") or b"") + len(scope.get("query_string", b"")) > MOST_TARGET:
        raise RefusedRequest(414, "This address is too long; open the studio's pages.")
    if sum(len(name) + len(text) + 4 for name, text in scope["headers"]) > MOST_HEAD:
        raise RefusedRequest(431, "What your browser sends along is too much; clear its cookies.")


def check_origin(headers: Headers, host: str, scheme: str) -> None:
    """Let a write through only from our own pages or from no browser at all.

    Raises:
        RefusedRequest: for a form or script of another site.
    """
    says = (
        "This change was sent from another site or page, so nothing was saved. "
        "Open the page here and send the form again."
    )
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        raise RefusedRequest(403, says)
    origin = headers.get("origin")
    if origin is not None and origin.lower() != f"{scheme}://{host}":
        raise RefusedRequest(403, says)


class LocalOnly:
    """Middleware: loopback hosts only, own writes only, and the same headers on every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        body = _Body(scope, receive)

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                await body.drain()
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    if name == "Referrer-Policy" and headers.get(name) == "no-referrer":
                        continue  # an answer may tell even less
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        try:
            check_size(scope)
            check_target(scope["path"], scope.get("http_version", "1.1"))
            headers = Headers(scope=scope)
            host = self._host(scope, headers)
            if scope["method"] not in READS:
                check_origin(headers, host, scope.get("scheme", "http"))
            answer = self._turned_away(scope)
        except RefusedRequest as refused:
            answer = PlainTextResponse(refused.says + "\n", status_code=refused.status)
        await (self.app if answer is None else answer)(scope, body.receive, guarded)

    def _host(self, scope: Scope, headers: Headers) -> str:
        server = scope.get("server")
        return check_host(headers, server[1] if server else None)

    def _turned_away(self, scope: Scope) -> Response | None:
        """What somebody is told who is not known; the machine itself always is, as the bench."""
        scope[ROLE] = BENCH
        return None


class _Body:
    """What a request sends along, read to its end before anything is answered: a browser that is
    cut off while it sends says that nobody answers, and never shows why it was refused."""

    def __init__(self, scope: Scope, receive: Receive) -> None:
        self._receive = receive
        names = {name for name, _ in scope["headers"]}
        self._whole = names.isdisjoint((b"content-length", b"transfer-encoding"))

    async def receive(self) -> Message:
        """The next message of the connection."""
        message = await self._receive()
        self._whole = message["type"] != "http.request" or not message.get("more_body")
        return message

    async def drain(self) -> None:
        """Read and drop what nobody has read yet, at most ``MOST_DRAINED``."""
        seen = 0
        while not self._whole and seen < MOST_DRAINED:
            seen += len((await self.receive()).get("body", b""))
