"""The damage of an item as W3C Web Annotations (``sanderson2017``), one to a defect.

The profile is written down in docs/reference/annotations.md: which name a page has, what its frame
of millimetres is, and how a defect's parts are told apart so that they can be read back.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from quirewell import __version__
from quirewell.record.nouns import Capture, Defect, ItemState
from quirewell.record.page_path import path_of
from quirewell.record.regions import Region, read_region
from quirewell.record.shapes import Point
from quirewell.stages.annotation_table import (
    CONTEXT,
    MEDIA_FRAGMENTS,
    NAMES,
    PROFILE,
    capture_name,
    defect_name,
    item_name,
    page_name,
)
from quirewell.stages.damage_schedule import Line, schedule
from quirewell.stages.page_frame import framed
from quirewell.stages.page_size import PageSizes

# Points of a page [mm] in a picture [px]; None where nothing says how the two lie.
ToPicture = Callable[[Sequence[Point]], Sequence[Point]]


def damage_annotations(state: ItemState) -> dict[str, Any]:
    """All defects of an item as one collection with its only page embedded."""
    lines, sizes = schedule(state), PageSizes(state)
    items = []
    for line in lines:
        defect = state.defects[line.id]
        capture = state.captures.get(defect.capture)
        size = sizes.of(defect.place)
        box = None if size is None else (size.width_mm, size.height_mm)
        items.append(annotation(line, defect, state.id, box, capture, _mapping(state, defect)))
    collection = f"{item_name(state.id)}:damage"
    out: dict[str, Any] = {
        "@context": CONTEXT,
        "id": collection,
        "type": "AnnotationCollection",
        "label": f"Damage of {state.item.title}",
        "generator": {
            "id": f"{NAMES}program", "type": "Software", "name": f"quirewell {__version__}",
        },
        "total": len(items),
    }  # fmt: skip
    if items:  # A page has one annotation or more (5.2), so that an item without damage has none.
        page = f"{collection}:1"
        out["first"] = {"id": page, "type": "AnnotationPage", "partOf": collection,
                        "startIndex": 0, "items": items}  # fmt: skip
        out["last"] = page
    return out


def annotation(
    line: Line, defect: Defect, item: str, size_mm: tuple[float, float] | None = None,
    capture: Capture | None = None, to_picture: ToPicture | None = None,
) -> dict[str, Any]:  # fmt: skip
    """One defect: what it is, in words how far and how bad, and where."""
    body = [_text(defect.term, "classifying", "term")]
    body += [
        _text(value, "describing", about)
        for about, value in (
            ("extent", defect.extent), ("severity", defect.severity), ("note", defect.note),
        )
        if value
    ]  # fmt: skip
    region = read_region(defect.region)
    target: dict[str, Any] = {
        "type": "SpecificResource",
        "source": page_name(item, defect.place),
    }
    if region is not None:
        target["selector"] = _selectors(region, PROFILE, "mm", size_mm)
    targets = [target]
    if capture is not None:
        picture: dict[str, Any] = {
            "type": "SpecificResource", "source": capture_name(capture.sha256),
        }  # fmt: skip
        if region is not None and to_picture is not None:
            shown = Region(region.kind, tuple(tuple(to_picture(one)) for one in region.shapes))
            picture["selector"] = _selectors(
                shown, MEDIA_FRAGMENTS, "pixel", (capture.width_px, capture.height_px)
            )
        targets.append(picture)
    out: dict[str, Any] = {
        "id": defect_name(item, defect.id),
        "type": "Annotation",
        "motivation": "describing",
        "body": body,
        "target": targets if len(targets) > 1 else target,
        "qw:number": line.number,
        "qw:seen": defect.moment,
        "qw:howKnown": line.source,
    }
    if defect.u_mm is not None:
        out["qw:u_mm"] = defect.u_mm
    if defect.proposal:
        out["qw:proposal"] = defect.proposal
    if defect.capture:
        out["qw:capture"] = defect.capture
    return out


def _text(value: str, purpose: str, about: str) -> dict[str, str]:
    return {"type": "TextualBody", "purpose": purpose, "value": value, "format": "text/plain",
            "qw:about": about}  # fmt: skip


def _selectors(
    region: Region, profile: str, unit: str, size: tuple[float, float] | None
) -> list[dict[str, str]]:
    """The same place twice: its shape, and the box about it."""
    box = "" if size is None else f' viewBox="0 0 {_number(size[0], 2)} {_number(size[1], 2)}"'
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg"{box}>'
        f'<path d="{path_of(region.shapes, region.kind)}"/></svg>'
    )
    points = [point for shape in region.shapes for point in shape]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    left, top, wide, high = min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)
    if unit == "pixel":  # Whole pixels of the picture that hold it, one at the least.
        left, top = math.floor(max(left, 0.0)), math.floor(max(top, 0.0))
        wide = max(math.ceil(max(xs)) - left, 1)
        high = max(math.ceil(max(ys)) - top, 1)
    value = ",".join(_number(one, 0 if unit == "pixel" else 2) for one in (left, top, wide, high))
    fragment = {"type": "FragmentSelector", "conformsTo": profile, "value": f"xywh={unit}:{value}"}
    return [{"type": "SvgSelector", "value": svg}, fragment]


def _number(value: float, places: int) -> str:
    text = f"{round(value, places) + 0.0:.{places}f}"
    return text.rstrip("0").rstrip(".") if places else text


def _mapping(state: ItemState, defect: Defect) -> ToPicture | None:
    """How the defect's page lies in the picture it was drawn on."""
    capture = state.captures.get(defect.capture)
    if capture is None or not defect.region or defect.place.count(".") != 2:
        return None
    frame = framed(state, defect.place, capture).frame
    return None if frame is None else frame.px
