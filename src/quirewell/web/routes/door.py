"""The door's own pages: the passphrase, signing out, trusting the certificate, who is signed in.

The first three are read by people who are not signed in, so nothing of the studio stands on them.
"""

from __future__ import annotations

import io
from typing import Any
from urllib.parse import urlsplit

import segno
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from quirewell.web.forms import read_form
from quirewell.web.lan import Lan, by_lan, lan_of, served, tablet_of
from quirewell.web.lan_door import COOKIE
from quirewell.web.limits import wait_words
from quirewell.web.page import ENVIRONMENT, own_path, render, see
from quirewell.web.sessions import BENCH, LONGEST

FORM_BYTES = 8 * 1024
HOME = "/bench/tablets"


def _plain(request: Request, template: str, status: int = 200, **context: Any) -> Response:
    """A page for anybody: no word of what the studio holds."""
    text = ENVIRONMENT.get_template(template).render(
        islands=False, done=None, problems=(), item_id="", here=request.url.path,
        **served(request), **context,
    )  # fmt: skip
    return HTMLResponse(text, status_code=status)


def back_to(text: str) -> str:
    """Where somebody who signed in is led: a page of ours with its question, else the first.

    >>> back_to("/today?item=a"), back_to("//elsewhere.example"), back_to("/in")
    ('/today?item=a', '/', '/')
    """
    path = own_path(text, "")
    if not path or path in ("/in", "/out"):
        return "/"
    query = urlsplit(text).query
    return f"{path}?{query}" if query else path


def passphrase(request: Request) -> Response:
    """Ask for the passphrase."""
    back = back_to(request.query_params.get("back", ""))
    if not by_lan(request) or tablet_of(request) is not None:
        return see(back)
    return _plain(request, "in.html", back=back, wrong="", name="")


async def sign_in(request: Request) -> Response:
    """Try the passphrase; a right one begins a new session, whatever cookie came along."""
    lan = lan_of(request)
    if lan is None or not by_lan(request):
        return see("/")
    sent = await read_form(request, most=FORM_BYTES)
    back, name = back_to(sent.get("back")), sent.get("name")
    address = request.client.host if request.client else ""
    wait = lan.limits.begin(address)
    if wait > 0.0:
        says = (
            f"Too many tries. Wait {wait_words(wait)}, then try again; nothing was tried now. "
            "Tablets that are signed in go on."
        )
        answer = _plain(request, "in.html", 429, back=back, wrong=says, name=name)
        answer.headers["Retry-After"] = str(int(wait) + 1)
        return answer
    role = await run_in_threadpool(lan.role_of, sent.get("passphrase"))
    if not role:
        says = (
            "That is not the studio's passphrase. Capitals and spaces between words count. Set a "
            "new one on the bench's machine with: quirewell studio passphrase"
        )
        return _plain(request, "in.html", 401, back=back, wrong=says, name=name)
    lan.limits.right(address, forget=role == BENCH)
    old = request.cookies.get(COOKIE, "")
    token, _ = await run_in_threadpool(lan.sessions.begin, name, address, old, role)
    answer = see(back)
    answer.set_cookie(
        COOKIE, token, max_age=int(LONGEST.total_seconds()), path="/", secure=True,
        httponly=True, samesite="strict",
    )  # fmt: skip
    return answer


def leave(request: Request) -> Response:
    """Ask whether to sign out."""
    return _plain(request, "out.html") if tablet_of(request) else see("/")


def sign_out(request: Request) -> Response:
    """End this tablet's session."""
    lan = lan_of(request)
    if lan is None or tablet_of(request) is None:
        return see("/")
    lan.sessions.end(request.cookies.get(COOKIE, ""))
    answer = see("/in")
    answer.delete_cookie(COOKIE, path="/", secure=True, httponly=True, samesite="strict")
    return answer


def trust(request: Request) -> Response:
    """How a tablet is told to trust the studio's certificate."""
    return _plain(request, "trust.html", lan=lan_of(request), on_tablet=by_lan(request))


def certificate(request: Request) -> Response:
    """The authority's certificate to download (media type as in RFC 2585 practice)."""
    return Response(
        _here(request).trust.der, media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="quirewell-studio.crt"'},
    )  # fmt: skip


def tablets(request: Request) -> Response:
    """The address, its code, and who is signed in."""
    if by_lan(request):
        raise HTTPException(403, "Tablets are let in and put out on the bench's machine itself.")
    lan = lan_of(request)
    return render(
        request, "tablets.html", lan=lan, sessions=lan.sessions.all() if lan else (),
        links=[one for one in lan.links.all() if lan.links.stands(one)] if lan else (),
        guests=lan is not None and lan.guests_come(), studio=house_folder(request),
    )  # fmt: skip


def house_folder(request: Request) -> str:
    """The name of the studio's folder, as it is typed in a command."""
    return str(request.app.state.house.studio.folder.name)


async def put_out(request: Request) -> Response:
    """End a tablet's session, from the machine itself."""
    if by_lan(request):
        raise HTTPException(403, "Tablets are let in and put out on the bench's machine itself.")
    sent = await read_form(request, most=FORM_BYTES)
    await run_in_threadpool(_here(request).sessions.put_out, sent.get("id"))
    return see(HOME)


def code(request: Request) -> Response:
    """The address as a code for a tablet's camera."""
    page = "/trust" if request.path_params["which"] == "trust" else "/"
    return Response(qr_svg(_here(request).urls[0].rstrip("/") + page), media_type="image/svg+xml")


def qr_svg(url: str, inline: bool = False) -> str:
    """A QR code (ISO/IEC 18004) of an address, dark on white in either theme; ``inline``: to stand
    in a page."""
    out = io.BytesIO()
    segno.make(url, error="m", micro=False).save(
        out, kind="svg", scale=4 if inline else 6, border=4, dark="#000", light="#fff",
        svgclass=None, lineclass=None, xmldecl=not inline, svgns=not inline,
    )  # fmt: skip
    return out.getvalue().decode()


def _here(request: Request) -> Lan:
    lan = lan_of(request)
    if lan is None:
        raise HTTPException(
            409, "This studio is served to its own machine only. Start it with --lan."
        )
    return lan


routes = [
    Route("/in", passphrase),
    Route("/in", sign_in, methods=["POST"]),
    Route("/out", leave),
    Route("/out", sign_out, methods=["POST"]),
    Route("/trust", trust),
    Route("/trust/certificate.crt", certificate),
    Route(HOME, tablets),
    Route(f"{HOME}/out", put_out, methods=["POST"]),
    Route(f"{HOME}/code-{{which:str}}.svg", code),
]
