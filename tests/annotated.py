"""An item with drawn and typed damage, and the normative rules of the Web Annotation Data Model
written as checks (W3C Recommendation, 23 February 2017; the section beside each)."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

from quirewell.record.nouns import Capture, Defect, Gathering, Item, ItemState

ANNO = "http://www.w3.org/ns/anno.jsonld"
# An IRI has a scheme and no space (RFC 3987, 2.2); 3.3.5 lists the motivations there are.
IRI = re.compile(r"[a-z][a-z0-9+.-]*:[^\s<>\"{}|\\^`]+")
MOTIVATIONS = {
    "assessing", "bookmarking", "classifying", "commenting", "describing", "editing",
    "highlighting", "identifying", "linking", "moderating", "questioning", "replying", "tagging",
}  # fmt: skip


def item(*defects: Defect, **more: Any) -> ItemState:
    """The Annual in two wraps and a cover, its pages 168 x 265 mm as described."""
    captures = {"cap-1": Capture("cap-1", "ab" * 32, "w01.png", "image/png", 1000, 1600, 9)}
    return ItemState(
        "annual", 7, Item("Copperbeck Garden Annual"), Gathering(2, height_mm=265, width_mm=168),
        captures=captures, defects={one.id: one for one in defects}, **more,
    )  # fmt: skip


def many_kinds() -> ItemState:
    """Damage of each way to note it."""
    return item(
        Defect("d1", "w01.outer.left", "tear", "42.0 mm ± 1.5 mm", "severe", "before", "",
               "opens at a touch", "line 168,20 126,20", 0.75),
        Defect("d2", "c.outer.right", "loss", "", "slight", region="polygon 0,0 20,0 20,10 0,10",
               u_mm=0.4, proposal="p-3"),
        Defect("d3", "staples", "rusted staple", "both, brown through", "severe"),
        Defect("d4", "w02.inner.right", "foxing", region="point 30,40; 60,80; 61,80"),
        Defect("d5", "w01.outer.left", "tear", "8 mm", moment="after"),
        Defect("d6", "w01.outer", "crease", region="line 10,10 300,250", u_mm=1.0),
    )  # fmt: skip


def assert_collection(made: dict[str, Any]) -> None:
    """The rules of sections 5.1 and 5.2 for a collection with its page embedded."""
    assert _has(made["@context"], ANNO)  # 5.1: MUST be one of its contexts
    assert IRI.fullmatch(made["id"])  # 5.1: exactly one IRI
    assert _has(made["type"], "AnnotationCollection")  # 5.1
    assert isinstance(made["total"], int) and made["total"] >= 0  # 5.1: xsd:nonNegativeInteger
    assert isinstance(made["label"], str) and made["label"]  # 5.1: SHOULD have one
    if made["total"] == 0:
        assert "first" not in made and "last" not in made  # 5.2: a page has one item or more
        return
    page = made["first"]
    assert "@context" not in page  # 5.2: an embedded page SHOULD NOT have one
    assert IRI.fullmatch(page["id"]) and _has(page["type"], "AnnotationPage")  # 5.2
    assert page["partOf"] == made["id"]  # 5.2
    assert page["startIndex"] == 0 and "next" not in page  # 5.2: it is the last one
    assert made["last"] == page["id"]  # 5.1
    assert len(page["items"]) == made["total"] >= 1  # 5.2
    assert len({one["id"] for one in page["items"]}) == made["total"]  # 3.1: an identity each
    for one in page["items"]:
        assert_annotation(one)


def assert_annotation(one: dict[str, Any]) -> None:
    """The rules of sections 3 and 4 for an annotation."""
    assert IRI.fullmatch(one["id"])  # 3.1: exactly one IRI
    assert _has(one["type"], "Annotation")  # 3.1
    assert set(_list(one["motivation"])) <= MOTIVATIONS  # 3.3.5
    assert "bodyValue" not in one  # 3.2.5: never beside body
    assert _list(one["target"])  # 3.1: one target or more
    for body in _list(one["body"]):
        assert _has(body["type"], "TextualBody")  # 3.2.4
        assert isinstance(body["value"], str)  # 3.2.4: exactly one value
        assert body["purpose"] in MOTIVATIONS  # 3.3.5
        assert body["format"] == "text/plain"  # 3.2.1, a media type
    for target in _list(one["target"]):
        assert target["type"] == "SpecificResource"  # 4
        assert IRI.fullmatch(target["source"])  # 4: exactly one source
        for selector in _list(target.get("selector", [])):
            assert_selector(selector)
    own = {key for key in one if key.startswith("qw:")}
    assert set(one) - own <= {"id", "type", "motivation", "body", "target"}  # C, index of keys


def assert_selector(one: dict[str, Any]) -> None:
    """The rules of sections 4.2.1 and 4.2.7."""
    assert isinstance(one["type"], str) and isinstance(one["value"], str)
    if one["type"] == "FragmentSelector":
        assert IRI.fullmatch(one["conformsTo"])  # 4.2.1: one link to the syntax it follows
        if one["conformsTo"] == "http://www.w3.org/TR/media-frags/":
            # Media Fragments URI 1.0, 4.2.2: whole pixels, a width and height above 0.
            found = re.fullmatch(r"xywh=pixel:(\d+),(\d+),(\d+),(\d+)", one["value"])
            assert found and int(found[3]) > 0 and int(found[4]) > 0
        return
    assert one["type"] == "SvgSelector"  # 4.2.7
    root = ElementTree.fromstring(one["value"])  # 4.2.7: MUST be well-formed SVG XML
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    (shape,) = root  # a region only: no style, script, text or animation (4.2.7, note)
    assert shape.tag == "{http://www.w3.org/2000/svg}path" and set(shape.attrib) == {"d"}


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _has(value: Any, wanted: str) -> bool:
    return wanted in _list(value)
