"""The studio's passphrases: what a tablet is asked for once. Kept as scrypt only, never itself.

There is one for the bench and, where guests are let in, another for them.

What is typed is prepared as RFC 8265 says of a password (OpaqueString, [rfc8265]): every kind of
space is a plain space, composed letters are one (NFC), nothing else is changed, so that two
keyboards that write the same words mean the same. The hash is scrypt ([rfc7914]), its salt and
costs beside it, so that they may be raised later.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import unicodedata
from dataclasses import asdict, dataclass
from pathlib import Path

from quirewell.record.plain_data import json_data
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder, read_private, write_private

FILE, GUEST_FILE = "passphrase.json", "guest-passphrase.json"
SHORTEST, LONGEST, FEWEST_SIGNS = 12, 256, 6
# 128 MB and about half a second on a small machine; one at a time (see ``_ONE``).
COST_N, COST_R, COST_P = 1 << 17, 8, 1
_MOST_MEMORY = 1 << 28
_ONE = threading.Lock()


class BadPassphrase(ValueError):
    """A passphrase that cannot be used; says what is allowed and what to do."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A passphrase as kept. ``salt`` also names it: sessions begun under another are over."""

    salt: str
    n: int
    r: int
    p: int
    hash: str


def prepared(text: str) -> str:
    """What was typed as it is hashed, without spaces at its ends.

    Raises:
        BadPassphrase: it holds a sign that no keyboard types, or is too long.
    """
    if len(text) > LONGEST:
        raise BadPassphrase(f"That is longer than {LONGEST} signs; type the passphrase alone.")
    spaced = "".join(" " if unicodedata.category(sign) == "Zs" else sign for sign in text)
    composed = unicodedata.normalize("NFC", spaced).strip(" ")
    if any(unicodedata.category(sign) in ("Cc", "Cs", "Cn") for sign in composed):
        raise BadPassphrase("There is a sign in it that no keyboard types; type it by hand.")
    return composed


def check_new(text: str) -> str:
    """A new passphrase, prepared.

    Raises:
        BadPassphrase: too short or too plain.
    """
    words = prepared(text)
    if len(words) < SHORTEST:
        raise BadPassphrase(
            f"That has {len(words)} signs; a passphrase here has at least {SHORTEST}. Four or "
            "five words that do not belong together are easy to type with wet hands."
        )
    if len(set(words)) < FEWEST_SIGNS:
        raise BadPassphrase(
            f"That is made of {len(set(words))} different signs; take at least {FEWEST_SIGNS}, "
            "as four or five words have."
        )
    return words


def set_passphrase(studio: Path, text: str, n: int = COST_N, guest: bool = False) -> Kept:
    """Keep a new passphrase, the bench's or the guests'; all of that kind are to sign in again.

    Raises:
        BadPassphrase: it cannot be used, or is the other one; the earlier one stands.
    """
    words, salt = check_new(text), secrets.token_bytes(16)
    other = kept_passphrase(studio, not guest)
    if other is not None and matches(other, words):
        raise BadPassphrase(
            "That is the passphrase of the bench already; guests get one of their own."
            if guest
            else "That is the guests' passphrase already; the bench gets one of its own."
        )
    kept = Kept(salt.hex(), n, COST_R, COST_P, _hash(words, salt, n, COST_R, COST_P).hex())
    name = GUEST_FILE if guest else FILE
    write_private(keys_folder(studio) / name, json.dumps(asdict(kept)).encode())
    return kept


def no_guests(studio: Path) -> bool:
    """Take the guests' passphrase away, which ends them all; whether there was one."""
    path = keys_folder(studio) / GUEST_FILE
    if not path.exists():
        return False
    path.unlink()
    return True


def kept_passphrase(studio: Path, guest: bool = False) -> Kept | None:
    """The bench's passphrase as kept, or the guests'; nothing when none was set.

    Raises:
        StudioError: the file is damaged.
    """
    path = keys_folder(studio) / (GUEST_FILE if guest else FILE)
    data = read_private(path)
    if data is None:
        return None
    try:
        kept = Kept(**json_data(data))
        bytes.fromhex(kept.salt), bytes.fromhex(kept.hash)
    except (ValueError, TypeError, AttributeError) as error:
        raise StudioError(
            f"{path} cannot be read; set the passphrase anew: quirewell studio passphrase {studio}"
            + (" --guest" if guest else "")
        ) from error
    return kept


def matches(kept: Kept, text: str) -> bool:
    """Whether what was typed is the passphrase; takes the same time for every wrong one."""
    try:
        words = prepared(text)
    except BadPassphrase:
        words = ""
    found = _hash(words, bytes.fromhex(kept.salt), kept.n, kept.r, kept.p)
    return hmac.compare_digest(found, bytes.fromhex(kept.hash)) and bool(words)


def _hash(words: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    with _ONE:
        return hashlib.scrypt(
            words.encode(), salt=salt, n=n, r=r, p=p, maxmem=_MOST_MEMORY, dklen=32
        )
