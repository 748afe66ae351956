"""What the server holds when tablets are let in, and what a request says of who sent it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.requests import HTTPConnection

from quirewell.studio.faults import StudioError
from quirewell.web.addresses import Reach
from quirewell.web.certificate import Trust
from quirewell.web.limits import Limits
from quirewell.web.links import Links
from quirewell.web.passphrase import kept_passphrase, matches
from quirewell.web.roles import OWNER, ROLE
from quirewell.web.sessions import BENCH, GUEST, Session, Sessions

# Under these names the tablets' door writes into a request's scope; no client can.
BY_LAN, TABLET = "quirewell.by_lan", "quirewell.tablet"


@dataclass(frozen=True, slots=True)
class Lan:
    """The studio as tablets reach it: where, under which certificate, who is signed in."""

    studio: Path
    reach: Reach
    port: int
    trust: Trust
    sessions: Sessions
    limits: Limits
    links: Links

    @property
    def urls(self) -> tuple[str, ...]:
        """Where a tablet opens the studio, the best first."""
        return self.reach.urls(self.port)

    def role_of(self, text: str) -> str:
        """Whose passphrase ``text`` is, "" for nobody's; the files are read each time. Both are
        always tried, so that how long it takes does not tell which was nearer."""
        kept = {role: kept_passphrase(self.studio, role == GUEST) for role in (BENCH, GUEST)}
        found = [role for role, one in kept.items() if one is not None and matches(one, text)]
        return found[0] if found else ""

    def guests_come(self) -> bool:
        """Whether guests have a passphrase."""
        return bool(passphrase_name(self.studio, GUEST))


def passphrase_name(studio: Path, role: str = BENCH) -> str:
    """What a role's passphrase is called now; "" while there is none that can be read."""
    try:
        kept = kept_passphrase(studio, role == GUEST)
    except StudioError:
        return ""
    return kept.salt if kept else ""


def make_lan(studio: Path, reach: Reach, port: int, trust: Trust) -> Lan:
    """The tablets' side of a server over ``studio``."""
    sessions = Sessions(studio, lambda role: passphrase_name(studio, role))
    return Lan(studio, reach, port, trust, sessions, Limits(), Links(studio))


def lan_of(request: HTTPConnection) -> Lan | None:
    """The tablets' side of this server; nothing when it serves its own machine only."""
    lan: Lan | None = getattr(request.app.state, "lan", None)
    return lan


def by_lan(request: HTTPConnection) -> bool:
    """Whether the request came in by the tablets' door."""
    return request.scope.get(BY_LAN) is True


def tablet_of(request: HTTPConnection) -> Session | None:
    """The tablet that sent the request; nothing for the machine itself and for strangers."""
    tablet: Session | None = request.scope.get(TABLET)
    return tablet


def served(request: HTTPConnection) -> dict[str, Any]:
    """What every page says in its foot of who is served."""
    to = "network" if by_lan(request) else "tablets" if lan_of(request) else "machine"
    if request.scope.get(ROLE) == OWNER:
        to = "link"
    return {"served_to": to, "tablet": tablet_of(request)}
