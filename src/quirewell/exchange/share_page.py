"""The shared page: beside its pictures in a folder, or as one file that holds them.

It reads without its script (pictures side by side); the script turns two pictures that lie on each
other into a curtain. The policy in its head names both by their hash and lets nothing else in.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup
from PIL import Image

from quirewell.exchange import share_text
from quirewell.exchange.share_pictures import Made, opened, smaller
from quirewell.exchange.share_plan import Plan
from quirewell.record.signs import visible

# Longest sides tried for the one file, the largest that fits its size being taken.
SIDES_PX = (1600, 1200, 900, 700, 520, 380, 260)
MOST_BYTES = 8_000_000
MANY_BYTES = 1_000_000


def page(plan: Plan, made: Sequence[Made], folder: Path, film: Path | None) -> str:
    """``index.html`` of a folder, whose pictures lie under it."""
    rows = [_row(one, [_linked(path, folder) for _, path in one.files]) for one in made]
    video = _film(plan, made, film, folder) if film is not None else None
    return _render(plan, rows, video, "", "'self' file:")


def one_file(plan: Plan, made: Sequence[Made], most: int = MOST_BYTES) -> tuple[str, int]:
    """The page as one file, and the longest side of its pictures [px].

    The pictures are made as small as needed, so that the file has at most ``most`` bytes; a size
    below the smallest tried is never forced.
    """
    longest, text = 0, ""
    for longest in SIDES_PX:
        rows = [_row(one, [_held(path, longest) for _, path in one.files]) for one in made]
        text = _render(plan, rows, None, "0 MB", "data:")
        size = len(text.encode())
        if size <= most or longest == SIDES_PX[-1]:
            text = _render(plan, rows, None, size_words(size), "data:")
            break
    return text, longest


def size_words(size: int) -> str:
    """A number of bytes in words.

    >>> size_words(3_240_000), size_words(81_000)
    ('3.2 MB', '81 kB')
    """
    return f"{size / 1e6:.1f} MB" if size >= MANY_BYTES else f"{max(1, round(size / 1e3))} kB"


def _row(made: Made, sources: Sequence[tuple[str, int, int]]) -> dict[str, Any]:
    alts = {"before": made.shot.alt_before, "after": made.shot.alt_after}
    return {
        "number": made.number, "name": made.shot.name, "caption": made.shot.caption,
        "laid": made.laid,
        "sides": [
            {"src": src, "width": width, "height": height, "alt": alts[moment], "word": moment}
            for (moment, _), (src, width, height) in zip(made.files, sources, strict=True)
        ],
    }  # fmt: skip


def _linked(path: Path, folder: Path) -> tuple[str, int, int]:
    with Image.open(path) as image:
        width, height = image.size
    return path.relative_to(folder).as_posix(), width, height


def _held(path: Path, longest_px: int) -> tuple[str, int, int]:
    data = smaller(path, longest_px)
    height, width = opened(path).shape[:2]
    shrink = min(1.0, longest_px / max(height, width))
    source = f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"
    return source, max(1, round(width * shrink)), max(1, round(height * shrink))


def _film(plan: Plan, made: Sequence[Made], film: Path, folder: Path) -> dict[str, Any] | None:
    of = next((one for one in made if plan.film_of and one.shot.key == plan.film_of.key), None)
    if of is None or of.before is None or film.suffix != ".webm":
        return None
    return {
        "src": film.relative_to(folder).as_posix(), "width": 1280, "height": 720,
        "poster": of.before.relative_to(folder).as_posix(), "name": of.shot.name,
    }  # fmt: skip


def _render(plan: Plan, rows: Sequence[Any], film: Any, size: str, pictures: str) -> str:
    style, script = _asset("share.css"), _asset("share.js")
    curtains = any(row["laid"] for row in rows)
    policy = "; ".join([
        "default-src 'none'", f"img-src {pictures}",
        *([f"media-src {pictures}"] if film else []),
        f"style-src '{_hash(style)}'", *([f"script-src '{_hash(script)}'"] if curtains else []),
        "form-action 'none'", "base-uri 'none'",
    ])  # fmt: skip
    made = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    return made.from_string(_asset("share.html")).render(
        plan=plan, rows=rows, film=film, size=size, policy=policy, band=share_text.BAND,
        style=Markup(style), script=Markup(script), curtains=curtains,
        empty={"remaining": share_text.NO_REMAINING, "told": share_text.NO_STEP,
              "condition": share_text.NO_DEFECT},
    )  # fmt: skip


def _shown(value: Any) -> Any:
    """A value as it is put out: signs that cannot be seen are named."""
    if isinstance(value, Markup):
        return value
    return visible(value) if isinstance(value, str) else value


def _asset(name: str) -> str:
    source = resources.files("quirewell.exchange").joinpath("templates", name)
    return source.read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """A script or style as a policy names it (W3C Content Security Policy 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
