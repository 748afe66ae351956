"""One rule for all verbs: a fault is a sentence, JSON when asked for, and exit 2."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from quirewell.cli.main import main

FAULTS = (
    ("measure", "none.tif"),
    ("compare", "none.tif", "nor-this.tif"),
    ("studio", "check", "no-such-folder"),
    ("bath", "--no-such-option"),
)


@pytest.mark.parametrize("words", FAULTS, ids=lambda words: words[0])
def test_a_fault_is_a_sentence_and_exit_2(words: tuple[str, ...]) -> None:
    result = CliRunner().invoke(main, list(words))
    assert result.exit_code == 2
    assert not result.stdout and len(result.stderr.strip()) > 20


@pytest.mark.parametrize("words", FAULTS, ids=lambda words: words[0])
def test_with_json_a_fault_is_json_on_standard_output_too(words: tuple[str, ...]) -> None:
    result = CliRunner().invoke(main, [*words, "--json"])
    assert result.exit_code == 2
    assert set(json.loads(result.stdout)) == {"error"}
    assert json.loads(result.stdout)["error"].split(":")[-1].strip().rstrip(".") in result.stderr
