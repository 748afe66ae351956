"""A studio with a passphrase, reached as a tablet reaches it; a clock that is set by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from quirewell.studio.studio import Studio
from quirewell.web.addresses import Reach
from quirewell.web.certificate import ready
from quirewell.web.lan import Lan, passphrase_name
from quirewell.web.limits import Limits
from quirewell.web.links import Links
from quirewell.web.passphrase import set_passphrase
from quirewell.web.sessions import Sessions

WORDS = "wren copper ladle frost"
ADDRESS, NAME, PORT = "192.168.1.20", "bench.local", 8765
BASE = f"https://{ADDRESS}:{PORT}"
REACH = Reach((NAME,), (ADDRESS,))
CHEAP = 1 << 10


@dataclass
class HandClock:
    """Stands still until it is moved; as an instant, and as seconds that only grow."""

    at: datetime = field(default_factory=lambda: datetime(2031, 3, 2, 18, 0, tzinfo=UTC))

    def __call__(self) -> datetime:
        return self.at

    def seconds(self) -> float:
        return self.at.timestamp()

    def move(self, **by: float) -> None:
        self.at += timedelta(**by)


def lan_studio(folder: Path, clock: HandClock) -> Lan:
    """The tablets' side of a new studio in ``folder``; its passphrase is WORDS."""
    if not folder.exists():
        Studio.create(folder, "Larkmoor paper bench").close()
        set_passphrase(folder, WORDS, n=CHEAP)
    sessions = Sessions(folder, lambda role: passphrase_name(folder, role), clock)
    trust = ready(folder, "Larkmoor paper bench", REACH, clock)
    return Lan(folder, REACH, PORT, trust, sessions, Limits(clock.seconds), Links(folder, clock))
