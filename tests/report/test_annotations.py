"""Damage as Web Annotations: the model's rules hold, and a file read back is the same damage."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import drawn_pages
from annotated import ANNO, assert_collection, item, many_kinds
from quirewell.record.nouns import Defect, ItemState
from quirewell.record.regions import FEWEST, Region, read_region, write_region
from quirewell.report.annotations import annotation, damage_annotations
from quirewell.stages.annotation_table import AnnotationError, read_annotations, take_annotations
from quirewell.stages.damage_schedule import schedule


def written(state: ItemState) -> bytes:
    return json.dumps(damage_annotations(state)).encode()


@pytest.mark.parametrize("state", [item(), many_kinds()], ids=["none", "many kinds"])
def test_the_rules_of_the_model_hold(state: ItemState) -> None:
    assert_collection(damage_annotations(state))


def test_a_file_read_back_is_the_same_damage() -> None:
    state = many_kinds()
    assert set(read_annotations(written(state), "annual")) == set(state.defects.values())
    taken = take_annotations(state, written(state))
    assert (taken.drafts, taken.told) == ((), ())
    # In a record that holds nothing yet every one is noted, under its own name.
    bare = replace(state, defects={})
    assert set(take_annotations(bare, written(state)).added) == set(state.defects.values())


coordinate = st.integers(-20_000, 60_000).map(lambda n: n / 100)
point = st.tuples(coordinate, coordinate)


@st.composite
def regions(draw: st.DrawFn) -> str:
    kind = draw(st.sampled_from(tuple(FEWEST)))
    most = 1 if kind == "point" else 12
    shapes = draw(
        st.lists(
            st.lists(point, min_size=FEWEST[kind], max_size=most).map(tuple), min_size=1, max_size=4
        )
    )
    text = write_region(Region(kind, tuple(shapes)))
    try:
        read_region(text)
    except ValueError:  # A polygon that spans no area is no region.
        return "polygon 0,0 9,0 9,9"
    return text


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=60)


@settings(max_examples=150, deadline=None)
@given(
    region=regions(), extent=WORDS, note=WORDS, u_mm=st.none() | st.floats(0, 100),
    moment=st.sampled_from(("before", "after")), term=WORDS.filter(str.strip),
)  # fmt: skip
def test_any_region_and_any_words_come_back(
    region: str, extent: str, note: str, u_mm: float | None, moment: str, term: str
) -> None:
    made = Defect("d1", "w01.inner.left", term, extent, "slight", moment,  # type: ignore[arg-type]
                  "", note, region, u_mm)  # fmt: skip
    state = item(made)
    assert_collection(damage_annotations(state))
    assert read_annotations(written(state), "annual") == (made,)


def test_a_picture_gets_the_same_place_in_its_own_pixels() -> None:
    state = many_kinds()
    line = next(one for one in schedule(state) if one.id == "d2")
    defect, capture = replace(state.defects["d2"], capture="cap-1"), state.captures["cap-1"]
    # 4 px to the millimetre, the page begun at (100, 50) px.
    made = annotation(line, defect, "annual", (168, 265), capture,
                      lambda points: [(100 + 4 * x, 50 + 4 * y) for x, y in points])  # fmt: skip
    page, picture = made["target"]
    assert picture["source"].endswith("picture:" + "ab" * 32)
    assert [one["value"] for one in picture["selector"]][1] == "xywh=pixel:100,50,80,40"
    assert "M100,50L180,50L180,90L100,90Z" in picture["selector"][0]["value"]
    assert page["selector"][1]["value"] == "xywh=mm:0,0,20,10"


def test_a_measured_picture_says_where_the_page_lies_in_it() -> None:
    # A leaf of 195 x 265 mm at 5 px to the millimetre, its corner at (20, 30) px.
    scan = drawn_pages.capture()
    run = drawn_pages.run(scan, "20,30 995,30 995,1355 20,1355", "head foot left right",
                          width=195.0, height=265.0)  # fmt: skip
    tear = Defect("d1", drawn_pages.PAGE, "tear", capture=scan.id, region="line 0,100 20,104")
    state = drawn_pages.state(scan, runs=(run,), defects={"d1": tear})
    (made,) = damage_annotations(state)["first"]["items"]
    page, picture = made["target"]
    assert "M20,530L120,550" in picture["selector"][0]["value"]
    assert picture["selector"][1]["value"] == "xywh=pixel:20,530,100,20"
    assert 'viewBox="0 0 195 265"' in page["selector"][0]["value"]
    # A picture of which nothing is known is named without a place in it.
    bare = drawn_pages.state(scan, defects={"d1": tear}, gathering=None)
    (made,) = damage_annotations(bare)["first"]["items"]
    assert "selector" not in made["target"][1]


def test_what_differs_is_left_as_the_record_has_it_and_told() -> None:
    state = many_kinds()
    file = written(state).replace(b"opens at a touch", b"closed by now")
    taken = take_annotations(state, file)
    assert not taken.drafts
    (told,) = taken.told
    assert "d1 (tear)" in told and "keeps its own" in told


def alone(**changes: object) -> bytes:
    made = {
        "@context": ANNO, "id": "urn:example:1", "type": "Annotation",
        "body": {"type": "TextualBody", "purpose": "tagging", "value": "tear"},
        "target": {
            "source": "urn:x-quirewell:item:annual:place:w01.outer.left",
            "selector": {"type": "FragmentSelector", "value": "xywh=mm:10,20,30,0"},
        },
    }  # fmt: skip
    return json.dumps({**made, **changes}).encode()


def target(
    selector: object, place: str = "w01.outer.left", who: str = "annual"
) -> dict[str, object]:
    return {"source": f"urn:x-quirewell:item:{who}:place:{place}", "selector": selector}


def svg(inside: str, before: str = "") -> dict[str, str]:
    value = f'{before}<svg xmlns="http://www.w3.org/2000/svg">{inside}</svg>'
    return {"type": "SvgSelector", "value": value}


def test_an_annotation_by_another_program_is_taken_with_a_name_of_ours() -> None:
    (found,) = take_annotations(item(), alone()).added
    assert (found.id, found.term, found.region) == ("defect-8", "tear", "line 10,20 40,20")
    shapes = {
        '<polygon points="10,12 40,12 40,30"/>': "polygon 10,12 40,12 40,30",
        '<polyline points="10 12 40 12"></polyline>': "line 10,12 40,12",
        '<path d="M 10 12 L 40 12 L 40 30 Z M 60 12 L 70 12 L 70 20 Z"/>':
            "polygon 10,12 40,12 40,30; 60,12 70,12 70,20",
    }  # fmt: skip
    for inside, region in shapes.items():
        (found,) = read_annotations(alone(target=target(svg(inside))), "annual")
        assert found.region == region


def shaped(inside: str, before: str = "") -> bytes:
    return alone(target=target(svg(inside, before)))


def boxed(value: object) -> bytes:
    return alone(target=target({"type": "FragmentSelector", "value": value}))


def paged(kind: str = "AnnotationPage", **more: object) -> bytes:
    return json.dumps({"@context": ANNO, "type": kind, **more}).encode()


UGLY = {
    "no JSON": (b"\xff\xfe", "no JSON"),
    "a list": (b"[]", "one JSON object"),
    "deeply nested": (b"[" * 200_000, "deeper|no JSON"),
    "deep inside": (b'{"@context": "%s", "a": ' % ANNO.encode() + b"[" * 200_000, "deeper|no JSON"),
    "ten megabytes": (b" " * 10_000_000, "at most 4 MB"),
    "another context": (alone(**{"@context": "http://example.org/"}), "no Web Annotation"),
    "not a number": (alone().replace(b'"tear"', b"NaN"), "no number in JSON"),
    "no term": (alone(body=[]), "says no term"),
    "a body that is a number": (alone(body=3), "TextualBody"),
    "a value that is a list": (alone(body={"value": ["tear"]}), "TextualBody"),
    "a purpose that is a map": (alone(body={"value": "x", "purpose": {}}), "says no term"),
    "a body about a list": (alone(body={"value": "x", "qw:about": []}), "says no term"),
    "half a sign": (alone(body={"value": "\ud800", "purpose": "tagging"}), "no text"),
    "a nought byte": (alone(body={"value": "a\0", "purpose": "tagging"}), "no text"),
    "a long term": (alone(body={"value": "x" * 1001, "purpose": "tagging"}), "at most 1000"),
    "no target": (alone(target=None), "names no place"),
    "a target elsewhere": (alone(target="http://example.org/1"), "names no place"),
    "another item": (alone(target=target([], who="almanac")), "about the item 'almanac'"),
    "no such place": (alone(target=target([], place="w1")), "names no place"),
    "a sheet too many": (alone(target=target([], place="w09")), "wraps 1 to 2"),
    "a selector by text": (alone(target=target({"type": "TextQuoteSelector"})), "only SvgSelector"),
    "a value that is none": (alone(target=target({"type": "SvgSelector"})), "is text"),
    "in per cent": (boxed("xywh=percent:1,1,1,1"),
                    "xywh=mm"),
    "a box inside out": (boxed("xywh=mm:1,1,-1,1"),
                         "0 wide"),
    "far off": (boxed("xywh=mm:1,1,9000,1"),
                "within 2000"),
    "a script": (shaped("<script>alert(1)</script>"), "nothing else"),
    "an event": (shaped('<path d="M1,1L2,2" onload="alert(1)"/>'), "nothing else"),
    "an entity": (shaped('<path d="&a;"/>', '<!DOCTYPE svg [<!ENTITY a "M">]>'),
                  "nothing else"),
    "two shapes": (shaped('<path d="M1,1L2,2"/><path d="M1,1L2,2"/>'), "nothing"),
    "a style": (shaped('<path style="fill:red" d="M1,1L2,2"/>'), "nothing else"),
    "a picture from elsewhere": (shaped('<image href="http://example.org/"/>'), "else"),
    "a curve": (shaped('<path d="M1,1C1,1 2,2 3,3"/>'), "nothing else|M x,y"),
    "relative": (shaped('<path d="M1,1l2,2"/>'), "nothing else|M x,y"),
    "no move first": (shaped('<path d="L2,2"/>'), "M x,y"),
    "an empty path": (shaped('<path d=""/>'), "empty"),
    "odd points": (shaped('<polygon points="1,2 3"/>'), "pairs"),
    "points that are none": (shaped('<polygon points="1.2.3,2 3,4 5,6"/>'), "pairs"),
    "no area": (shaped('<path d="M1,1L2,2L3,3Z"/>'), "span an area"),
    "a mixture": (shaped('<path d="M1,1L2,2M5,5Z"/>'), "mixture"),
    "too many points": (shaped(f'<path d="M1,1{"L2,2" * 2100}"/>'), "at most 40"),
    "u in words": (alone(**{"qw:u_mm": "1"}), "qw:u_mm"),
    "u that is true": (alone(**{"qw:u_mm": True}), "qw:u_mm"),
    "u of nothing": (alone(**{"qw:u_mm": 10**300}), "qw:u_mm"),
    "seen some time": (alone(**{"qw:seen": "later"}), "before or after"),
    "seen a list": (alone(**{"qw:seen": []}), "before or after"),
    "too many": (paged(items=[{}] * 501),
                 "at most 500"),
    "a page elsewhere": (paged("AnnotationCollection", first="http://example.org/1"), "is fetched"),
    "items that are none": (paged(items={"a": 1}), "list of annotations"),
    "an item that is a number": (paged(items=[3]), "not of type"),
}  # fmt: skip


@pytest.mark.parametrize("name", UGLY)
def test_a_bad_file_is_refused_in_a_sentence(name: str) -> None:
    data, says = UGLY[name]
    with pytest.raises(AnnotationError, match=says) as refused:
        take_annotations(item(), data)
    assert len(str(refused.value)) < 300


def test_an_id_that_means_harm_is_replaced() -> None:
    for id in ("../../x", "a" * 200, "defect 1\n", "%00"):
        file = alone(id=f"urn:x-quirewell:item:annual:defect:{id}")
        (found,) = take_annotations(item(), file).added
        assert found.id == "defect-8"
