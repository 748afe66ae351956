"""The documents are true: the tutorial's commands run, the reference is what the commands say."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from quirewell.cli.main import main
from quirewell.cli.reference import reference

ROOT = Path(__file__).parents[2]
QUIREWELL = Path(sys.executable).with_name("quirewell")
FENCE = re.compile(r"```console\n(.*?)```", re.DOTALL)


def tutorial_commands() -> list[list[str]]:
    text = (ROOT / "docs/tutorial.md").read_text(encoding="utf-8")
    lines = [line for fence in FENCE.findall(text) for line in fence.splitlines()]
    return [shlex.split(line[2:]) for line in lines if line.startswith("$ ")]


def walk(command: click.Command, path: tuple[str, ...]) -> list[tuple[str, click.Command]]:
    found = [(" ".join(path), command)]
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            assert child is not None
            found += walk(child, (*path, name))
    return found


@pytest.mark.slow
def test_the_tutorial_runs_as_written(tmp_path: Path) -> None:
    commands = tutorial_commands()
    assert len(commands) >= 8
    for words in commands:
        assert words[0] == "quirewell"
        done = subprocess.run(
            [str(QUIREWELL), *words[1:]], cwd=tmp_path, capture_output=True, text=True, timeout=300
        )
        assert done.returncode == 0, f"{' '.join(words)}\n{done.stdout}\n{done.stderr}"
        if "--json" in words:
            assert isinstance(json.loads(done.stdout), dict)


def test_the_command_reference_is_what_the_commands_say() -> None:
    kept = (ROOT / "docs/reference/cli.md").read_text(encoding="utf-8")
    assert kept == reference(), "run: python -m quirewell.cli.reference > docs/reference/cli.md"


@pytest.mark.parametrize(("name", "command"), walk(main, ("quirewell",)))
def test_every_command_teaches_and_every_working_one_speaks_json(
    name: str, command: click.Command
) -> None:
    help_text = command.get_help(click.Context(command, info_name=name))
    assert len(help_text.splitlines()[2].strip()) > 20, f"{name} does not say what it does"
    if isinstance(command, click.Group) or name == "quirewell serve":
        return
    assert "--json" in help_text, f"{name} does not speak JSON"
    assert "Example" in help_text, f"{name} shows no example"


def test_the_first_words_of_the_readme_state_the_job() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    first = readme.split("\n\n")[1].replace("\n", " ")
    assert first.startswith("Quirewell is for one practitioner")
    assert len(first) > 400
