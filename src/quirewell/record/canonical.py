"""Canonical JSON and the hash chain of the journal.

A journal entry is hashed over text that every language writes the same way: keys sorted,
no spaces, UTF-8, and every number as a decimal string, since floats do not round-trip
across languages. The rule has a version; the first event of a studio states it.
"""

from __future__ import annotations

import hashlib
import json
import math
from decimal import Decimal
from typing import Any

CHAIN_VERSION = 1
GENESIS = "0" * 64


def decimal_text(number: int | float | Decimal) -> str:
    """Shortest decimal text that reads back as the same number.

    Raises:
        ValueError: for NaN and infinities, which no reading can be.
    """
    if isinstance(number, float):
        if not math.isfinite(number):
            raise ValueError(f"a recorded number must be finite, got {number!r}")
        return float.__repr__(number)  # also of a float of numpy, which calls itself otherwise
    if isinstance(number, Decimal):
        if not number.is_finite():
            raise ValueError(f"a recorded number must be finite, got {number}")
        return str(number)
    return str(number)


def plain(value: Any) -> Any:
    """Value with every number replaced by its decimal text, ready for :func:`canonical`."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (int, float, Decimal)):
        return decimal_text(value)
    if isinstance(value, dict):
        for key in value:
            if not isinstance(key, str):
                raise TypeError(f"keys of a recorded value must be text, got {key!r}")
        return {key: plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(entry) for entry in value]
    raise TypeError(f"cannot record a {type(value).__name__}: {value!r}")


def _text(value: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise ValueError(f"text must be Unicode without broken signs, got {value!r}") from error
    return value


def canonical(value: Any) -> str:
    """Canonical JSON text of a value: sorted keys, no spaces, numbers as decimal strings."""
    return json.dumps(plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def link(previous_hash: str, payload: str) -> str:
    """SHA-256 (hex) that chains ``payload`` (canonical text) to the event before it."""
    return hashlib.sha256(f"{previous_hash}\n{payload}".encode()).hexdigest()
