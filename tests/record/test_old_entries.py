"""Entries as they were first written are read for ever, and said again without a change.

``tests/data/journal_kinds.jsonl`` holds one entry of every kind, frozen: lines are added for new
kinds, none is ever altered. (Written by the program itself out of an invented studio.)
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from quirewell.record.apply import KINDS
from quirewell.record.canonical import canonical
from quirewell.record.codec import BodyError, from_body, to_body
from quirewell.record.reference import reference

ROOT = Path(__file__).parents[2]
FROZEN = ROOT / "tests/data/journal_kinds.jsonl"
LINES = [json.loads(line) for line in FROZEN.read_text(encoding="utf-8").splitlines()]


def test_every_kind_has_a_frozen_entry() -> None:
    kinds = [line["kind"] for line in LINES]
    assert set(kinds) == set(KINDS), "add an entry of the new kind; never take one away"
    assert len(kinds) == len(set(kinds))


@pytest.mark.parametrize("line", LINES, ids=lambda line: str(line["kind"]))
def test_a_frozen_entry_is_read_and_said_again_as_it_was(line: dict[str, object]) -> None:
    body = line["body"]
    assert isinstance(body, dict)
    said = to_body(from_body(KINDS[str(line["kind"])].body, body))
    # A field that came later may be said with what it means when missing; no old one may move.
    assert canonical({name: said[name] for name in body}) == canonical(body)


def test_a_field_that_was_renamed_would_be_found() -> None:
    body = dict(next(line["body"] for line in LINES if line["kind"] == "reading.taken"))
    body["amount"] = body.pop("value")
    with pytest.raises(BodyError, match="amount"):
        from_body(KINDS["reading.taken"].body, body)


def test_the_reference_of_kinds_is_current() -> None:
    kept = (ROOT / "docs/reference/journal.md").read_text(encoding="utf-8")
    told = "run: python -m quirewell.record.reference > docs/reference/journal.md"
    assert kept == reference(), told
    for kind in KINDS:
        assert f"### `{kind}`" in kept
    assert "| anything |" not in kept
