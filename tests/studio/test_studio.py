"""The studio's one door: what it takes, what it refuses, and what it shows."""

from __future__ import annotations

import threading
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from quirewell.record.apply import RecordError
from quirewell.record.event import Draft
from quirewell.studio.faults import NoSuchItem, NotUndoable, Stale, StudioError
from quirewell.studio.studio import Studio, slug
from studio_help import ITEM, capture, defect, new_studio, step, studio_with_item

pytestmark = pytest.mark.usefixtures("either_engine")
sqlite_only = pytest.mark.parametrize("either_engine", ["sqlite"], indirect=True)


def test_new_studio_is_a_folder_with_the_chain_version_first(tmp_path: Path) -> None:
    with new_studio(tmp_path / "s") as studio:
        first = studio.events()[0]
        assert (first.seq, first.kind, first.body["chain_version"]) == (1, "studio.opened", "1")
        assert first.zone == "Europe/London" and first.at == "2031-04-02T18:30:01.000Z"
        assert sorted(p.name for p in studio.folder.iterdir() if p.is_dir()) == [
            "backups", "derived", "originals",
        ]  # fmt: skip
        assert studio.settings.name == "Larkmoor paper bench"


def test_studio_is_not_made_over_anything(tmp_path: Path) -> None:
    new_studio(tmp_path / "s").close()
    with pytest.raises(StudioError, match="is a studio already"):
        Studio.create(tmp_path / "s")
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "letter.txt").write_text("mine")
    with pytest.raises(StudioError, match="not empty"):
        Studio.create(tmp_path / "t")
    with pytest.raises(StudioError, match="quirewell studio new"):
        Studio.open(tmp_path / "t")


@pytest.mark.parametrize("again", [Studio.create, Studio.open])
def test_making_that_was_cut_short_is_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, again: Callable[[Path], Studio]
) -> None:
    def cut(*arguments: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Studio, "_begin", cut)
    with pytest.raises(KeyboardInterrupt):
        Studio.create(tmp_path / "s")
    monkeypatch.undo()
    with again(tmp_path / "s") as studio:
        assert [event.kind for event in studio.events()] == ["studio.opened"]
        assert studio.name == "s"


def test_one_entry_is_read_by_its_number(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        assert studio.event(2) == studio.events(ITEM)[0]
        assert studio.event(99) is None


def test_what_was_appended_is_there_after_reopening(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect()], actor="Ada")
        live = studio.state(ITEM)
        head = studio.head()
    with Studio.open(tmp_path / "s") as again:
        assert again.state(ITEM) == live
        assert again.head() == head
        assert again.events(ITEM)[-1].actor == "Ada"
        assert again.items()[0].wraps == 9
        assert again.find("copperbeck GARDEN annual") == ITEM


def test_unknown_item_is_answered_with_what_there_is(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio, pytest.raises(NoSuchItem, match=ITEM):
        studio.state("nothing")


def test_a_save_is_all_or_nothing(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        bad = Draft(ITEM, "step.corrected", step().body)
        with pytest.raises(RecordError, match="no record 'step-1'"):
            studio.append(ITEM, 2, [defect(), bad])
        assert studio.state(ITEM).version == 2 and not studio.state(ITEM).defects
        assert len(studio.events(ITEM)) == 2


def test_journal_refuses_change_and_deletion(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        for statement in ("UPDATE journal SET actor='x'", "DELETE FROM journal"):
            with (
                pytest.raises(DatabaseError, match="the journal only grows"),
                studio.engine.begin() as connection,
            ):
                connection.execute(text(statement))


@sqlite_only
def test_writes_are_durable_by_setting(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio, studio.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_stale_save_shows_what_was_seen_and_what_is_there(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect(extent="12 mm")])
        seen = studio.state(ITEM).touched["defect-1"]
        studio.append(ITEM, 3, [defect(extent="20 mm")])
        with pytest.raises(Stale) as caught:
            studio.append(ITEM, 4, [defect(extent="15 mm")], touched={"defect-1": seen})
        assert caught.value.key == "defect-1"
        assert caught.value.seen.extent == "12 mm"
        assert caught.value.now.extent == "20 mm"
        assert caught.value.sent[0].body["extent"] == "15 mm"
        assert studio.state(ITEM).defects["defect-1"].extent == "20 mm"
        again = {"defect-1": caught.value.now_touched}
        studio.append(ITEM, 4, [defect(extent="15 mm")], touched=again)
        assert studio.state(ITEM).defects["defect-1"].extent == "15 mm"


def test_stale_save_is_noticed_without_the_number_when_the_version_moved(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect()])
        studio.append(ITEM, 3, [defect(extent="20 mm")])
        with pytest.raises(Stale):
            studio.append(ITEM, 3, [defect(extent="15 mm")])


def test_change_of_another_record_meanwhile_is_merged(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect("defect-1")])
        studio.append(ITEM, 2, [defect("defect-2")], touched={"defect-2": 0})
        assert set(studio.state(ITEM).defects) == {"defect-1", "defect-2"}


def test_record_set_aside_meanwhile_is_stale_with_nothing_there(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect()])
        studio.append(ITEM, 3, [Draft(ITEM, "record.retracted", {"id": "defect-1"})])
        with pytest.raises(Stale) as caught:
            studio.append(ITEM, 4, [defect(extent="9 mm")], touched={"defect-1": 3})
        assert caught.value.now is None and caught.value.seen.extent == "12 mm"


