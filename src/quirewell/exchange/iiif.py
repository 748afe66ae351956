"""A IIIF Presentation 3 manifest of an item: a canvas for each page side, before and after.

The standard wants web addresses as names. The base is an option; usual is the address that
``python3 -m http.server 8000 --bind 127.0.0.1`` gives when it is started in ``data/``: it claims
nobody's name, and with that one command a viewer on the same machine finds everything. An
address of somebody's own can be given when the archive is made.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.exchange.record_files import file_name, original_path
from quirewell.record.nouns import Capture, ItemState
from quirewell.studio.tiles import make_tiles

BASE = "http://127.0.0.1:8000/"
CONTEXT = "http://iiif.io/api/presentation/3/context.json"
_BASE = re.compile(r"https?://[A-Za-z0-9.\-\[\]:]+(/[A-Za-z0-9._~/\-]*)?/")
_ORDER = {"": 0, "outer": 1, "inner": 2}
_UNPLACED = "not placed"
_PANELS = {"left": 0, "whole": 1, "right": 2}


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as it can be shown: its size [px], and whether it was cut into tiles."""

    width: int
    height: int
    tiled: bool = True


def check_base(base: str) -> str:
    """The base address, checked.

    Raises:
        ValueError: not a plain web address that ends with a slash.
    """
    if not _BASE.fullmatch(base):
        raise ValueError(
            f"a base address is http:// or https://, a host and a path that ends with /, as in "
            f"https://example.org/annual/, got {base!r}"
        )
    return base


def images_path(sha256: str) -> str:
    """Where the tiles of a picture lie in the payload."""
    return f"iiif/images/{sha256}"


def cut(source: str, directory: str, address: str) -> tuple[int, int]:
    """Cut a picture into tiles (a call for a worker); its size [px]."""
    import json

    info = make_tiles(Path(source), Path(directory), base=address, whole=True)
    said = json.loads(info.read_text("utf-8"))
    return int(said["width"]), int(said["height"])


def manifest(
    state: ItemState, base: str, shown: Mapping[str, Shown], see_also: Sequence[Mapping[str, str]],
    licence: str = "",
) -> dict[str, Any]:  # fmt: skip
    """The manifest of an item; ``shown`` says by hash what was made of each picture."""
    name = f"{base}iiif/{file_name(state.id)}"
    item = state.item
    canvases = [
        _canvas(f"{name}/canvas/{number}", captures, base, shown)
        for number, captures in enumerate(_groups(state), 1)
    ]
    out: dict[str, Any] = {
        "@context": CONTEXT,
        "id": f"{name}/manifest.json",
        "type": "Manifest",
        "label": {"none": [item.title]},
        "metadata": [
            {"label": {"en": [label]}, "value": {"none": [value]}}
            for label, value in (("Year", item.year), ("Form", item.form), ("Paper", item.paper))
            if value
        ],
        "summary": {"en": ["Page sides before and after treatment, as they were scanned."]},
        "requiredStatement": {
            "label": {"en": ["Licence"]},
            "value": {"en": [licence or "None was given; ask whoever made this archive."]},
        },
        "seeAlso": [
            {"id": base + one["path"], "type": "Dataset", "format": one["format"],
             "label": {"en": [one["label"]]}}
            for one in see_also
        ],
        "items": canvases,
    }  # fmt: skip
    if licence.startswith(("http://creativecommons.org/", "http://rightsstatements.org/")):
        out["rights"] = licence
    return out


def _groups(state: ItemState) -> list[list[Capture]]:
    """Pictures of the same side in the same view together, in the order of the sheets."""
    found: dict[tuple[str, str, str], list[Capture]] = {}
    for capture in state.captures.values():
        place = capture.place or f"{_UNPLACED} {capture.id}"
        found.setdefault((place, capture.panel, capture.view), []).append(capture)

    def order(key: tuple[str, str, str]) -> tuple[Any, ...]:
        sheet, _, side = key[0].partition(".")
        whole = re.fullmatch(r"c|w\d\d", sheet) is None
        part = side.partition(".")[0]
        unplaced = key[0].startswith(_UNPLACED)
        return (unplaced, key[2] != "scan", whole, sheet, _ORDER.get(part, 3), _PANELS[key[1]], key)

    for captures in found.values():
        captures.sort(key=lambda one: (one.moment == "after", one.id))
    return [found[key] for key in sorted(found, key=order)]


def _canvas(
    name: str, captures: list[Capture], base: str, shown: Mapping[str, Shown]
) -> dict[str, Any]:
    first = _shown(captures[0], shown)
    bodies = [_image(capture, base, _shown(capture, shown)) for capture in captures]
    body = bodies[0] if len(bodies) == 1 else {"type": "Choice", "items": bodies}
    out: dict[str, Any] = {
        "id": name,
        "type": "Canvas",
        "label": {"en": [_label(captures[0])]},
        "width": first.width,
        "height": first.height,
        "items": [
            {
                "id": f"{name}/page",
                "type": "AnnotationPage",
                "items": [
                    {
                        "id": f"{name}/painting",
                        "type": "Annotation",
                        "motivation": "painting",
                        "body": body,
                        "target": name,
                    }
                ],
            }
        ],
    }
    return out


def _shown(capture: Capture, shown: Mapping[str, Shown]) -> Shown:
    return shown.get(capture.sha256) or Shown(capture.width_px, capture.height_px, False)


def _label(capture: Capture) -> str:
    place = capture.place or "not placed yet"
    panel = f", {capture.panel}" if capture.place and capture.panel != "whole" else ""
    view = f", {capture.view}" if capture.view != "scan" else ""
    return f"{place}{panel}{view}"


def _image(capture: Capture, base: str, size: Shown) -> dict[str, Any]:
    out: dict[str, Any] = {
        "type": "Image",
        "label": {"en": [f"{capture.moment or 'undated'} ({capture.filename})"]},
        "width": size.width,
        "height": size.height,
    }
    if not size.tiled:
        original = base + original_path(capture.sha256, capture.media)
        return {"id": original, "format": capture.media, **out}
    service = base + images_path(capture.sha256)
    return {
        "id": f"{service}/full/max/0/default.jpg",
        "format": "image/jpeg",
        **out,
        "service": [{"id": service, "type": "ImageService3", "profile": "level0"}],
    }
