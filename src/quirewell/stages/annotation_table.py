"""A file of annotations read back as defects: hostile until checked.

The profile is docs/reference/annotations.md. Nothing is fetched, no XML is parsed (a shape is read
by a grammar of its own), and whatever does not fit is told in a sentence.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, cast
from urllib.parse import quote, unquote

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Defect, ItemState, Moment, check_place
from quirewell.record.page_path import checked, read_path
from quirewell.record.plain_data import BadData, json_data
from quirewell.record.regions import Region, write_region
from quirewell.record.shapes import Point
from quirewell.stages.places import read_places
from quirewell.stages.refusal import Problem, Refusal

NAMES = "urn:x-quirewell:"
PROFILE = f"{NAMES}profile:page-mm:1"
MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"
ANNO = "http://www.w3.org/ns/anno.jsonld"
CONTEXT: list[Any] = [ANNO, {"qw": f"{NAMES}term:"}]

MOST_BYTES = 4_000_000
MOST_ANNOTATIONS = 500
MOST_TEXT = {"term": 1_000, "extent": 5_000, "note": 20_000, "severity": 20}
_SEVERITIES = ("slight", "moderate", "severe")
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_NUMBER = r"-?\d{1,6}(?:\.\d{1,6})?"
_BOX = re.compile(rf"xywh=mm:({_NUMBER}),({_NUMBER}),({_NUMBER}),({_NUMBER})")
# One svg with one shape in it and nothing else: no style, no script, no entity, no comment.
_SVG = re.compile(
    r'\s*<svg\s+xmlns="http://www\.w3\.org/2000/svg"(?:\s+viewBox="[-+.\d\s,]{0,80}")?\s*>\s*'
    r'<(?P<shape>path|polygon|polyline)\s+(?:d|points)="(?P<data>[-+.,\dMLZ\s]*)"\s*'
    r"(?:/>|></(?P=shape)>)\s*</svg>\s*"
)


class AnnotationError(ValueError):
    """A file that cannot be read; the message says what was found and what to do."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What a file adds: the events, the defects they note, and what was left alone and why."""

    drafts: tuple[Draft, ...]
    added: tuple[Defect, ...]
    told: tuple[str, ...]


def item_name(item: str) -> str:
    """Name of an item: "urn:x-quirewell:item:annual"."""
    return f"{NAMES}item:{quote(item, safe='')}"


def page_name(item: str, place: str) -> str:
    """Name of a page, or of another place, of an item."""
    return f"{item_name(item)}:place:{place}"


def defect_name(item: str, defect: str) -> str:
    """Name of a defect of an item."""
    return f"{item_name(item)}:defect:{quote(defect, safe='')}"


def capture_name(sha256: str) -> str:
    """Name of a picture by the SHA-256 of its file."""
    return f"{NAMES}picture:{sha256}"


def read_annotations(data: bytes, item: str) -> tuple[Defect, ...]:
    """Every defect that a file holds of ``item``.

    Raises:
        AnnotationError: in a sentence, with the number of the annotation.
    """
    return tuple(_defect(entry, item, at) for at, entry in enumerate(_entries(data), 1))


def take_annotations(state: ItemState, data: bytes) -> Taken:
    """The defects of a file that the record does not hold yet, as events. What it holds already
    stays as it is, and is told where the file says otherwise.

    Raises:
        AnnotationError: the file is no such file, or is about another item or other sheets.
    """
    drafts: list[Draft] = []
    added: list[Defect] = []
    told: list[str] = []
    used = set(state.touched) | set(state.defects)
    for at, found in enumerate(read_annotations(data, state.id), 1):
        try:
            read_places(state, {"places": found.place})
        except Refusal as refusal:
            raise AnnotationError(
                f"annotation {at}: {refusal.problems[0].says.rstrip('.')}"
            ) from refusal
        held = state.defects.get(found.id)
        if found.capture and found.capture not in state.captures:
            told.append(f"annotation {at}: its picture {found.capture} is not in this record")
            found = replace(found, capture="")
        if held is not None:
            if held != found:
                told.append(
                    f"annotation {at}: {found.id} ({held.term}) is noted already and differs; the "
                    "record keeps its own"
                )
            continue
        id, count = found.id, state.version + 1
        while not id or id in used:
            id, count = f"defect-{count}", count + 1
        used.add(id)
        added.append(replace(found, id=id))
        drafts.append(Draft(state.id, "defect.noted", to_body(added[-1])))
    return Taken(tuple(drafts), tuple(added), tuple(told))


def keep_annotations(state: ItemState, data: bytes) -> Taken:
    """:func:`take_annotations` as a page asks for it.

    Raises:
        Refusal: the file cannot be read, in a sentence.
    """
    try:
        return take_annotations(state, data)
    except AnnotationError as error:
        says = f"{str(error)[:1].upper()}{str(error)[1:].rstrip('.')}."
        raise Refusal((Problem("file", says),)) from error


