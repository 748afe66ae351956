"""Full-text search: what is planted is found, what is undone is not, and odd words do no harm."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quirewell.record.books import Client
from quirewell.record.codec import to_body
from quirewell.record.dealing import Custody, Mishap
from quirewell.record.event import Draft
from quirewell.record.nouns import Item
from quirewell.studio.database import is_sqlite
from quirewell.studio.search import Found
from quirewell.studio.search_words import asked, folded, marked
from quirewell.studio.studio import STUDIO, Studio
from studio_help import ITEM, capture, defect, step, studio_with_item

OTHER = "larkmoor-almanack"


@pytest.fixture(params=["sqlite", "postgresql"])
def studio(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Studio]:
    if request.param == "postgresql":
        request.getfixturevalue("on_postgres")
    with studio_with_item(tmp_path / "s") as made:
        noun = Item("Larkmoor Almanack of Été", "1931", owner="R. Fennick", notes="a date stamp")
        made.append(OTHER, 0, [Draft(OTHER, "item.opened", to_body(noun))])
        yield made


def where(found: Found) -> list[tuple[str, str]]:
    return [(one.stream, hit.key) for one in found.items for hit in one.hits]


def hits(found: Found) -> list[str]:
    """The marked pieces, in order."""
    return [part for one in found.items for hit in one.hits for part, hit_is in hit.parts if hit_is]


def test_planted_words_are_found_where_they_stand(studio: Studio) -> None:
    mishap = Mishap("m1", "the blotter slipped", "w02", done_about="lifted with a spatula")
    studio.append(
        ITEM, 2,
        [defect(extent="a foxed corner"), capture("c7", place="w03.outer.left"), step(),
         Draft(ITEM, "mishap.noted", to_body(mishap))],
    )  # fmt: skip
    assert where(studio.search("foxed")) == [(ITEM, "defect-1")]
    assert where(studio.search("BLOTTER")) == [(ITEM, "m1")]
    assert where(studio.search("spatul")) == [(ITEM, "m1")]
    assert where(studio.search("c7.png")) == [(ITEM, "c7")]
    assert where(studio.search("surface clean")) == [(ITEM, "step-1")]
    assert where(studio.search("date stamp")) == [(OTHER, "item")]
    assert where(studio.search("1931")) == [(OTHER, "item")]
    assert where(studio.search(OTHER)) == [(OTHER, "item")]
    assert studio.search("nowhere").items == ()
    found = studio.search("blotter").items[0].hits[0]
    assert (found.collection, found.place) == ("mishaps", "w02")
    assert found.parts[1] == ("blotter", True)


def test_accents_and_case_count_for_nothing_on_either_side(studio: Studio) -> None:
    assert where(studio.search("ete")) == where(studio.search("ÉTÉ")) == [(OTHER, "item")]
    assert where(studio.search("e\u0301te\u0301")) == [(OTHER, "item")]
    assert hits(studio.search("ete")) == ["Été"]


def test_every_word_must_stand_and_the_title_counts_for_its_records(studio: Studio) -> None:
    studio.append(ITEM, 2, [defect(extent="a foxed corner")])
    studio.append(OTHER, 1, [replace(defect(extent="a foxed edge"), stream=OTHER)])
    assert where(studio.search("copperbeck foxed")) == [(ITEM, "defect-1")]
    assert where(studio.search("foxed larkmoor")) == [(OTHER, "defect-1")]
    assert studio.search("foxed blotter").items == ()


def test_a_title_goes_before_words_inside_records(studio: Studio) -> None:
    studio.append(OTHER, 1, [replace(defect(extent="like the copperbeck one"), stream=OTHER)])
    assert where(studio.search("copperbeck")) == [(ITEM, "item"), (OTHER, "defect-1")]


def test_a_new_title_holds_for_every_record_of_the_item(studio: Studio) -> None:
    studio.append(ITEM, 2, [defect(extent="a foxed corner")])
    described = Draft(ITEM, "item.described", to_body(Item("Thistle Quarterly", "1936")))
    studio.append(ITEM, 3, [described])
    assert where(studio.search("thistle foxed")) == [(ITEM, "defect-1")]
    assert studio.search("copperbeck foxed").items == ()
    assert studio.rebuild_differs() == []


def test_what_is_undone_or_set_aside_is_not_found_and_what_is_corrected_is(studio: Studio) -> None:
    noted = studio.append(ITEM, 2, [defect(extent="a foxed corner")])
    studio.undo(ITEM, noted[0].seq)
    assert studio.search("foxed").items == ()
    studio.append(ITEM, None, [defect("defect-2", extent="a gnawed corner")])
    studio.append(ITEM, None, [defect("defect-2", extent="a chewed corner")])
    assert studio.search("gnawed").items == ()
    assert where(studio.search("chewed")) == [(ITEM, "defect-2")]
    studio.append(ITEM, None, [Draft(ITEM, "record.retracted", {"id": "defect-2"})])
    assert studio.search("chewed").items == ()
    assert studio.rebuild_differs() == []


def test_names_are_found_by_the_bench_only(studio: Studio) -> None:
    client = Client("client-1", "Ottilie Marsh", "the mill house")
    studio.append(STUDIO, None, [Draft(STUDIO, "client.kept", to_body(client))])
    custody = Custody("client-1", came_with="a cedarwood box")
    studio.append(ITEM, 2, [Draft(ITEM, "custody.taken", to_body(custody))])
    for words, place in (
        ("ottilie", (STUDIO, "client-1")), ("fennick", (OTHER, "owner")),
        ("cedarwood", (ITEM, "custody")),
    ):  # fmt: skip
        assert where(studio.search(words)) == [place]
        assert studio.search(words, private=False).items == ()
    gone = replace(client, name="O. Marsh")
    studio.append(STUDIO, None, [Draft(STUDIO, "client.kept", to_body(gone))])
    assert studio.search("ottilie").items == ()


def test_pages_of_a_search_hold_each_item_once(studio: Studio) -> None:
    for number in range(7):
        name = f"annual-{number}"
        drafts = [Draft(name, "item.opened", to_body(Item(f"Annual {number}", notes="quarrel")))]
        drafts += [replace(defect(f"d{n}", extent="quarrel"), stream=name) for n in range(5)]
        studio.append(name, 0, drafts)
    pages = [studio.search("quarrel", limit=3, offset=offset) for offset in (0, 3, 6, 9)]
    assert [len(page.items) for page in pages] == [3, 3, 1, 0]
    assert {page.item_count for page in pages[:3]} == {7}
    assert pages[0].record_count == 42
    assert len({one.stream for page in pages for one in page.items}) == 7
    assert [(one.records, len(one.hits)) for one in pages[0].items] == [(6, 3)] * 3
    one = studio.search("quarrel", item="annual-3", each=50)
    assert [(hit.stream, len(hit.hits)) for hit in one.items] == [("annual-3", 6)]


def test_words_made_anew_are_the_words_kept_live(studio: Studio) -> None:
    client = Client("client-1", "Ottilie Marsh")
    studio.append(STUDIO, None, [Draft(STUDIO, "client.kept", to_body(client))])
    studio.append(ITEM, 2, [defect(extent="a foxed corner"), capture("c7")])
    words = ("foxed", "ottilie", "copperbeck", "1936", "png")
    live = [studio.search(word) for word in words]
    studio.rebuild()
    assert [studio.search(word) for word in words] == live
    assert studio.rebuild_differs() == []


def test_words_that_were_meddled_with_are_noticed(studio: Studio) -> None:
    with studio.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE search_entry SET words='nothing' WHERE key='item'")
    assert any(ITEM in fault for fault in studio.rebuild_differs())
    studio.rebuild()
    with studio.engine.begin() as connection:
        name = "rowid" if is_sqlite(connection) else "id"
        connection.exec_driver_sql(f"DELETE FROM search_index WHERE {name} = 1")
    assert any("index of words" in fault for fault in studio.rebuild_differs())
    studio.rebuild()
    assert studio.rebuild_differs() == []


ODD = (
    '"', "'", "*", "NEAR(a b)", "a NEAR b", 'lime" OR "1"="1', "heading:x", "{words}: a", "^a",
    "a AND", "NOT", "(", "-a", "\0", "a\0b", "😀", "ﬁ", "ß", "%", "_", "\u202e", "x" * 10_000,
    "a " * 5_000, ":*", "'); DROP TABLE journal;--", "\ud800", "٣", "ʼ", "a+b", "🧷1936",
)  # fmt: skip


@pytest.mark.parametrize("typed", ODD, ids=range(len(ODD)))
def test_what_a_person_types_is_never_a_query_language(studio: Studio, typed: str) -> None:
    found = studio.search(typed)
    assert isinstance(found, Found)
    assert len(found.words) <= 12
    assert studio.rebuild_differs() == []


def test_operators_are_looked_for_as_words(studio: Studio) -> None:
    studio.append(ITEM, 2, [defect(extent="near or not, and so on")])
    for typed in ("NEAR", "near OR not", "AND", '"or"'):
        assert where(studio.search(typed)) == [(ITEM, "defect-1")]


@pytest.fixture(scope="module")
def shelf() -> Iterator[Studio]:
    with tempfile.TemporaryDirectory() as folder, studio_with_item(Path(folder) / "s") as made:
        yield made


@settings(max_examples=150, deadline=None)
@given(typed=st.text(max_size=60))
def test_any_text_gives_an_answer(shelf: Studio, typed: str) -> None:
    found = shelf.search(typed)
    assert found.words == asked(typed)


@settings(max_examples=60, deadline=None)
@given(extent=st.text(min_size=1, max_size=40))
def test_any_word_that_was_written_is_found(shelf: Studio, extent: str) -> None:
    shelf.append(ITEM, None, [defect(extent=extent)])
    for word in folded(extent).split()[:3]:
        if len(word) <= 64:
            assert (ITEM, "defect-1") in where(shelf.search(word, each=9)), word


@given(text=st.text(max_size=400), word=st.text(min_size=1, max_size=5))
def test_a_marked_piece_is_a_piece_of_the_text(text: str, word: str) -> None:
    parts = marked(text, asked(word))
    shown = "".join(part for part, _ in parts).removeprefix("… ").removesuffix(" …")
    assert shown in text


def test_a_long_text_is_cut_around_the_hit() -> None:
    text = "one " * 100 + "needle in it " + "two " * 100
    parts = marked(text, ("needle",))
    assert ("needle", True) in parts
    assert sum(len(part) for part, _ in parts) < 200
    assert parts[0][0] == "… "