def test_two_threads_write_one_whole_chain(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:

        def note(name: str) -> None:
            for number in range(12):
                studio.append(ITEM, None, [defect(f"{name}-{number}")])

        threads = [threading.Thread(target=note, args=(name,)) for name in "abc"]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(studio.state(ITEM).defects) == 36
        assert studio.connection_check() == ([], [])


def test_two_open_studios_see_each_other(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as one, Studio.open(tmp_path / "s") as two:
        assert two.state(ITEM).version == 2
        one.append(ITEM, 2, [defect()])
        assert two.state(ITEM).defects["defect-1"].term == "tideline"
        two.append(ITEM, 3, [defect("defect-2")])
        assert one.state(ITEM).version == 4


def test_undo_is_a_counter_event(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        (noted,) = studio.append(ITEM, 2, [defect()])
        studio.undo(ITEM, noted.seq, reason="wrong sheet")
        assert not studio.state(ITEM).defects
        assert [event.kind for event in studio.events(ITEM)][-2:] == [
            "defect.noted", "event.undone",
        ]  # fmt: skip
        assert studio.rebuild_differs() == []
        with pytest.raises(Stale):
            studio.append(ITEM, 4, [defect(extent="9 mm")], touched={"defect-1": 3})


def test_undo_of_a_change_brings_the_earlier_value_back(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        (first,) = studio.append(ITEM, 2, [defect(extent="12 mm")])
        (second,) = studio.append(ITEM, 3, [defect(extent="20 mm")])
        with pytest.raises(NotUndoable, match="changed the same record"):
            studio.undo(ITEM, first.seq)
        studio.undo(ITEM, second.seq)
        assert studio.state(ITEM).defects["defect-1"].extent == "12 mm"
        with pytest.raises(NotUndoable, match="undone already"):
            studio.undo(ITEM, second.seq)
        studio.undo(ITEM, first.seq)
        assert not studio.state(ITEM).defects


def test_undo_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        margin = {"quantity": "change.width_pct", "value": Decimal("0.2"), "unit": "%"}
        opened = studio.events(ITEM)[0]
        (locked,) = studio.append(ITEM, 2, [Draft(ITEM, "margin.locked", margin)])
        (picture,) = studio.append(ITEM, 3, [capture("c1")])
        studio.append(ITEM, 4, [Draft(ITEM, "defect.noted", {**defect().body, "capture": "c1"})])
        (begun,) = studio.append(ITEM, 5, [step("started")])
        for seq, said in (
            (opened.seq, "cannot be undone"),
            (locked.seq, "write a correction"),
            (picture.seq, "defect-1 rests on c1"),
            (begun.seq, "corrected, never undone"),
            (999, "no journal entry 999"),
        ):
            with pytest.raises(NotUndoable, match=said):
                studio.undo(ITEM, seq)
        studio.undo(ITEM, begun.seq, guard=lambda state, event: "")
        assert not studio.state(ITEM).steps


def test_undo_through_the_door_is_checked_as_well(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio, pytest.raises(NotUndoable):
        studio.append(ITEM, 2, [Draft(ITEM, "event.undone", {"seq": "2"})])


def test_rebuild_equals_live(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect(), step(), capture("c1"), capture("c2")])
        assign = {"capture": "c1", "place": "w01.outer", "panel": "left", "moment": "before"}
        (assigned,) = studio.append(ITEM, 6, [Draft(ITEM, "capture.assigned", assign)])
        studio.append(ITEM, 7, [Draft(ITEM, "record.retracted", {"id": "defect-1"})])
        studio.undo(ITEM, assigned.seq)
        studio.append(ITEM, 9, [defect("defect-2"), step("done")])
        live, items = studio.state(ITEM), studio.items()
        assert studio.rebuild_differs() == []
        studio.rebuild()
        assert studio.state(ITEM) == live and studio.items() == items
        assert list(studio.state(ITEM).captures) == ["c1", "c2"]


def test_tampered_table_is_noticed_and_rebuilt(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect()])
        with studio.engine.begin() as connection:
            connection.execute(
                text("UPDATE item_document SET body=replace(body,'12','99') WHERE key='defect-1'")
            )
        assert "differ from its journal" in studio.rebuild_differs()[0]
        studio.rebuild()
        assert studio.rebuild_differs() == []


@pytest.mark.parametrize(
    "change",
    [
        "INSERT INTO item_document VALUES ('ghost', 'item', 'item', 0, '', '{}')",
        "INSERT INTO search_entry VALUES (9999, 'ghost', 'item', 'item', '', '', 'a', 'b', 0)",
        "INSERT INTO item_summary SELECT 'ghost', title, year, version, opened_at, changed_at, "
        "wraps, pictures, unassigned, runs, steps, reports, title_key, planned, under_way, sold, "
        "check_on FROM item_summary",
    ],
)
def test_rows_of_what_the_journal_does_not_know_are_noticed(tmp_path: Path, change: str) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        with studio.engine.begin() as connection:
            connection.execute(text(change))
        assert any("ghost, which the journal does not know" in one for one in
                   studio.rebuild_differs())  # fmt: skip
        studio.rebuild()
        assert studio.rebuild_differs() == []


def test_ids_come_from_titles_and_do_not_collide(tmp_path: Path) -> None:
    assert slug("Émile & the Bees: No. 4") == "emile-the-bees-no-4"
    assert slug("夏") == "item"
    with studio_with_item(tmp_path / "s") as studio:
        assert studio.new_id("Copperbeck Garden Annual") == f"{ITEM}-2"
        assert studio.new_id("Studio") == "studio-2"