def _entries(data: bytes) -> list[Any]:
    if len(data) > MOST_BYTES:
        raise AnnotationError(
            f"a file of annotations has at most {MOST_BYTES // 1_000_000} MB, got "
            f"{len(data) / 1e6:.1f} MB"
        )
    try:
        held = json_data(data.removeprefix(codecs.BOM_UTF8), parse_constant=_no_constant)
    except BadData as error:
        raise AnnotationError(f"this is no JSON ({str(error)[:120]})") from error
    if not isinstance(held, dict):
        raise AnnotationError(f"a file of annotations is one JSON object, got {_what(held)}")
    contexts = held.get("@context")
    if ANNO not in (contexts if isinstance(contexts, list) else [contexts]):
        raise AnnotationError(f"the file is no Web Annotation: its @context lacks {ANNO}")
    kinds = _many(held.get("type"))
    if "Annotation" in kinds:
        found: Any = [held]
    elif "AnnotationPage" in kinds:
        found = held.get("items")
    elif "AnnotationCollection" in kinds:
        first = held.get("first", {"items": []})
        if not isinstance(first, dict):
            raise AnnotationError(
                "its first page lies in another file, and nothing is fetched; put the page in"
            )
        found = first.get("items")
        if first.get("next"):
            raise AnnotationError("it has a second page elsewhere, and nothing is fetched; join it")
    else:
        raise AnnotationError(
            "its type is no Annotation, AnnotationPage or AnnotationCollection, got "
            f"{str(held.get('type'))[:60]!r}"
        )
    if not isinstance(found, list):
        raise AnnotationError(f"its items are a list of annotations, got {_what(found)}")
    if len(found) > MOST_ANNOTATIONS:
        raise AnnotationError(f"a file holds at most {MOST_ANNOTATIONS}, got {len(found)}")
    return found


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no number in JSON")


def _defect(entry: Any, item: str, at: int) -> Defect:
    if not isinstance(entry, dict) or "Annotation" not in _many(entry.get("type")):
        raise AnnotationError(f"annotation {at} is {_what(entry)} and not of type Annotation")
    texts = _texts(entry, at)
    if not texts["term"]:
        raise AnnotationError(
            f"annotation {at} says no term: a TextualBody with the purpose classifying or tagging"
        )
    if texts["severity"] and texts["severity"] not in _SEVERITIES:
        raise AnnotationError(
            f"annotation {at}: severity is {', '.join(_SEVERITIES)}, got {texts['severity'][:20]!r}"
        )
    moment = entry.get("qw:seen", "before")
    if moment not in ("before", "after"):
        raise AnnotationError(f"annotation {at}: qw:seen is before or after, got {_what(moment)}")
    place, target = _target(entry, item, at)
    try:
        region = _region(target)
        return Defect(
            _own_id(entry, item), place, texts["term"], texts["extent"],
            cast(Any, texts["severity"] or "moderate"), cast(Moment, moment),
            _short(entry, "qw:capture", at), texts["note"],
            "" if region is None else write_region(region), _u(entry, at),
            _short(entry, "qw:proposal", at),
        )  # fmt: skip
    except AnnotationError:
        raise
    except ValueError as error:
        raise AnnotationError(f"annotation {at}: {error}") from error


def _texts(entry: Mapping[str, Any], at: int) -> dict[str, str]:
    """Term, extent, severity and note out of the bodies; what is not ours is a note."""
    out = {"term": "", "extent": "", "severity": "", "note": ""}
    bodies = entry.get("body", entry.get("bodyValue", []))
    notes = []
    for body in bodies if isinstance(bodies, list) else [bodies]:
        if isinstance(body, str):
            body = {"value": body, "purpose": "describing"}
        if not isinstance(body, dict) or not isinstance(body.get("value"), str):
            raise AnnotationError(
                f"annotation {at}: a body is a TextualBody with a value in words, got {_what(body)}"
            )
        value, about = _plain(body["value"], at), body.get("qw:about")
        if not isinstance(about, str) or about not in out:
            tag = any(one in ("classifying", "tagging") for one in _many(body.get("purpose")))
            about, value = "term" if tag and not out["term"] else "note", value.strip()
        if about == "note":
            notes.append(value)
        else:
            out[about] = value
    out["note"] = "; ".join(part for part in notes if part)
    for about, text in out.items():
        if len(text) > MOST_TEXT[about]:
            raise AnnotationError(
                f"annotation {at}: its {about} has at most {MOST_TEXT[about]} characters, got "
                f"{len(text)}"
            )
    return out


