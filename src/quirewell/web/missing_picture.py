"""What stands in the place of a picture whose original cannot be fetched just now."""

from __future__ import annotations

from html import escape

from starlette.requests import Request
from starlette.responses import Response

LINES = (
    "This picture cannot be shown just now:",
    "its original cannot be fetched.",
    "Nothing is lost. Look at the network,",
    "then open the page again.",
)
WIDTH, HEIGHT, SIZE = 420, 280, 20


def wanted(request: Request) -> bool:
    """Whether a page asks for a picture to show (and not for a page or for data)."""
    accept = request.headers.get("accept", "")
    return accept.startswith("image/") or request.headers.get("sec-fetch-dest") == "image"


def answer() -> Response:
    """The sentence as a picture, which no browser keeps."""
    top = (HEIGHT - len(LINES) * SIZE * 1.5) / 2
    said = "".join(
        f'<text x="{WIDTH / 2:g}" y="{top + (row + 0.75) * SIZE * 1.5:g}">{escape(line)}</text>'
        for row, line in enumerate(LINES)
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{WIDTH}" height="{HEIGHT}" role="img" aria-label="{escape(" ".join(LINES))}">'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#f4f1ea" stroke="#5b5548"/>'
        f'<g font-family="sans-serif" font-size="{SIZE}" fill="#22201c" text-anchor="middle">'
        f"{said}</g></svg>"
    )
    return Response(svg, 503, media_type="image/svg+xml", headers={"Cache-Control": "no-store"})
