"""Single leaves on the rejoin page: boxes of their own, refused in words, shown as said."""

from __future__ import annotations

import html

from web.conftest import Bench

# Two wraps with a counted leaf between pages 4 and 7 of ten (planted).
WRAPS = {"pages.w01": "10 1 2 9", "pages.w02": "8 3 4 7"}


def post(bench: Bench, form: dict[str, str]) -> str:
    answer = bench.client.post(bench.url("/rejoin/sheets"), data=form)
    assert answer.status_code in (200, 422), answer.text[:300]
    return html.unescape(answer.text)


def test_a_leaf_is_said_and_shown_with_the_pages_each_sheet_should_bear(bench: Bench) -> None:
    page = post(bench, WRAPS | {"pages.s01": "5, 6", "after.s01": "4"})
    assert "1 single leaf counted in the numbers" in page
    assert "Insert: Single leaf 1 carries pages 5 and 6 and belongs behind page 4" in page
    assert "in its place: 10 1 2 9" in page
    assert 'name="pages.s01" value="5 6"' in page and 'name="after.s01" value="4"' in page
    assert 'name="pages.s02" value=""' in page
    lay = bench.client.get(bench.url("/rejoin/lay/w01"))
    assert "page 9" in html.unescape(lay.text)


def test_what_cannot_be_is_said_at_its_box_and_nothing_is_lost(bench: Bench) -> None:
    for typed, says in (
        ({"pages.s01": "5 6 7"}, "two, front and back"),
        ({"pages.s01": "<b>"}, "two, front and back"),
        ({"pages.s01": "5 6", "after.s01": "-1"}, "a number, or empty"),
        ({"pages.s01": "5 6", "after.s01": "99999"}, "0 to 9999"),
        ({"pages.s01": "5 6", "after.s01": "5"}, "right-hand page"),
        ({"note.s01": "laid in"}, "write its two pages"),
    ):
        page = post(bench, WRAPS | typed)
        assert says in page, typed
        for text in typed.values():
            assert f'value="{text}"' in page
        assert not bench.state.found


def test_two_pages_in_a_wraps_own_line_are_a_leaf(bench: Bench) -> None:
    page = post(bench, {"pages.w01": "8 1 2 7", "pages.w02": "3 4"})
    assert "one half of wrap 2; nothing seen carries the other, pages 5 and 6" in page


def test_the_guide_says_where_a_leaf_goes_in_again(bench: Bench) -> None:
    def lay(place: str) -> str:
        return html.unescape(bench.client.get(bench.url(f"/rejoin/lay/{place}")).text)

    # Wraps 10 1 2 9 and 8 3 4 7, leaf 5 6 in the middle: page 4 is the centre wrap's inner left.
    post(bench, WRAPS | {"pages.s01": "5, 6", "after.s01": "4"})
    post(bench, {"pages.s02": "- -"})
    assert "lay in single leaf 1 (pages 5 and 6) on page 4, on the left" in lay("w02")
    assert "Single leaf 2: nobody said where it lay" in lay("w02")
    assert "lay in single" not in lay("w01") and "Single leaf 2" not in lay("w01")
    # Behind page 8, the outer left of wrap 2: it goes in before that wrap, on the right.
    post(bench, {"pages.s02": "- -", "after.s02": "8"})
    assert "lay in single leaf 2 on the right, under wrap 2" in lay("w01")
    post(bench, {"pages.s02": "- -", "after.s02": "0"})
    assert "lay in single leaf 2 on the left" in lay("c")