def _target(entry: Mapping[str, Any], item: str, at: int) -> tuple[str, Mapping[str, Any]]:
    """The place of the item an annotation is about, and that target."""
    targets = entry.get("target")
    prefix = f"{item_name(item)}:place:"
    other = ""
    for target in targets if isinstance(targets, list) else [targets]:
        if isinstance(target, str):
            target = {"source": target}
        if not isinstance(target, dict):
            continue
        source = target.get("source", target.get("id"))
        source = source.get("id") if isinstance(source, dict) else source
        if not isinstance(source, str):
            continue
        if source.startswith(prefix):
            try:
                return check_place(source.removeprefix(prefix)), target
            except ValueError as error:
                raise AnnotationError(f"annotation {at}: {error}") from error
        other = source if source.startswith(f"{NAMES}item:") else other
    if other:
        about = unquote(other.removeprefix(f"{NAMES}item:").split(":")[0])[:80]
        raise AnnotationError(f"annotation {at} is about the item {about!r}; this one is {item!r}")
    raise AnnotationError(
        f"annotation {at} names no place of this item: its target's source begins with {prefix}"
    )


def _region(target: Mapping[str, Any]) -> Region | None:
    """The region of a target: its shape, or the box where there is only that.

    Raises:
        ValueError: a selector of ours that is no region.
    """
    selectors = target.get("selector", [])
    selectors = selectors if isinstance(selectors, list) else [selectors]
    if not selectors:
        return None
    for kind, read in (("SvgSelector", _shape), ("FragmentSelector", _box)):
        for one in selectors:
            if isinstance(one, dict) and kind in _many(one.get("type")):
                value = one.get("value")
                if not isinstance(value, str):
                    raise ValueError(f"the value of a {kind} is text, got {_what(value)}")
                return read(value)
    raise ValueError("of the selectors only SvgSelector and FragmentSelector are read here")


def _shape(value: str) -> Region:
    if len(value) > MOST_BYTES // 4:
        raise ValueError(f"a shape has at most {MOST_BYTES // 4} characters, got {len(value)}")
    found = _SVG.fullmatch(value)
    if found is None:
        raise ValueError(
            'a shape is <svg xmlns="http://www.w3.org/2000/svg"> with one path (of M, L, Z), '
            f"polygon or polyline in it and nothing else, got {value[:60]!r}"
        )
    if found["shape"] == "path":
        return read_path(found["data"])
    numbers = found["data"].replace(",", " ").split()
    if not numbers or len(numbers) % 2:
        raise ValueError("points are pairs of millimetres, as in 10,12 40,12 40,30")
    try:
        values = [float(one) for one in numbers]
    except ValueError as error:
        raise ValueError("points are pairs of millimetres, as in 10,12 40,12 40,30") from error
    points: list[Point] = list(zip(values[::2], values[1::2], strict=True))
    return checked("polygon" if found["shape"] == "polygon" else "line", [points])


def _box(value: str) -> Region:
    found = _BOX.fullmatch(value)
    if found is None:
        raise ValueError(f"a fragment is xywh=mm: and four numbers, got {value[:60]!r}")
    x, y, wide, high = (float(one) for one in found.groups())
    if wide < 0 or high < 0:
        raise ValueError(f"a box is 0 wide and high or more, got {value[:60]!r}")
    corners = [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]
    if wide and high:
        return checked("polygon", [corners])
    if wide or high:
        return checked("line", [[corners[0], corners[2]]])
    return checked("point", [[corners[0]]])


def _own_id(entry: Mapping[str, Any], item: str) -> str:
    """The defect's id where the annotation has our name for it, else none."""
    name = entry.get("id")
    prefix = f"{item_name(item)}:defect:"
    if not isinstance(name, str) or not name.startswith(prefix):
        return ""
    id = unquote(name.removeprefix(prefix))
    return id if _ID.fullmatch(id) else ""


def _short(entry: Mapping[str, Any], name: str, at: int) -> str:
    value = entry.get(name, "")
    if not isinstance(value, str) or len(value) > 200:
        raise AnnotationError(f"annotation {at}: {name} is a short text, got {_what(value)}")
    return _plain(value, at)


def _plain(text: str, at: int) -> str:
    """Text that every file and page can hold."""
    if any("\ud800" <= one <= "\udfff" or (one < " " and one not in "\t\n\r") for one in text):
        raise AnnotationError(f"annotation {at} holds signs that are no text: {text[:40]!r}")
    return text


def _u(entry: Mapping[str, Any], at: int) -> float | None:
    value = entry.get("qw:u_mm")
    if value is None:
        return None
    # Neither infinity nor what is no number lies between.
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not 0 <= value <= 100:
        raise AnnotationError(
            f"annotation {at}: qw:u_mm lies between 0 and 100 mm, got {_what(value)}"
        )
    return float(value)


def _many(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _what(value: Any) -> str:
    """A value as JSON calls it."""
    for kind, word in (
        (bool, "the value"),
        (str, "the text"),
        (list, "a list"),
        (dict, "an object"),
    ):
        if isinstance(value, kind):
            return f"{word} {str(value)[:40]!r}"
    return "nothing (null)" if value is None else f"the number {str(value)[:40]}"
