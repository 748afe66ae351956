"""The pages Backups and How the studio is, the line on the start page, and the log."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from lan_studio import BASE, WORDS, HandClock, lan_studio
from quirewell.studio import log
from quirewell.studio.clock import now
from quirewell.studio.keep_make import being_made, keep_now
from quirewell.studio.keep_place import snapshots
from quirewell.studio.keep_setup import set_up, the_place
from quirewell.studio.own_settings import backup_settings, last_kept
from quirewell.studio.studio import Studio
from quirewell.web.app import build, create_app, local_door, tablets_door
from quirewell.web.keeper import Keeper
from quirewell.web.roles import may
from quirewell.web.show_mode import COOKIE
from studio_help import ITEM, defect, new_studio, studio_with_item
from web_client import TestClient

HERE = "http://127.0.0.1:8765"
FORM = {"daily": "7", "weekly": "4", "monthly": "12", "old_after": "7"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    studio_with_item(tmp_path / "studio").close()
    return tmp_path / "studio"


@pytest.fixture
def client(folder: Path) -> Iterator[TestClient]:
    with TestClient(create_app(folder, workers=1), base_url=HERE) as made:
        yield made


def wait_for_the_backup(folder: Path) -> None:
    for _ in range(600):
        if last_kept(folder).tried_at and not being_made(folder):
            return
        time.sleep(0.1)
    raise AssertionError("no backup was made within a minute")


def test_never_is_said_on_the_start_page_and_set_up_on_one_page(
    client: TestClient, folder: Path, tmp_path: Path
) -> None:
    said = client.get("/").text
    assert "There is no backup of this studio." in said and 'href="/backups"' in said
    page = client.get("/backups").text
    assert "Set them up once" in page and 'action="/backups/place"' in page
    place = tmp_path / "disk"
    answer = client.post("/backups/place", data={**FORM, "place": str(place), "daily": "3"})
    assert answer.status_code == 200 and answer.url.path == "/backups"
    assert backup_settings(folder).rotation.daily == 3
    wait_for_the_backup(folder)
    page = client.get("/backups").text
    assert "made and checked today" in page and str(place) in page
    assert "same disk as the studio" in page and "quirewell studio restore" in page
    said = client.get("/").text
    assert "made and checked today" in said and "There is no backup" not in said


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"place": ""}, "Give the whole path of a folder on another disk"),
        ({"place": "disk"}, "Give the whole path"),
        ({"place": "{}/nowhere/disk"}, "only the last folder of a path is made"),
        ({"place": "{}/studio/originals"}, "own folder"),
        ({"place": "{}/disk", "daily": "many"}, "number of days must be a whole number"),
        ({"place": "{}/disk", "old_after": "0"}, "must be from 1 to 366"),
    ],
)
def test_what_cannot_be_is_told_in_place(
    client: TestClient, folder: Path, tmp_path: Path, typed: dict[str, str], says: str
) -> None:
    form = {name: text.format(tmp_path) for name, text in typed.items()}
    answer = client.post("/backups/place", data={**FORM, **form})
    assert answer.status_code == 422 and says in answer.text
    assert f'value="{form["place"]}"' in answer.text
    assert backup_settings(folder).place == "" and not (tmp_path / "disk").exists()


def test_a_place_that_is_not_there_is_told(
    client: TestClient, folder: Path, tmp_path: Path
) -> None:
    client.post("/backups/place", data={**FORM, "place": str(tmp_path / "disk")})
    wait_for_the_backup(folder)
    (tmp_path / "disk").rename(tmp_path / "away")
    page = client.get("/backups").text
    assert "not there now" in page and "Plug the disk in" in page
    assert client.get("/bench/health").status_code == 200
    assert not (tmp_path / "disk").exists()


def test_an_old_one_is_said_on_the_start_page_only_and_never_in_show_mode(
    client: TestClient, folder: Path, tmp_path: Path
) -> None:
    set_up(folder, tmp_path / "disk")
    keep_now(folder, lambda: now() - timedelta(days=12))
    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect()])
    words = "The last backup that was checked is 12 days old."
    assert words in client.get("/").text
    for path in ("/today", f"/item/{ITEM}", "/bench"):
        assert words not in client.get(path).text
    client.cookies.set(COOKIE, "yes")
    assert words not in client.get("/").text
    for path in ("/backups", "/bench/health"):
        answer = client.get(path)
        assert answer.status_code == 403 and str(tmp_path) not in answer.text


def test_guests_see_neither_page() -> None:
    for path in ("/backups", "/bench/health"):
        assert may("bench", "GET", path)
        assert not may("guest", "GET", path) and not may("owner", "GET", path)
    for path in ("/backups/now", "/backups/place"):
        assert not may("guest", "POST", path)


def test_health_is_a_line_each_the_worst_first(client: TestClient, folder: Path) -> None:
    folder.chmod(0o777)
    page = client.get("/bench/health").text
    assert "There is no backup of this studio." in page and "chmod go-w studio" in page
    assert page.index("Wrong<") < page.index("Look<") < page.index("Fine<")


def test_a_tablet_may_back_up_but_not_say_where(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    lan = lan_studio(folder, HandClock())
    app = build(folder, workers=1, lan=lan)
    with (
        TestClient(local_door(app), base_url=HERE),
        TestClient(tablets_door(app, lan), base_url=BASE) as tablet,
    ):
        tablet.post("/in", data={"passphrase": WORDS, "name": "Bench", "back": "/"})
        page = tablet.get("/backups").text
        assert "set on the bench" in page and "/backups/place" not in page
        form = {**FORM, "place": str(tmp_path / "disk")}
        assert tablet.post("/backups/place", data=form).status_code == 403
        assert not (tmp_path / "disk").exists()


def test_by_itself_when_something_was_saved_and_a_day_has_passed(
    folder: Path, tmp_path: Path
) -> None:
    set_up(folder, tmp_path / "disk")
    keep_now(folder)
    later = Keeper(clock=lambda: now() + timedelta(days=2, hours=1))
    with Studio.open(folder) as studio:
        assert not Keeper().look(studio)
        studio.append(ITEM, None, [defect()])
        assert not Keeper().look(studio)
        before = last_kept(folder).tried_at
        assert later.look(studio) and later.busy
        assert not later.begin(folder)
        studio.append(ITEM, None, [defect("defect-2")])  # no save waits for it
        for _ in range(600):
            if last_kept(folder).tried_at != before:
                break
            time.sleep(0.1)
    good = last_kept(folder).good
    assert good is not None and last_kept(folder).tried_at != before
    later.stop()
    assert good.events > 4 and (tmp_path / "disk" / "backups" / good.snapshot).is_dir()


def test_stopping_the_server_ends_a_backup_under_way(folder: Path, tmp_path: Path) -> None:
    set_up(folder, tmp_path / "disk")
    keeper = Keeper()
    assert keeper.begin(folder)
    keeper.stop()
    assert not keeper.busy
    assert snapshots(the_place(folder)[1])[1] == []
    assert keep_now(folder).backups >= 1


# --- the log ---------------------------------------------------------------------------------


def test_requests_stand_in_the_log_by_their_pattern(folder: Path, tmp_path: Path) -> None:
    new_studio(tmp_path / "other").close()
    log.begin(folder, "serve", "debug")
    try:
        with TestClient(
            create_app(folder, workers=1), base_url=HERE, raise_server_exceptions=False
        ) as client:
            client.get(f"/item/{ITEM}/treat?show=Amabel")
            client.get("/nowhere/Amabel")
            client.get("/", headers={"host": "elsewhere.example"})
            client.post(f"/item/{ITEM}/describe", data={"title": "Amabel's book", "year": "x"})
            client.post("/new", data={"title": "Amabel's book"})
    finally:
        log.end()
    text = (folder / "log" / "serve.jsonl").read_text()
    rows = [one for one in log.lines_since(folder, now().replace(year=2000))
            if one["event"] == "request"]  # fmt: skip
    assert [(one["route"], one["status"]) for one in rows][:3] == [
        ("/item/{item}/treat", 200), ("(none)", 404), ("(door)", 400),
    ]  # fmt: skip
    saved = [one for one in log.lines_since(folder, now().replace(year=2000))
             if one["event"] == "saved"]  # fmt: skip
    assert [(one["seq"], one["kind"]) for one in saved][-1] == (5, "item.opened")
    assert all(one["ms"] >= 0 and one["bytes"] > 0 for one in rows[:3])
    assert "Amabel" not in text and ITEM not in text and str(folder) not in text


def test_a_fault_bears_the_same_number_on_the_page_and_in_the_log(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from quirewell.web.routes import kept

    def broken(*given: object) -> None:
        raise RuntimeError("Amabel paid 412.50")

    monkeypatch.setattr(kept, "place_view", broken)
    log.begin(folder, "serve")
    try:
        with TestClient(
            create_app(folder, workers=1), base_url=HERE, raise_server_exceptions=False
        ) as client:
            answer = client.get("/backups")
    finally:
        log.end()
    fault = next(one for one in log.lines_since(folder, now().replace(year=2000))
                 if one["event"] == "fault")  # fmt: skip
    assert answer.status_code == 500 and str(fault["fault"]) in answer.text
    assert fault["route"] == "/backups" and fault["kind"] == "RuntimeError"
    assert any("routes/kept.py" in place for place in fault["stack"])
    assert "Amabel" not in (folder / "log" / "serve.jsonl").read_text()
    assert "Amabel" not in answer.text


def test_just_opened_the_work_of_another_evening_is_kept_at_once(
    folder: Path, tmp_path: Path
) -> None:
    set_up(folder, tmp_path / "disk")
    keep_now(folder, lambda: now() - timedelta(hours=26))
    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect()])
        keeper = Keeper()
        assert keeper.look(studio)
        keeper.stop()
        busy = Keeper()
        busy._head = "another"  # it saw the last save a moment ago
        assert not busy.look(studio)
