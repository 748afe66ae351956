"""Pages of lists, slices of all items, and a bound on what is held."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Item, ItemState, Step
from quirewell.studio.database import reading
from quirewell.studio.faults import NoSuchItem
from quirewell.studio.lists import HAVINGS, ORDERS, Where
from quirewell.studio.slices import Slices
from quirewell.studio.states_held import States, weight
from quirewell.studio.studio import Studio
from studio_help import capture, new_studio

TITLES = ("Éclair Weekly", "copperbeck annual", "Thistle Reader", "Copperbeck Almanack", "Zinnia")


@pytest.fixture(params=["sqlite", "postgresql"])
def studio(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Studio]:
    if request.param == "postgresql":
        request.getfixturevalue("on_postgres")
    with new_studio(tmp_path / "s") as made:
        for number, title in enumerate(TITLES):
            stream = f"i{number}"
            noun = Item(title, str(1940 - number) if number else "")
            made.append(stream, 0, [Draft(stream, "item.opened", to_body(noun))])
        yield made


def ids(studio: Studio, **where: str) -> list[str]:
    return [line.id for line in studio.page(Where(**where))]  # type: ignore[arg-type]


def add_step(studio: Studio, stream: str, state: str, done_at: str = "") -> None:
    noun = Step("step-1", "surface-clean", ("w01",), state, done_at=done_at)  # type: ignore[arg-type]
    studio.append(stream, None, [Draft(stream, f"step.{state}", to_body(noun))])


def test_a_list_is_sorted_by_what_was_asked(studio: Studio) -> None:
    assert ids(studio) == ["i4", "i3", "i2", "i1", "i0"]
    assert ids(studio, order="title") == ["i3", "i1", "i0", "i2", "i4"]
    assert ids(studio, order="year") == ["i4", "i3", "i2", "i1", "i0"]
    add_step(studio, "i1", "planned")
    assert ids(studio)[0] == "i1"
    assert ids(studio, order="opened") == ["i4", "i3", "i2", "i1", "i0"]


def test_a_list_is_narrowed_by_words_of_the_title_or_the_year(studio: Studio) -> None:
    assert ids(studio, title="COPPERBECK") == ["i3", "i1"]
    assert ids(studio, title="copper alm") == ["i3"]
    assert ids(studio, title="eclair") == ["i0"]
    assert ids(studio, title="1939") == ["i1"]
    assert ids(studio, title="opperbeck") == []
    assert ids(studio, title="100%_") == []


def test_a_list_is_narrowed_by_how_items_stand(studio: Studio) -> None:
    add_step(studio, "i1", "planned")
    add_step(studio, "i2", "started")
    add_step(studio, "i3", "done", "2030-05-01T10:00Z")
    studio.append("i4", None, [Draft("i4", "capture.added", capture().body)])
    assert ids(studio, having="open") == ["i2", "i1"]
    assert ids(studio, having="under way") == ["i2"]
    assert ids(studio, having="planned") == ["i1"]
    assert ids(studio, having="unassigned") == ["i4"]
    assert ids(studio, having="due", day="2031-05-01") == []
    assert ids(studio, having="due", day="2031-05-02") == ["i3"]
    assert ids(studio, having="sold") == []
    assert len(ids(studio, having="unsold")) == 5
    assert ids(studio, order="check")[0] == "i3"


@pytest.mark.parametrize("having", HAVINGS)
@pytest.mark.parametrize("order", ORDERS)
def test_pages_hold_every_item_once_and_the_count_is_theirs(
    studio: Studio, having: str, order: str
) -> None:
    where = Where("", having, order, "2031-01-01")  # type: ignore[arg-type]
    pages = [studio.page(where, 2, offset) for offset in range(0, 8, 2)]
    found = [line.id for page in pages for line in page]
    assert len(found) == len(set(found)) == studio.count(where)


def test_an_item_is_found_by_its_title_or_its_id_and_the_unknown_is_said(studio: Studio) -> None:
    assert studio.find("zinnia ") == "i4"
    assert studio.find("i4") == "i4"
    assert studio.find("Zinni") is None
    with pytest.raises(NoSuchItem, match="it has: i4, i3"):
        studio.state("nothing")


def test_a_slice_holds_what_was_asked_and_raises_at_the_rest(studio: Studio) -> None:
    add_step(studio, "i2", "planned")
    states = studio.states("steps")
    assert [state.id for state in states] == ["i2", "i4", "i3", "i1", "i0"]
    full = studio.state("i2")
    assert (states[0].steps, states[0].item) == (full.steps, full.item)
    assert states[0].touched["step-1"] == full.touched["step-1"]
    for look in (len, list, bool, dict):
        with pytest.raises(LookupError, match="captures of the items were not read"):
            look(states[0].captures)  # type: ignore[operator]
    with pytest.raises(LookupError):
        states[0].runs.get("x")


def test_a_slice_follows_what_is_saved_undone_and_made_anew(studio: Studio) -> None:
    assert [len(state.steps) for state in studio.states("steps")] == [0] * 5
    add_step(studio, "i2", "planned")
    assert next(iter(studio.states("steps"))).steps["step-1"].state == "planned"
    studio.undo("i2", studio.events("i2")[-1].seq)
    assert all(not state.steps for state in studio.states("steps"))
    add_step(studio, "i2", "planned")
    studio.rebuild()
    assert [state.id for state in studio.states("steps") if state.steps] == ["i2"]


def test_what_is_worked_out_of_each_item_is_worked_out_again_where_it_changed(
    studio: Studio,
) -> None:
    seen: list[str] = []

    def count(state: object) -> int:
        seen.append(state.id)  # type: ignore[attr-defined]
        return len(state.steps)  # type: ignore[attr-defined]

    assert set(studio.each("steps", ("steps",), count).values()) == {0}
    add_step(studio, "i2", "planned")
    assert studio.each("steps", ("steps",), count)["i2"] == 1
    assert sorted(seen) == ["i0", "i1", "i2", "i2", "i3", "i4"]


def test_what_is_worked_out_once_is_kept_until_something_is_saved(studio: Studio) -> None:
    made = iter(range(9))
    assert [studio.once("x", lambda: next(made)) for _ in range(3)] == [0, 0, 0]
    add_step(studio, "i2", "planned")
    assert studio.once("x", lambda: next(made)) == 1


def test_states_held_are_bounded_and_the_oldest_goes(studio: Studio) -> None:
    held = States(3)
    for number in range(5):
        held.keep(studio.state(f"i{number}"))
        held.get("i0")
    assert len(held) == 3
    assert held.get("i0") is not None
    assert held.get("i1") is None


def test_states_held_are_bounded_by_what_they_take_and_the_last_stays(studio: Studio) -> None:
    states = [studio.state(f"i{number}") for number in range(3)]
    drawn = Run("r", "leaf.measure", 1, "exact", "c", (), drawing={"outline": "1,1 " * 25_000})
    big = replace(states[2], runs={"r": drawn})
    held = States(most_bytes=90_000)
    for state in (*states, states[0]):
        held.keep(state)
    assert (len(held), held.bytes) == (3, sum(weight(state) for state in states))
    held.keep(big)
    assert len(held) == 1 and held.get("i2") is big
    held.keep(states[0])
    assert held.get("i2") is None and held.bytes == weight(states[0])


def test_some_items_are_read_in_the_same_way_and_kept_nowhere(studio: Studio) -> None:
    add_step(studio, "i2", "planned")
    some = studio.some_states(["i0", "i2", "nothing"], "steps")
    assert some == [state for state in studio.states("steps") if state.id in ("i0", "i2")]
    assert studio.some_states([], "steps") == []


def test_what_is_worked_out_is_worked_out_anew_when_what_else_it_rests_on_changed(
    studio: Studio,
) -> None:
    rate = 2
    seen: list[str] = []

    def times(state: ItemState) -> int:
        seen.append(state.id)
        return rate * len(state.steps)

    add_step(studio, "i2", "planned")
    assert studio.each("x", ("steps",), times, "2")["i2"] == 2
    assert studio.each("x", ("steps",), times, "2")["i2"] == 2
    rate = 3
    assert studio.each("x", ("steps",), times, "3")["i2"] == 3
    assert len(seen) == 10
    assert list(studio.each("x", ("steps",), times, "3")) == [one.id for one in studio.page()]


@pytest.mark.parametrize("most", [0, 8_000, 10**9])
def test_slices_kept_stay_within_their_bound_and_say_the_same(studio: Studio, most: int) -> None:
    slices = Slices(most)
    for turn in range(3):
        add_step(studio, f"i{turn}", "planned")
        studio.append("i4", None, [Draft("i4", "capture.added", capture(f"c{turn}").body)])
        for wanted in (("steps",), ("captures", "steps"), ("gathering",), ("steps",)):
            with reading(studio.engine) as connection:
                read = slices.read(connection, wanted)
            full = [studio.state(line.id) for line in studio.page()]
            names = [name for name in wanted if name != "gathering"]
            for state, whole in zip(read, full, strict=True):
                assert (state.id, state.version, state.item) == (
                    whole.id,
                    whole.version,
                    whole.item,
                )
                assert all(getattr(state, name) == getattr(whole, name) for name in names)
            assert slices.kept_bytes <= most


def test_more_items_than_are_read_at_a_time_are_all_read(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_step(studio, "i1", "planned")
    whole = studio.states("steps")
    monkeypatch.setattr("quirewell.studio.slices.AT_ONCE", 2)
    studio.rebuild()
    assert studio.states("steps") == whole and len(whole) == 5
