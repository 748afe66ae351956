"""Several people at once, on either engine: the chain stays whole, nothing acknowledged is lost,
and a save made on an old value is refused."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from postgres_server import Server
from quirewell.studio.check import check
from quirewell.studio.database import engine_of
from quirewell.studio.faults import Busy, ServerLost
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

PEOPLE, ROUNDS, KILLS = ("Ada", "Ben", "Cleo"), 12, 6

# Each person opens an item of their own, notes things on the shared one, and counts one shared
# record up by one, each time from what they see. A count that rests on an old value is refused.
PERSON = """
import sys
from quirewell.record.event import Draft
from quirewell.studio.faults import Stale
from quirewell.studio.studio import Studio
folder, shared, name, rounds = sys.argv[1:]
own = f"item-of-{name.lower()}"

def noted(stream, key, extent):
    body = {"id": key, "place": "w01", "term": "fold", "extent": extent}
    return Draft(stream, "defect.noted", body)

with Studio.open(folder) as studio:
    opened = Draft(own, "item.opened", {"title": own})
    studio.append(own, 0, [opened], actor=name)
    for n in range(int(rounds)):
        studio.append(own, None, [noted(own, f"d{n}", "")], actor=name)
        studio.append(shared, None, [noted(shared, f"{name}-{n}", "")], actor=name)
        print(f"kept {name}-{n}", flush=True)
        state = studio.state(shared)
        count = int(state.defects["count"].extent) + 1
        try:
            studio.append(
                shared, state.version, [noted(shared, "count", str(count))], actor=name,
                touched={"count": state.touched["count"]},
            )
            print("counted", flush=True)
        except Stale:
            print("stale", flush=True)
"""

WRITER = """
import sys
from quirewell.record.event import Draft
from quirewell.studio.studio import Studio
with Studio.open(sys.argv[1]) as studio:
    n = 0
    while True:
        n += 1
        body = {"id": f"{sys.argv[3]}-{n}", "place": "w01", "term": "fold"}
        studio.append(sys.argv[2], None, [Draft(sys.argv[2], "defect.noted", body)])
        print(f"{sys.argv[3]}-{n}", flush=True)
"""


@pytest.mark.usefixtures("either_engine")
def test_three_people_at_once_lose_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    with studio_with_item(folder) as studio:
        studio.append(ITEM, 2, [defect("count", extent="0")])
    people = [
        subprocess.Popen(
            [sys.executable, "-c", PERSON, str(folder), ITEM, name, str(ROUNDS)],
            stdout=subprocess.PIPE, text=True,
        )
        for name in PEOPLE
    ]  # fmt: skip
    said = [person.communicate(timeout=240)[0].split("\n") for person in people]
    assert [person.returncode for person in people] == [0, 0, 0]
    lines = [line for lines in said for line in lines]
    with Studio.open(folder) as studio:
        state = studio.state(ITEM)
        kept = {line.removeprefix("kept ") for line in lines if line.startswith("kept ")}
        assert kept == {f"{name}-{n}" for name in PEOPLE for n in range(ROUNDS)}
        assert kept | {"count"} == set(state.defects)
        # Whatever was counted stands; whatever was refused was said to be stale.
        assert state.defects["count"].extent == str(lines.count("counted"))
        assert lines.count("counted") + lines.count("stale") == len(PEOPLE) * ROUNDS
        for name in PEOPLE:
            assert len(studio.state(f"item-of-{name.lower()}").defects) == ROUNDS
            assert {e.actor for e in studio.events(f"item-of-{name.lower()}")} == {name}
    assert check(folder).ok


def _killed_after(folder: Path, lines: int, name: str) -> list[str]:
    """Let a writer acknowledge some entries, then kill it in the midst of its work."""
    command = [sys.executable, "-c", WRITER, str(folder), ITEM, name]
    told = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        for line in writer.stdout:
            told.append(line.strip())
            if len(told) == lines:
                os.kill(writer.pid, signal.SIGKILL)
    return told


@pytest.mark.usefixtures("either_engine")
def test_killed_writers_lose_nothing_and_hold_up_nobody(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    studio_with_item(folder).close()
    told: list[str] = []
    for attempt in range(KILLS):
        told += _killed_after(folder, 1 + attempt * 3, f"w{attempt}")
    with Studio.open(folder) as studio:
        assert set(told) <= set(studio.state(ITEM).defects)
        # At most the one entry of each that was under way came in without being acknowledged.
        assert len(studio.state(ITEM).defects) <= len(told) + KILLS
        studio.append(ITEM, None, [defect("afterwards")])
    assert check(folder).ok


@pytest.mark.usefixtures("on_postgres")
def test_server_that_dies_loses_nothing_acknowledged(tmp_path: Path, postgres: Server) -> None:
    kept = []
    with studio_with_item(tmp_path / "s") as studio:
        for dying in range(3):
            for n in range(random.Random(dying).randint(1, 6)):
                studio.append(ITEM, None, [defect(f"d{dying}-{n}")])
                kept.append(f"d{dying}-{n}")
            postgres.stop("immediate")
            try:
                with pytest.raises(ServerLost, match=r"does not answer.*safe"):
                    studio.append(ITEM, None, [defect("lost")])
                with pytest.raises(ServerLost):
                    studio.state(ITEM)
                with pytest.raises(ServerLost):
                    Studio.open(tmp_path / "s")
            finally:
                postgres.start()
            # The same open studio goes on as soon as the server is back.
            assert set(studio.state(ITEM).defects) == set(kept)
        assert studio.connection_check() == ([], []) and studio.rebuild_differs() == []


@pytest.mark.usefixtures("on_postgres")
def test_connection_cut_in_the_midst_of_a_save_half_saves_nothing(
    tmp_path: Path, postgres: Server
) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        name = str(studio.engine.url.database)
        postgres.let_go(name)
        (noted,) = studio.append(ITEM, 2, [defect()])  # the connection was made again by itself

        def cut(*arguments: object) -> str:
            postgres.let_go(name)
            return ""

        with pytest.raises(ServerLost):
            studio.undo(ITEM, noted.seq, guard=cut)
        assert set(studio.state(ITEM).defects) == {"defect-1"}
        studio.undo(ITEM, noted.seq)
        assert not studio.state(ITEM).defects and studio.rebuild_differs() == []


@pytest.mark.usefixtures("either_engine")
def test_writer_that_waits_too_long_is_told_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        slow = engine_of(tmp_path / "s")
        holding = slow.connect().execution_options(quirewell_writer=True)
        try:
            with holding.begin(), studio.engine.connect() as mine:
                # The wait is ten seconds; here it is made short for the studio's connections.
                if mine.dialect.name == "sqlite":
                    mine.exec_driver_sql("PRAGMA busy_timeout=100")
                    mine.rollback()
                else:
                    mine.exec_driver_sql("SELECT set_config('lock_timeout', '100ms', false)")
                    mine.commit()
                mine.close()
                with pytest.raises(Busy, match=r"nothing was saved, do it once more"):
                    studio.append(ITEM, 2, [defect()])
                assert studio.state(ITEM).version == 2
        finally:
            holding.close()
            slow.dispose()
        studio.append(ITEM, 2, [defect()])
