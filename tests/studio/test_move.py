"""Moving a studio's tables between SQLite and PostgreSQL: whole, or not at all."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from archive_case import archive_studio
from postgres_server import Server, name_in
from quirewell.studio import move as moving
from quirewell.studio import moved
from quirewell.studio import postgres as settings
from quirewell.studio.address import address_of
from quirewell.studio.backup import backup, restore
from quirewell.studio.check import check
from quirewell.studio.database import engine_of
from quirewell.studio.faults import Moved, StudioError
from quirewell.studio.move import join, move
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

Fresh = Callable[[], str]


@pytest.fixture
def fresh(postgres: Server, monkeypatch: pytest.MonkeyPatch) -> Iterator[Fresh]:
    """Addresses of empty databases, dropped at the end."""
    monkeypatch.setattr(settings, "_DURABLE", ("synchronous_commit",))
    made: list[str] = []

    def one() -> str:
        made.append(postgres.new_database())
        return made[-1]

    yield one
    for address in made:
        postgres.drop(name_in(address))


def whole(folder: Path) -> tuple[str, list[object], list[object]]:
    """Head, every entry and every state, from a studio that is well."""
    with Studio.open(folder) as studio:
        assert studio.connection_check() == ([], []) and studio.rebuild_differs() == []
        states: list[object] = [studio.state(item.id) for item in studio.items()]
        return studio.head(), [*studio.events()], [*states, studio.bench()]


def test_there_and_back_is_the_same_studio(tmp_path: Path, fresh: Fresh) -> None:
    folder = tmp_path / "s"
    archive_studio(folder).close()
    before = whole(folder)
    there = move(folder, fresh())
    assert (there.head, there.events, there.items) == (before[0], len(before[1]), 2)
    assert address_of(folder) is not None and whole(folder) == before
    with Studio.open(folder) as studio:
        studio.append("annual", None, [_noted("annual", "on the server")])
    after = whole(folder)
    assert after[0] != before[0]
    back = move(folder, "sqlite")
    assert back.head == after[0] and address_of(folder) is None and whole(folder) == after
    assert check(folder).ok
    # What the first move left behind was put aside, not lost.
    assert len(list((folder / "backups").glob("left-*.db"))) == 1
    again = fresh()
    assert move(folder, again).head == after[0] and whole(folder) == after
    assert move(folder, fresh()).head == after[0] and whole(folder) == after


def _noted(stream: str, name: str) -> object:
    draft = defect(name)
    return type(draft)(stream, draft.kind, draft.body)


def test_old_tables_stay_and_take_no_more(tmp_path: Path, fresh: Fresh) -> None:
    folder = tmp_path / "s"
    with studio_with_item(folder) as still_open:
        move(folder, fresh())
        with pytest.raises(Moved, match=r"nothing was saved.*start it anew"):
            still_open.append(ITEM, 2, [defect()])
        assert still_open.state(ITEM).version == 2
    with Studio.open(folder) as studio:
        studio.append(ITEM, 2, [defect()])
    copied = tmp_path / "elsewhere"
    copied.mkdir()
    shutil.copy(folder / "studio.db", copied)
    with pytest.raises(Moved, match="quirewell studio join"):
        Studio.open(copied)


def test_backup_of_a_moved_studio_is_restored_anywhere(tmp_path: Path, fresh: Fresh) -> None:
    folder = tmp_path / "s"
    archive_studio(folder).close()
    move(folder, fresh())
    before = whole(folder)
    assert backup(folder, tmp_path / "copy.zip").head == before[0]
    assert restore(tmp_path / "copy.zip", tmp_path / "again").ok
    assert address_of(tmp_path / "again") is None and whole(tmp_path / "again") == before


def test_second_machine_joins_and_both_see_each_other(tmp_path: Path, fresh: Fresh) -> None:
    address = fresh()
    with pytest.raises(StudioError, match=r"holds no studio yet.*studio new"):
        join(tmp_path / "early", address)
    assert not (tmp_path / "early").exists()
    with Studio.create(tmp_path / "one", "Larkmoor", database=address) as one:
        one.append(ITEM, 0, [_opened()])
        with join(tmp_path / "two", address) as two:
            assert two.name == "Larkmoor" and two.state(ITEM) == one.state(ITEM)
            two.append(ITEM, 1, [defect()])
            assert one.state(ITEM) == two.state(ITEM)
            with pytest.raises(StudioError, match="holds a studio already"):
                Studio.create(tmp_path / "three", database=address)
    with pytest.raises(StudioError, match="studio of its own"):
        join(tmp_path / "one", address)
    further = fresh()
    move(tmp_path / "one", further)
    with pytest.raises(Moved, match="quirewell studio join"):
        Studio.open(tmp_path / "two")
    with join(tmp_path / "two", further) as two:
        assert two.state(ITEM).defects


def _opened() -> object:
    from quirewell.record.event import Draft

    return Draft(ITEM, "item.opened", {"title": "Copperbeck Garden Annual"})


def test_move_into_what_holds_something_is_refused(tmp_path: Path, fresh: Fresh) -> None:
    taken = fresh()
    Studio.create(tmp_path / "other", database=taken).close()
    studio_with_item(tmp_path / "s").close()
    before = whole(tmp_path / "s")
    for to, says in (
        (taken, "holds a studio already"),
        ("sqlite", "already"),
        ("postgresql://nobody@/no_such?host=/nowhere", "does not answer"),
        ("elsewhere", "no address"),
    ):
        with pytest.raises(StudioError, match=says):
            move(tmp_path / "s", to)
    assert whole(tmp_path / "s") == before
    assert len(whole(tmp_path / "other")[1]) == 1


def test_studio_that_is_not_well_is_not_moved(tmp_path: Path, fresh: Fresh) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect()])
        with studio.engine.begin() as connection:
            connection.execute(text("DELETE FROM item_document WHERE key='defect-1'"))
    with pytest.raises(StudioError, match=r"studio\.db is not well, nothing was moved"):
        move(tmp_path / "s", fresh())
    assert address_of(tmp_path / "s") is None


def test_unsafe_server_is_refused(tmp_path: Path, postgres: Server) -> None:
    studio_with_item(tmp_path / "s").close()
    address = postgres.new_database()
    try:
        with pytest.raises(StudioError, match=r"fsync off.*power cut"):
            move(tmp_path / "s", address)
    finally:
        postgres.drop(name_in(address))


def test_move_waits_for_nobody_to_write_and_nobody_writes_past_it(
    tmp_path: Path, fresh: Fresh, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "s"
    said: list[str] = []
    with studio_with_item(folder) as studio:

        def write() -> None:
            try:
                studio.append(ITEM, 2, [defect()])
            except Moved as error:
                said.append(str(error))

        waiting = threading.Thread(target=write)
        real = moving._look_over

        def look_over(*words: object) -> None:
            if not waiting.ident:
                waiting.start()
            real(*words)  # type: ignore[arg-type]

        monkeypatch.setattr(moving, "_look_over", look_over)
        move(folder, fresh())
        waiting.join()
    assert said and "nothing was saved" in said[0]
    assert len(whole(folder)[1]) == 3


# The child dies by SIGKILL at the n-th of the steps that matter.
CHILD = """
import os, signal, sys
from quirewell.studio import move as moving, moved, postgres
postgres._DURABLE = ()
count = int(sys.argv[3])

