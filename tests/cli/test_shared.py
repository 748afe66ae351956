"""``quirewell studio new --database``, ``move`` and ``join``, as they are typed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from postgres_server import Server, name_in
from quirewell.cli.main import main
from quirewell.studio import postgres as settings
from quirewell.studio.address import PASSWORD, address_of
from quirewell.studio.keys import KEYS
from quirewell.studio.studio import Studio
from studio_help import ITEM, studio_with_item


def run(*words: object, typed: str = "") -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], input=typed)


@pytest.fixture
def address(postgres: Server, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setattr(settings, "_DURABLE", ("synchronous_commit",))
    made = postgres.new_database()
    monkeypatch.delenv("PGPASSWORD", raising=False)
    yield made
    postgres.drop(name_in(made))


def test_move_there_and_back_and_join(tmp_path: Path, address: str) -> None:
    home, other = tmp_path / "bench", tmp_path / "desk"
    with studio_with_item(home) as studio:
        head = studio.head()
    moved = run("studio", "move", home, "--to", address, "--json")
    assert moved.exit_code == 0, moved.output
    said = json.loads(moved.stdout)
    assert (said["head"], said["events"], said["items"]) == (head, 3, 1)
    joined = run("studio", "join", other, "--database", address)
    assert joined.exit_code == 0 and "works in the studio 'Larkmoor paper bench'" in joined.output
    with Studio.open(other) as studio:
        assert studio.head() == head and studio.state(ITEM).gathering
    back = run("studio", "move", home, "--to", "sqlite")
    assert back.exit_code == 0 and "compared on both sides" in back.output
    assert address_of(home) is None
    gone = run("studio", "check", other)
    assert gone.exit_code == 2 and "moved elsewhere" in gone.output
    assert "Traceback" not in gone.output


def test_new_studio_in_a_database_with_a_password_kept_privately(
    tmp_path: Path, address: str, postgres: Server
) -> None:
    home = tmp_path / "bench"
    words = ("studio", "new", home, "--database", address, "--ask-password")
    made = run(*words, typed="Larkmoor 7\n")
    assert made.exit_code == 0, made.output
    assert (home / KEYS / PASSWORD).read_text() == "Larkmoor 7"
    assert (
        "Larkmoor 7" not in made.output and "Larkmoor 7" not in (home / "studio.toml").read_text()
    )
    again = run("studio", "new", tmp_path / "other", "--database", address)
    assert again.exit_code == 2 and "quirewell studio join" in again.output
    postgres.let_go(name_in(address))
    assert run("studio", "check", home).exit_code == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("new", "x", "--ask-password"), "belongs to the address of a PostgreSQL database"),
        (("new", "x", "--database", "postgresql://a:secret@b/c"), "leave the password out"),
        (("join", "x", "--database", "nowhere"), "no address"),
        (("join", "x", "--database", "postgresql://a@/c?host=/nowhere"), "does not answer"),
        (("move", "x", "--to", "sqlite"), "there is no studio in"),
    ],
)
def test_what_cannot_be_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("studio", *words)
    assert done.exit_code == 2 and says in done.output and "secret" not in done.output
    assert "Traceback" not in done.output and not (tmp_path / "x").exists()
