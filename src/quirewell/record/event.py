"""Events: the only way anything becomes true of an item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from quirewell.record.canonical import canonical


@dataclass(frozen=True, slots=True)
class Draft:
    """An event not yet in the journal: ``stream`` is an item id or "studio"."""

    stream: str
    kind: str
    body: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Event:
    """An event in the journal.

    ``seq`` counts over the studio from 1, ``version`` over the stream from 1; ``at`` is an
    ISO 8601 UTC instant and ``zone`` the bench's time zone name.
    """

    seq: int
    stream: str
    version: int
    kind: str
    body: dict[str, Any]
    at: str
    zone: str
    actor: str
    prev: str
    hash: str

    def payload(self) -> str:
        """The canonical text that is hashed."""
        return canonical(
            {
                "seq": self.seq,
                "stream": self.stream,
                "version": self.version,
                "kind": self.kind,
                "body": self.body,
                "at": self.at,
                "zone": self.zone,
                "actor": self.actor,
            }
        )