def dying(module, name):
    real = getattr(module, name)
    def call(*words, **named):
        global count
        count -= 1
        if count == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*words, **named)
    setattr(module, name, call)

for name in ("upgrade", "set_mark", "copy_tables", "fill_file", "_look_over", "settle"):
    dying(moving, name)
for name in ("set_mark", "write_address", "_put_aside", "as_one_file", "sync_folder"):
    dying(moved, name)
moving.move(sys.argv[1], sys.argv[2])
"""


@pytest.mark.parametrize("way", ["there", "back"])
def test_killed_at_any_step_it_is_one_whole_studio(tmp_path: Path, fresh: Fresh, way: str) -> None:
    folder = tmp_path / "s"
    with studio_with_item(folder) as studio:
        studio.append(ITEM, 2, [defect(), defect("defect-2")])
    if way == "back":
        move(folder, fresh())
    before, killed = whole(folder), 0
    address = fresh() if way == "there" else "sqlite"
    for step in range(1, 12):
        command = [sys.executable, "-c", CHILD, str(folder), address, str(step)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        assert done.returncode in (0, -signal.SIGKILL), done.stderr
        killed += done.returncode != 0
        assert whole(folder) == before
        if (address_of(folder) is None) == (way == "back"):
            break  # the move was decided before it was killed, and opening put it down
    else:
        pytest.fail("the move was never done")
    assert killed >= 4
    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect("afterwards")])
    assert check(folder).ok


def test_move_that_only_had_to_be_put_down_is_put_down_when_opened(
    tmp_path: Path, fresh: Fresh
) -> None:
    folder, second = tmp_path / "s", tmp_path / "second"
    old, address = fresh(), fresh()
    Studio.create(folder, "Larkmoor", database=old).close()
    before = whole(folder)
    with join(second, old) as studio:
        assert studio.head() == before[0]

    def cut(*words: object) -> None:
        raise KeyboardInterrupt

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(moving, "settle", cut)
        with pytest.raises(KeyboardInterrupt):
            move(folder, address)
    # Another machine's folder is told, and cannot join before the mover's folder is opened.
    with pytest.raises(Moved, match=r"studio join"):
        Studio.open(second)
    with pytest.raises(StudioError, match="just being moved"):
        join(second, address)
    assert whole(folder) == before and address_of(folder).text == address  # type: ignore[union-attr]
    with join(second, address) as studio:
        assert studio.head() == before[0]


def test_one_move_at_a_time_into_a_database(tmp_path: Path, fresh: Fresh) -> None:
    studio_with_item(tmp_path / "s").close()
    address = fresh()
    target = moving.read_address(address)
    engine = moving.open_postgres(target, None)
    try:
        with (
            moving._alone(engine, target),
            pytest.raises(StudioError, match="another studio is just being moved"),
        ):
            move(tmp_path / "s", address)
    finally:
        engine.dispose()
    move(tmp_path / "s", address)


def test_mark_names_the_folder_that_moved(tmp_path: Path) -> None:
    assert moved.origin_of(tmp_path) != moved.origin_of(tmp_path / "other")
    assert os.fspath(tmp_path.resolve()) in moved.origin_of(tmp_path)
    assert engine_of(tmp_path).dialect.name == "sqlite"
