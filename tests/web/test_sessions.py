"""Sessions of tablets: hashed, over a restart, ended in time; by a clock that is set by hand."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from lan_studio import CHEAP, WORDS, HandClock
from quirewell.studio.keys import keys_folder
from quirewell.web.lan import passphrase_name
from quirewell.web.passphrase import set_passphrase
from quirewell.web.sessions import FILE, IDLE, LONGEST, MOST, Sessions


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


def opened(folder: Path, clock: HandClock) -> Sessions:
    if not (keys_folder(folder) / "passphrase.json").exists():
        set_passphrase(folder, WORDS, n=CHEAP)
    return Sessions(folder, lambda role: passphrase_name(folder, role), clock)


def test_a_session_outlives_the_server_and_its_token_is_kept_nowhere(
    tmp_path: Path, clock: HandClock
) -> None:
    token, made = opened(tmp_path, clock).begin("Wet bench", "192.168.1.31")
    assert len(token) >= 43  # 256 bits in base64
    path = keys_folder(tmp_path) / FILE
    assert token not in path.read_text() and stat.S_IMODE(path.stat().st_mode) == 0o600
    clock.move(days=3)
    again = opened(tmp_path, clock).find(token, "192.168.1.31")
    assert again is not None and (again.id, again.name) == (made.id, "Wet bench")


@pytest.mark.parametrize("token", ["", "x", "0" * 43, "\ud800", "é", "a" * 60000])
def test_no_other_token_is_one(tmp_path: Path, clock: HandClock, token: str) -> None:
    sessions = opened(tmp_path, clock)
    sessions.begin("", "192.168.1.31")
    assert sessions.find(token) is None


def test_the_hash_as_kept_is_no_token(tmp_path: Path, clock: HandClock) -> None:
    sessions = opened(tmp_path, clock)
    _, made = sessions.begin("", "")
    assert sessions.find(made.token) is None and sessions.find(made.id) is None


def test_it_ends_a_fortnight_after_it_was_used(tmp_path: Path, clock: HandClock) -> None:
    sessions = opened(tmp_path, clock)
    token, _ = sessions.begin("", "")
    clock.move(seconds=IDLE.total_seconds() - 1)
    assert sessions.find(token) is not None
    clock.move(seconds=IDLE.total_seconds() - 1)
    assert sessions.find(token) is not None
    clock.move(seconds=IDLE.total_seconds())
    assert sessions.find(token) is None
    clock.move(seconds=-IDLE.total_seconds())
    assert sessions.find(token) is None


def test_it_ends_after_ninety_days_however_much_it_is_used(
    tmp_path: Path, clock: HandClock
) -> None:
    sessions = opened(tmp_path, clock)
    token, _ = sessions.begin("", "")
    for _ in range(89):
        clock.move(days=1)
        assert sessions.find(token) is not None
    clock.move(days=LONGEST.days - 89)
    assert sessions.find(token) is None
    assert opened(tmp_path, clock).find(token) is None


def test_signed_out_and_put_out_are_over_after_a_restart_too(
    tmp_path: Path, clock: HandClock
) -> None:
    sessions = opened(tmp_path, clock)
    left, _ = sessions.begin("one", "")
    thrown, made = sessions.begin("two", "")
    stays, _ = sessions.begin("three", "")
    sessions.end(left)
    sessions.put_out(made.id)
    sessions.put_out("no such one")
    for seen in (sessions, opened(tmp_path, clock)):
        assert seen.find(left) is None and seen.find(thrown) is None
        assert seen.find(stays) is not None
    assert [one.name for one in sessions.all()] == ["three"]


def test_a_new_passphrase_ends_all_at_once(tmp_path: Path, clock: HandClock) -> None:
    sessions = opened(tmp_path, clock)
    token, _ = sessions.begin("", "")
    set_passphrase(tmp_path, WORDS, n=CHEAP)
    assert sessions.find(token) is None and sessions.all() == ()


def test_signing_in_again_ends_the_session_before(tmp_path: Path, clock: HandClock) -> None:
    sessions = opened(tmp_path, clock)
    first, _ = sessions.begin("", "")
    second, _ = sessions.begin("", "", old=first)
    assert first != second
    assert sessions.find(first) is None and sessions.find(second) is not None


def test_names_are_made_plain_and_given_where_none_is_typed(
    tmp_path: Path, clock: HandClock
) -> None:
    sessions = opened(tmp_path, clock)
    sessions.begin("  Wet\n\x07bench  " + "x" * 90, "")
    for _ in range(2):
        clock.move(seconds=1)
        sessions.begin("", "")
    names = [one.name for one in sessions.all()]
    assert names[:2] == ["Tablet 2", "Tablet 1"]
    assert names[2].startswith("Wet bench xxx") and len(names[2]) == 40


def test_there_are_never_more_than_fifty(tmp_path: Path, clock: HandClock) -> None:
    sessions = opened(tmp_path, clock)
    first, _ = sessions.begin("", "")
    for _ in range(MOST):
        clock.move(seconds=1)
        sessions.begin("", "")
    assert len(sessions.all()) == MOST and sessions.find(first) is None


@pytest.mark.parametrize("text", ["", "{", "[1]", '[{"id": "a"}]', "null"])
def test_a_damaged_list_holds_nobody(tmp_path: Path, clock: HandClock, text: str) -> None:
    token, _ = opened(tmp_path, clock).begin("", "")
    (keys_folder(tmp_path) / FILE).write_text(text)
    assert opened(tmp_path, clock).find(token) is None
