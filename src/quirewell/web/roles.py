"""Who may see which address: one table, and what is in no row is nobody's but the bench's.

Three may come in. The *bench* does everything. A *guest* at the bench reads the record of the
treatment. An *owner* who holds a link reads the report and the pictures of the one item it is
for. Guests and owners read only: another method than GET and HEAD is never theirs, whatever the
address. A test walks every route of the application and fails where one stands in no row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from starlette.routing import BaseRoute, Match
from starlette.types import Scope

from quirewell.web.links import Link
from quirewell.web.sessions import BENCH, GUEST

# Under these names the doors write into a request's scope; no client can.
ROLE, LINKS = "quirewell.role", "quirewell.links"
OWNER = "owner"
READ = frozenset({"GET", "HEAD"})
MOST_KNOWN, LONGEST_KNOWN = 4096, 400

# Read before anybody is known: nothing of the studio stands on them.
OPEN = frozenset((
    "/in", "/out", "/trust", "/trust/certificate.crt", "/seen/{token}", "/static",
))  # fmt: skip
# Written to by anybody, guest or not: they begin or end one's own session.
OPEN_WRITES = frozenset(("/in", "/out"))
# The report and the pictures of one item: its owner's link, guests and the bench.
REPORT = frozenset((
    "/item/{item}/report/read", "/item/{item}/report/copy/{form}.pdf",
    "/item/{item}/prove/pictures", "/item/{item}/prove/{place}",
    "/item/{item}/prove/{place}/{which}.png",
    "/item/{item}/pair/{run}/{which}/info.json", "/item/{item}/pair/{run}/difference.png",
    "/item/{item}/pair/{run}/small/{which}.jpg", "/item/{item}/pair/{run}/{which}/{rest:path}",
    "/item/{item}/relief/{run}/{name}.png", "/item/{item}/relief/{run}/on/{pair}/{name}.png",
    "/picture/{sha256}/{size}.jpg", "/tiles/{sha256}/info.json", "/tiles/{sha256}/{rest:path}",
))  # fmt: skip
# The record of a treatment without money, people, keys: guests and the bench.
RECORD = frozenset((
    "/", "/search", "/item/{item}", "/item/{item}/in-hand.json",
    "/item/{item}/examine", "/item/{item}/examine/{sheet}", "/item/{item}/examine/condition",
    "/item/{item}/examine/{sheet}/damage",
    "/item/{item}/examine/{sheet}/damage/{side}/{half}/{moment}",
    "/item/{item}/look/{capture}",
    "/item/{item}/treat", "/item/{item}/treat/before", "/item/{item}/trial",
    "/item/{item}/rejoin", "/item/{item}/rejoin/next", "/item/{item}/rejoin/lay/{place}",
    "/item/{item}/rejoin/holes/{place}",
    "/item/{item}/finish", "/item/{item}/finish/press/runs",
    "/item/{item}/prove", "/item/{item}/prove/evidence",
    "/item/{item}/source", "/item/{item}/source/{ref:path}",
    "/bench", "/bench/press", "/bench/press/runs", "/recipes", "/recipes/{key}", "/rules",
    "/wrong",
))  # fmt: skip
# Read by the bench alone.
BENCH_READS = frozenset((
    "/new", "/today", "/sw.js", "/today/state.json", "/decisions", "/clients",
    "/bench/strip.pdf", "/bench/health", "/backups",
    "/backups/archive", "/backups/archive/in-hand.json", "/backups/archive/{name}.zip",
    "/bench/tablets", "/bench/tablets/code-{which:str}.svg",
    "/rules/{name}.csv", "/recipes/{key}/{edition}.toml", "/wrong.pdf",
    "/books", "/books/sales", "/books/collection", "/books/wants", "/books/stock",
    "/books/memory",
    "/parcels", "/parcels/in-hand.json", "/parcels/kept/{parcel}/{kind}.{ext}",
    "/plan", "/plan/in-hand.json", "/plan/calendar.ics", "/plan/day/{day}.pdf",
    "/buying", "/buying/{offer}",
    "/item/{item}/grid", "/item/{item}/cards.pdf", "/item/{item}/money",
    "/item/{item}/intake", "/item/{item}/intake/sheet", "/item/{item}/condition.pdf",
    "/item/{item}/examine/condition/damage.json", "/item/{item}/examine/condition/damage.svg",
    "/item/{item}/examine/condition/damage.csv", "/item/{item}/examine/condition/damage.pdf",
    "/item/{item}/look/{capture}/correct", "/item/{item}/decide",
    "/item/{item}/treat/card/{bath}.pdf",
    "/item/{item}/rejoin/sheet.pdf", "/item/{item}/rejoin/board.pdf",
    "/item/{item}/report/{report}.pdf",
    "/item/{item}/owner", "/item/{item}/owner/{kind}.pdf",
    "/item/{item}/send", "/item/{item}/send/after", "/item/{item}/send/share",
    "/item/{item}/send/share/{name}.{kind}", "/item/{item}/send/link",
    "/item/{item}/send/archive",
))  # fmt: skip
READS_OF = {
    BENCH: OPEN | REPORT | RECORD | BENCH_READS,
    GUEST: OPEN | REPORT | RECORD,
    OWNER: OPEN | REPORT,
}


@dataclass(frozen=True, slots=True)
class Matched:
    """The route an address leads to: its template ("" for none) and what fills it."""

    template: str
    fills: dict[str, str]


class Addresses:
    """The routes of an application, asked by path; what was asked is remembered, up to a point."""

    def __init__(self, routes: Iterable[BaseRoute]) -> None:
        self.routes = tuple(routes)
        self._known: dict[str, Matched] = {}

    def matched(self, path: str) -> Matched:
        """The first route that takes this path to be read, as the router itself would choose."""
        found = self._known.get(path)
        if found is None:
            found = self._search(path)
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            if len(path) <= LONGEST_KNOWN:
                self._known[path] = found
        return found

    def _search(self, path: str) -> Matched:
        scope: Scope = {
            "type": "http", "method": "GET", "path": path, "root_path": "", "headers": [],
        }  # fmt: skip
        partly = Matched("", {})
        for route in self.routes:
            match, child = route.matches(scope)
            if match is Match.NONE:
                continue
            fills = {name: str(value) for name, value in child.get("path_params", {}).items()}
            found = Matched(str(getattr(route, "path", "")), fills)
            if match is Match.FULL:
                return found
            partly = partly if partly.template else found
        return partly


def may(role: str | None, method: str, template: str) -> bool:
    """Whether a role may ask for a route this way; somebody unknown sees what is open only.

    >>> may("guest", "GET", "/item/{item}/treat"), may("guest", "POST", "/item/{item}/treat")
    (True, False)
    >>> may("bench", "POST", "/parcels/plan"), may("owner", "GET", "/"), may(None, "GET", "/in")
    (True, False, True)
    """
    if role == BENCH:
        return True
    if method not in READ:
        return method == "POST" and template in OPEN_WRITES
    return template in READS_OF.get(role or "", OPEN)


def link_for(links: Iterable[Link], item: str) -> Link | None:
    """The link that opens an item, of those a browser holds."""
    return next((one for one in links if one.item == item), None)
