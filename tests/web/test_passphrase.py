"""The passphrase: prepared as RFC 8265 (OpaqueString) says, hashed as RFC 7914 (scrypt) says."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest

from lan_studio import CHEAP, WORDS
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder
from quirewell.web.passphrase import (
    FILE,
    BadPassphrase,
    _hash,
    kept_passphrase,
    matches,
    prepared,
    set_passphrase,
)


@pytest.mark.parametrize(
    ("typed", "stands"),
    [
        # RFC 8265, section 4.3, examples 12 to 16.
        ("correct horse battery staple", "correct horse battery staple"),
        ("Correct Horse Battery Staple", "Correct Horse Battery Staple"),
        ("\u03c0\u00df\u00e5", "\u03c0\u00df\u00e5"),
        ("Jack of \u2666s", "Jack of \u2666s"),
        ("foo\u1680bar", "foo bar"),
        # NFC, as rule 4 there: one keyboard sends the letter, another letter and accent.
        ("cafe\u0301 no\u00a0sugar", "caf\u00e9 no sugar"),
        # Not NFKC: what only looks alike stays what it was.
        ("\ufb01ne", "\ufb01ne"),
    ],
)
def test_is_prepared_as_the_standard_says(typed: str, stands: str) -> None:
    assert prepared(typed) == stands


@pytest.mark.parametrize("typed", ["my cat is a \tby", "a\0b", "a\ud800b", "x" * 257])
def test_refuses_what_no_keyboard_types_and_what_is_huge(typed: str) -> None:
    with pytest.raises(BadPassphrase):
        prepared(typed)


def test_hashes_as_the_published_vector() -> None:
    """RFC 7914, section 12, second of ours: N 1024, r 8, p 16; its first 32 of 64 bytes, since
    the last step (PBKDF2) writes blocks of 32."""
    expected = "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
    assert _hash("password", b"NaCl", 1024, 8, 16).hex() == expected


@pytest.mark.parametrize(
    "typed", ["", "short one", "  eleven sgn ", "aaaaaaaaaaaaaaaa", "ababababab ab"]
)
def test_refuses_a_weak_one_and_keeps_the_earlier(tmp_path: Path, typed: str) -> None:
    set_passphrase(tmp_path, WORDS, n=CHEAP)
    with pytest.raises(BadPassphrase, match="least"):
        set_passphrase(tmp_path, typed, n=CHEAP)
    kept = kept_passphrase(tmp_path)
    assert kept is not None and matches(kept, WORDS)


def test_lets_in_the_right_one_only(tmp_path: Path) -> None:
    kept = set_passphrase(tmp_path, "caf\u00e9 without sugar", n=CHEAP)
    assert kept_passphrase(tmp_path) == kept
    for typed in (
        "caf\u00e9 without sugar",
        "cafe\u0301 without\u00a0sugar",
        " caf\u00e9 without sugar ",
    ):
        assert matches(kept, typed)
    for typed in (
        "",
        "cafe without sugar",
        "Caf\u00e9 without sugar",
        "caf\u00e9 without sugar\t x",
        "x" * 9999,
    ):
        assert not matches(kept, typed)


def test_keeps_no_word_of_it_and_is_its_owners_alone(tmp_path: Path) -> None:
    set_passphrase(tmp_path, WORDS, n=CHEAP)
    path = keys_folder(tmp_path) / FILE
    assert not any(word in path.read_text() for word in WORDS.split())
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert [entry.name for entry in path.parent.iterdir()] == [FILE]
    first = json.loads(path.read_text())
    set_passphrase(tmp_path, WORDS, n=CHEAP)
    assert json.loads(path.read_text())["salt"] != first["salt"]


@pytest.mark.parametrize(
    "text", ["", "{}", "[1]", '{"salt": "zz", "n": 2, "r": 8, "p": 1, "hash": ""}']
)
def test_a_damaged_file_is_a_sentence_and_lets_nobody_in(tmp_path: Path, text: str) -> None:
    (keys_folder(tmp_path) / FILE).write_text(text)
    with pytest.raises(StudioError, match="set the passphrase anew"):
        kept_passphrase(tmp_path)
