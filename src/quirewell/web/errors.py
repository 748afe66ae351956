"""What a page says when something is wrong: a kind sentence and a way on, never a trace."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from quirewell.studio import log
from quirewell.studio.originals_cache import CacheFull
from quirewell.studio.store_faults import StoreFault
from quirewell.web import missing_picture
from quirewell.web.lan import served
from quirewell.web.page import ENVIRONMENT, Answers
from quirewell.web.request_log import route_of
from quirewell.web.roles import LINKS, OWNER, ROLE

HEADINGS = {
    400: "That could not be read",
    403: "Not from here",
    404: "There is no such page",
    405: "That is not how this page works",
    409: "That is not possible now",
    413: "That is too large",
    422: "Not saved",
    429: "Not so often",
    500: "Something went wrong here",
    503: "Cannot be reached just now",
    507: "The disk did not take it",
}
NOT_FOUND = "There is nothing at this address; perhaps it was typed by hand or has moved."
BROKEN = (
    "This is a fault of the program, not of what you did. What was saved before is safe on the "
    "disk. The window in which the studio was started says more."
)
NUMBERED = " Its number is {}: it stands in the studio's log under that number."


async def on_http(request: Request, error: Exception) -> Response:
    """An answer for a refused or unknown address."""
    assert isinstance(error, HTTPException)
    says = error.detail
    if error.status_code == 404 and says == "Not Found":
        says = NOT_FOUND
    if error.status_code == 405:
        says = "This address takes a form; open the page it belongs to."
    return told(request, error.status_code, says)


async def on_fault(request: Request, error: Exception) -> Response:
    """A fault whose words are a sentence for the person at the bench."""
    if isinstance(error, (StoreFault, CacheFull)):
        if missing_picture.wanted(request):
            return missing_picture.answer()
        return told(request, 503, _sentence(str(error)))
    names = {kind.__name__ for kind in type(error).__mro__}
    status = (
        507 if "DiskFault" in names else 503 if names & {"Busy", "ServerLost", "Moved"} else 409
    )
    return told(request, status, _sentence(str(error)))


async def on_bug(request: Request, error: Exception) -> Response:
    """Anything else: the trace goes to the server's own window only, the fault's number to the
    page and to the log, so that both can be found."""
    number = log.fault(error, method=request.method, route=route_of(request.scope))
    return told(request, 500, f"{BROKEN}{NUMBERED.format(number) if number else ''}")


def _way_on(request: Request, status: int) -> tuple[str, str]:
    """Where a page of an error leads, and in what words."""
    if request.scope.get(ROLE) == OWNER and (links := request.scope.get(LINKS)):
        return f"/item/{links[0].item}/report/read", "To the report"
    item_id = request.path_params.get("item", "")
    if item_id and status != 404:
        return f"/item/{item_id}", "Back to the item"
    return "/", "To the items of this studio"


def told(request: Request, status: int, says: str) -> Response:
    """The page (or, for a script that asked for it, the JSON) of an error."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"says": says}, status_code=status)
    way_on, way_on_words = _way_on(request, status)
    text = ENVIRONMENT.get_template("problem.html").render(
        **served(request), heading=HEADINGS.get(status, "That did not work"),
        says=says, islands=False, done=None, problems=(), values=Answers(), item_id="", here="/",
        way_on=way_on, way_on_words=way_on_words,
    )  # fmt: skip
    return Response(text, status_code=status, media_type="text/html")


def _sentence(text: str) -> str:
    words = text[:1].upper() + text[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."
