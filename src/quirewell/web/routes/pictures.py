"""Pictures as the pages show them: previews and deep-zoom tiles made from the originals.

An original is never served as it came: only pictures that we made leave this address, as
JPEG, under the hash of what they were made from.
"""

from __future__ import annotations

import json
import re
import secrets
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from quirewell.studio.blobs import is_sha256
from quirewell.studio.faults import StudioError
from quirewell.studio.originals_cache import CacheFull
from quirewell.studio.store_faults import StoreFault
from quirewell.web.house import house_of

SIZES_PX = {"card": 420, "page": 1400}
TILE = re.compile(r"(full|\d+,\d+,\d+,\d+)/(full|max|\d+,\d*)/0/default\.jpg")
KEEP = {"Cache-Control": "private, max-age=31536000, immutable"}


def named(request: Request) -> str:
    """The hash in the address.

    Raises:
        HTTPException: 404 when it is none.
    """
    sha256: str = request.path_params["sha256"]
    if not is_sha256(sha256):
        raise HTTPException(404, "There is no such picture in this studio.")
    return sha256


def original(request: Request) -> Path:
    """The original named by the address, on this machine.

    Raises:
        HTTPException: 404 when there is none.
        StoreFault, CacheFull: it lies elsewhere and cannot be fetched.
    """
    try:
        return house_of(request).studio.blobs.path(named(request))
    except (StoreFault, CacheFull):
        raise
    except StudioError as error:
        raise HTTPException(404, "There is no such picture in this studio.") from error


async def preview(request: Request) -> Response:
    """A small picture of an original, made when first asked for."""
    size_px = SIZES_PX.get(request.path_params["size"])
    if size_px is None:
        raise HTTPException(404)
    sha256 = named(request)
    house = house_of(request)
    folder = house.studio.derived / "previews"
    target = folder / f"{sha256}-{size_px}.jpg"
    if not target.is_file():
        source = await run_in_threadpool(original, request)
        part = folder / f"{sha256}-{size_px}.{secrets.token_hex(4)}.part"
        await house.call("quirewell.studio.images.preview", source, part, size_px)
        part.replace(target)
    return FileResponse(target, media_type="image/jpeg", headers=KEEP)


async def info(request: Request) -> Response:
    """Description of an original's tiles (IIIF Image API 3, level 0), made when first asked for."""
    house = house_of(request)
    folder = house.studio.derived / "tiles" / named(request)
    if not (folder / "info.json").is_file():
        source = await run_in_threadpool(original, request)
        await house.call("quirewell.stages.tasks.cut_tiles", str(source), str(folder))
    described = json.loads((folder / "info.json").read_text(encoding="utf-8"))
    described["id"] = str(request.url).rsplit("/", 1)[0]
    return JSONResponse(described)


def tile(request: Request) -> Response:
    """One tile."""
    rest = request.path_params["rest"]
    path = house_of(request).studio.derived / "tiles" / named(request) / rest
    if not TILE.fullmatch(rest) or not path.is_file():
        raise HTTPException(404)
    return FileResponse(path, media_type="image/jpeg", headers=KEEP)


routes = [
    Route("/picture/{sha256}/{size}.jpg", preview),
    Route("/tiles/{sha256}/info.json", info),
    Route("/tiles/{sha256}/{rest:path}", tile),
]
