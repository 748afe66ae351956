"""Defects with a place: noted, changed, set aside, and what is refused with which words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from drawn_pages import PAGE, capture, run, state
from quirewell.record.apply import noun_of
from quirewell.record.nouns import Defect, Gathering
from quirewell.stages.drawing_defects import note_drawn, set_aside
from quirewell.stages.noting import note_defect
from quirewell.stages.refusal import Refusal

ONE = capture()
RUN = run(ONE, "100,50 900,50 900,1250 100,1250", "head right foot left", width=160.0,
          height=240.0)  # fmt: skip
NOW = state(ONE, runs=(RUN,))
TEAR = {"page": PAGE, "moment": "before", "capture": "cap-1", "term": "tear", "kind": "line",
        "points": "160,20 130,24"}  # fmt: skip


def noted(form, now=NOW) -> Defect:
    (draft,) = note_drawn(now, form)
    return noun_of(draft.kind, draft.body)


def refused(form, now=NOW) -> str:
    with pytest.raises(Refusal) as no:
        note_drawn(now, form)
    return str(no.value)


def test_a_drawn_tear_has_its_place_its_length_and_how_sure_they_are():
    made = noted(TEAR)
    assert made.place == PAGE and made.region == "line 160,20 130,24"
    assert made.extent.startswith("30.3 mm ± 1.4 mm")
    # A point by hand and the page's corner, half a millimetre each where no budget says better,
    # and a scale known to 0.05 % over 161 mm.
    assert made.u_mm == pytest.approx((0.5**2 + 0.5**2 + (5e-4 * 161.2) ** 2) ** 0.5, abs=1e-3)


def test_what_a_person_typed_of_the_extent_is_kept():
    assert noted({**TEAR, "extent": "30 mm from the foot"}).extent == "30 mm from the foot"


def test_the_extent_follows_the_outline_when_it_was_computed_and_not_when_it_was_typed():
    made = noted(TEAR)
    now = replace(NOW, defects={made.id: made})
    moved = {**TEAR, "id": made.id, "extent": made.extent, "points": "160,20 150,20"}
    assert noted(moved, now).extent.startswith("10.0 mm")
    assert noted({**TEAR, "id": made.id, "extent": made.extent}, now).extent == made.extent
    own = replace(made, extent="about 3 cm")
    held = replace(NOW, defects={made.id: own})
    assert noted({**moved, "extent": "about 3 cm"}, held).extent == "about 3 cm"


def test_millimetres_read_off_with_a_rule_need_no_picture():
    made = noted({**TEAR, "capture": ""}, state())
    assert made.region == "line 160,20 130,24" and made.u_mm == 1.0
    nothing = noted({**TEAR, "capture": "", "points": ""}, state(gathering=Gathering(2)))
    assert nothing.region == "" and nothing.u_mm is None and nothing.extent == ""


def test_points_may_come_in_parts_and_as_single_spots():
    spots = noted({**TEAR, "term": "foxing", "kind": "point", "points": "10,10 20,20; 30,30"})
    assert spots.region == "point 10,10; 20,20; 30,30" and spots.extent == "3 spots"


@pytest.mark.parametrize(
    "change,words",
    [
        ({"points": "500,20 130,24"}, "Point 1 (500, 20) lies off the page, which is 160 by 240"),
        ({"points": "-40,20 130,24"}, "lies off the page"),
        ({"kind": "polygon", "points": "10,10 20,20 30,30"}, "lie in one line"),
        ({"kind": "polygon", "points": "10,10 50,50 50,10 10,50"}, "The outline must span an area"),
        ({"kind": "polygon", "points": "10,10 20,20"}, "3 points or more"),
        ({"kind": "polygon", "points": "0,0 50,60 50,0 0,50"}, "crosses itself after points 1"),
        ({"points": "10,10"}, "2 points or more"),
        ({"points": "10,10 10,10"}, "are the same"),
        ({"points": " ".join(f"{n / 40},10" for n in range(5000))}, "at most 40 shapes of 2000"),
        ({"points": "the upper corner"}, "two millimetres with a comma"),
        ({"points": "nan,4 5,inf"}, "within 2000 mm"),
        ({"points": "1e9,4 5,6"}, "within 2000 mm"),
        ({"kind": "circle"}, "a point, a line or an area"),
        ({"term": ""}, "Choose or write a word"),
        ({"severity": "dreadful"}, "slight, moderate, severe"),
        ({"page": "w01"}, "Name one page"),
        ({"page": "../../etc"}, "names no place"),
        ({"capture": "cap-9"}, "not in this item"),
        ({"id": "defect-3"}, "set aside meanwhile"),
        ({"proposal": f"{PAGE}/before/tear/3,4"}, "not proposed any more"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_a_sentence(change, words):
    assert words in refused({**TEAR, **change})


def test_a_refusal_gives_back_what_was_typed():
    with pytest.raises(Refusal) as no:
        note_drawn(NOW, {**TEAR, "points": "500,20 130,24", "note": "opens"})
    assert no.value.values["note"] == "opens"
    assert no.value.problems[0].field == "points"


def test_a_defect_is_set_aside_once():
    made = noted(TEAR)
    now = replace(NOW, defects={made.id: made})
    assert [draft.kind for draft in set_aside(now, {"id": made.id})] == ["record.retracted"]
    with pytest.raises(Refusal):
        set_aside(NOW, {"id": made.id})


def test_changed_by_the_plain_form_it_keeps_its_place():
    made = noted(TEAR)
    now = replace(NOW, defects={made.id: made})
    (draft,) = note_defect(now, {"id": made.id, "place": PAGE, "term": "tear", "extent": "31 mm"})
    changed = noun_of(draft.kind, draft.body)
    assert (changed.region, changed.u_mm, changed.extent) == (made.region, made.u_mm, "31 mm")
