"""After-scans find their place by their print; names and pictures that disagree are named."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from paired_pages import plant, printed_page, shoot
from quirewell.jobs.runner import Runner
from quirewell.stages import contact
from quirewell.stages.matching import known_matches, match_item, quarrels, start_matching
from quirewell.stages.placing import put_in_place
from quirewell.stages.refusal import Refusal
from quirewell.stages.taking_in import Source, take_in
from studio_help import ITEM, studio_with_item

SHAPE = (300, 220)
PLACES = ("w01-outer-left", "w01-outer-right", "w02-outer-left")


def scan(page, seed, turned=False):
    planted = plant(SHAPE, 1e-3, 0.0, rotation_deg=0.5, shift=(seed % 5, -2.0))
    grey = shoot(np.random.default_rng(seed), page, planted.affine)
    grey = cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    out = io.BytesIO()
    Image.fromarray(grey[::-1, ::-1] if turned else grey).save(out, "PNG")
    out.seek(0)
    return out


@pytest.fixture(scope="module")
def pages():
    return [printed_page(np.random.default_rng(40 + at), SHAPE) for at in range(len(PLACES))]


@pytest.fixture(scope="module")
def runner():
    with Runner(1) as made:
        yield made


@pytest.fixture
def studio(pages, tmp_path):
    """Three scans from before, by name; three after-scans: two without a name, one misnamed."""
    made = studio_with_item(tmp_path / "s")
    before = [Source(f"{name}-before.png", scan(page, 1 + at))
              for at, (name, page) in enumerate(zip(PLACES, pages, strict=True))]  # fmt: skip
    assert not take_in(made, ITEM, before).to_assign
    yield made
    made.close()


def arrive(studio, *files):
    return take_in(studio, ITEM, [Source(name, content) for name, content in files])


def by_name(studio):
    return {one.filename: one for one in studio.state(ITEM).captures.values()}


def test_unnamed_after_scans_are_proposed_where_their_page_is(studio, pages, runner):
    arrive(studio, ("img7.png", scan(pages[2], 20)), ("img8.png", scan(pages[0], 21, turned=True)))
    state = studio.state(ITEM)
    assert len(known_matches(studio, state).left) == 2
    found = match_item(studio, ITEM, runner)
    assert known_matches(studio, state).found == found
    assert start_matching(studio, state, runner) is None
    seen = contact.view(state, known_matches(studio, state))
    places = {row.filename: (row.place, row.moment, row.sure) for row in seen.rows}
    assert places["img7.png"] == ("w02.outer.left", "after", True)
    assert places["img8.png"] == ("w01.outer.left", "after", True)
    assert "upside down" in next(row.why for row in seen.rows if row.filename == "img8.png")


def test_a_name_that_says_another_page_than_the_print_is_named(studio, pages, runner):
    arrive(studio, ("w01-outer-left-after.png", scan(pages[1], 22)),
           ("w02-outer-left-after.png", scan(pages[2], 23)))  # fmt: skip
    found = match_item(studio, ITEM, runner)
    (quarrel,) = quarrels(studio.state(ITEM), found)
    assert "w01-outer-left-after.png stands at wrap 1, outer side, left half" in quarrel.says
    assert "w01-outer-right-before.png" in quarrel.says
    assert by_name(studio)["w01-outer-left-after.png"].place == "w01.outer"


def test_a_picture_of_no_page_here_is_left_to_the_person(studio, runner):
    stranger = printed_page(np.random.default_rng(99), SHAPE)
    report = arrive(studio, ("img9.png", scan(stranger, 24)))
    placed = put_in_place(studio, ITEM, report, runner, match_content=True)
    assert placed.places == {}
    assert not by_name(studio)["img9.png"].place


def test_by_print_and_then_by_order_without_a_page(studio, pages, runner):
    stranger = printed_page(np.random.default_rng(98), SHAPE)
    report = arrive(studio, ("a2.png", scan(stranger, 25)), ("a10.png", scan(pages[0], 26)))
    placed = put_in_place(
        studio, ITEM, report, runner, by_order="halves", moment="after", match_content=True
    )
    names = by_name(studio)
    assert names["a10.png"].place == "w01.outer"
    assert names["a10.png"].moment == "after"
    assert (names["a2.png"].place, names["a2.png"].panel) == ("c.outer", "left")
    assert len(placed.places) == 2


def test_an_answer_is_looked_for_again_when_there_are_other_scans_to_look_among(
    studio, pages, runner
):
    arrive(studio, ("b1.png", scan(printed_page(np.random.default_rng(97), SHAPE), 27)))
    assert [one.state for one in match_item(studio, ITEM, runner).values()] == ["none"]
    own = scan(printed_page(np.random.default_rng(97), SHAPE), 28)
    arrive(studio, ("w03-outer-left-before.png", own))
    assert known_matches(studio, studio.state(ITEM)).left
    assert [one.state for one in match_item(studio, ITEM, runner).values()] == ["found"]


def test_orders_and_moments_that_are_none_are_refused():
    from quirewell.stages.placing import check_order

    for order, moment, says in (("zigzag", "", "halves"), ("", "during", "before or after")):
        with pytest.raises(Refusal, match=says):
            check_order(order, moment)
    check_order("", "")
    check_order("sides", "after")
