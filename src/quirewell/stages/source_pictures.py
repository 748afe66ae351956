"""Pictures behind a number, each with what was measured drawn where it was measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, Correction, Defect, ItemState, Reading
from quirewell.record.regions import read_region
from quirewell.record.shapes import read_points, write_points
from quirewell.stages.correcting import correction_of
from quirewell.stages.drawn import Layer, Mark, layers_of
from quirewell.stages.examine import latest_measure
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.page_frame import framed
from quirewell.stages.pair_layers import ink_layer

# Which layers show where a quantity was measured; by what its name begins with.
_LAYERS = (
    ("leaf.loss", ("outline", "losses")),
    ("leaf.tears", ("outline", "tears")),
    ("tears", ("outline", "tears")),
    ("tear", ("outline", "tears")),
    ("stain", ("outline", "stains")),
    ("tone", ("outline", "tiles")),
    ("scale", ("strip",)),
    ("exposure", ("strip",)),
    ("paper", ("outline",)),
    ("ink", ()),
    ("", ("outline", "fold")),
)
# What a run draws each layer from, where it is not named as the layer is.
_DRAWN = {"outline": ("outline", "edges"), "tiles": ("tone",)}
_SHAPES = {"point": "spot", "line": "polyline", "polygon": "polygon"}


@dataclass(frozen=True, slots=True)
class Pictured:
    """A picture behind a source: what it was taken as (``role``), and the shapes drawn on it."""

    id: str
    sha256: str
    filename: str
    role: str
    where: str
    width_px: int
    height_px: int
    layers: tuple[Layer, ...]


def pictures_of_run(run: Run, quantity: str, state: ItemState) -> tuple[Pictured, ...]:
    """The pictures a run took in, with the place that ``quantity`` was measured at."""
    out = []
    for entry in run.inputs:
        capture = state.captures.get(entry.ref)
        if capture is None:
            continue
        role = entry.role
        own = run if "outline" in run.drawing else latest_measure(state, capture)
        layers = _wanted(own, correction_of(state, capture.id), quantity)
        inks = ink_layer(run) if quantity.startswith("ink.") and role == "before" else None
        if inks is not None:
            key = quantity.split(".")[1].replace("_", " ")
            marks = tuple(mark for mark in inks.marks if mark.says == key) or inks.marks
            layers += (replace(inks, marks=marks),)
        if holes := _holes(run):
            layers += (holes,)
        out.append(_pictured(capture, role, layers))
    return tuple(out)


def _wanted(run: Run | None, held: Correction | None, quantity: str) -> tuple[Layer, ...]:
    """The layers of a measured picture that show where ``quantity`` was measured."""
    if run is None:
        return ()
    keys = next(keys for begins, keys in _LAYERS if quantity.startswith(begins))
    drawn = {name for key in keys for name in _DRAWN.get(key, (key,))}
    asked = replace(run, drawing={k: v for k, v in run.drawing.items() if k in drawn})
    return tuple(layer for layer in layers_of(asked, held) if layer.key in keys)


def _holes(run: Run) -> Layer | None:
    """Staple holes where they were found."""
    if run.method != "holes.find" or not run.drawing.get("holes"):
        return None
    marks = tuple(Mark("spot", write_points((at,))) for at in read_points(run.drawing["holes"]))
    return Layer("corners", "Staple holes as found", "crosses in squares", marks)


def pictures_of_record(noun: Any, state: ItemState) -> tuple[Pictured, ...]:
    """The picture that a record names, with a drawn defect where it was drawn; else the pictures
    of its place at its moment, or of the pages of its sheet."""
    if isinstance(noun, Capture):
        run = latest_measure(state, noun)
        return (_pictured(noun, "the picture itself", _wanted(run, None, "")),)
    named = state.captures.get(getattr(noun, "capture", ""))
    if named is not None:
        layers = _drawn(noun, named, state) if isinstance(noun, Defect) else ()
        return (_pictured(named, "the picture it names", layers),)
    place, moment = getattr(noun, "place", ""), getattr(noun, "moment", None)
    if not place or not (sheet_of(place) or isinstance(noun, Defect)):
        return ()
    # A reading was taken at one spot; what else is told of a sheet may lie on any of its pages.
    pages = not isinstance(noun, Reading)
    near = [one for one in state.captures.values() if _same(one, place, moment, pages)]
    words = "a picture of the same place"
    return tuple(
        _pictured(one, words, _drawn(noun, one, state) if isinstance(noun, Defect) else ())
        for one in near[:4]
    )


def _same(capture: Capture, place: str, moment: str | None, pages: bool) -> bool:
    if moment and capture.moment and capture.moment != moment:
        return False
    if not sheet_of(place):
        return bool(capture.place) and capture.place == place
    here, taken = f"{place}.", f"{capture.place}."
    within = pages and taken.startswith(here)
    return bool(capture.place) and (here.startswith(taken) or within)


def _drawn(defect: Defect, capture: Capture, state: ItemState) -> tuple[Layer, ...]:
    """A defect's region in pixels of a picture of its page; nothing where no frame is known."""
    region = read_region(defect.region)
    if region is None or defect.place.count(".") != 2 or capture.view != "scan":
        return ()
    frame = framed(state, defect.place, capture).frame
    if frame is None:
        return ()
    shape = _SHAPES.get(region.kind, "polyline")
    marks = tuple(
        Mark(shape, write_points(tuple(frame.px(one)))) for one in region.shapes if len(one)
    )
    return (Layer("tears", "As it was drawn", "the defect as it was drawn", marks),)


def _pictured(capture: Capture, role: str, layers: tuple[Layer, ...]) -> Pictured:
    where = place_words(capture.place) if capture.place else "not assigned"
    if capture.moment:
        where += f", {capture.moment} treatment"
    return Pictured(
        capture.id, capture.sha256, capture.filename, role, where, capture.width_px,
        capture.height_px, layers,
    )  # fmt: skip
