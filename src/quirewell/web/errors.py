"""What a page says when something is wrong: a kind sentence and a way on, never a trace."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from quirewell.web.lan import served
from quirewell.web.page import ENVIRONMENT, Answers

HEADINGS = {
    400: "That could not be read",
    403: "Not from here",
    404: "There is no such page",
    405: "That is not how this page works",
    409: "That is not possible now",
    413: "That is too large",
    422: "Not saved",
    500: "Something went wrong here",
    507: "The disk is full",
}
NOT_FOUND = "There is nothing at this address; perhaps it was typed by hand or has moved."
BROKEN = (
    "This is a fault of the program, not of what you did. What was saved before is safe on the "
    "disk. The window in which the studio was started says more."
)


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
    full = type(error).__name__ == "DiskFull"
    return told(request, 507 if full else 409, _sentence(str(error)))


async def on_bug(request: Request, error: Exception) -> Response:
    """Anything else: the trace goes to the server's own window only."""
    return told(request, 500, BROKEN)


def told(request: Request, status: int, says: str) -> Response:
    """The page (or, for a script that asked for it, the JSON) of an error."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"says": says}, status_code=status)
    item_id = request.path_params.get("item", "")
    known = bool(item_id) and status != 404
    text = ENVIRONMENT.get_template("problem.html").render(
        **served(request), heading=HEADINGS.get(status, "That did not work"),
        says=says, islands=False, done=None, problems=(), values=Answers(), item_id="", here="/",
        way_on=f"/item/{item_id}" if known else "/",
        way_on_words="Back to the item" if known else "To the items of this studio",
    )  # fmt: skip
    return Response(text, status_code=status, media_type="text/html")


def _sentence(text: str) -> str:
    words = text[:1].upper() + text[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."
