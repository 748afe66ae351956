"""A studio full of private things, and whoever may come to it from the network."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from starlette.applications import Starlette

from lan_studio import BASE, CHEAP, WORDS, HandClock, lan_studio
from quirewell.record.nouns import Item
from quirewell.stages.taking_in import Source, take_in
from quirewell.web.app import build, local_door, tablets_door
from quirewell.web.lan import Lan
from quirewell.web.passphrase import set_passphrase
from report_case import add
from share_case import NAMES, planted
from web_client import TestClient

GUEST_WORDS = "willow brick candle moss"
ITEM, OTHER = "annual", "plain"
PAGE = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "none"}


def planted_studio(folder: Path) -> None:
    """Two items with private things in every place, and passphrases for bench and guests."""
    with planted(folder, pairs=2) as studio:
        add(studio, OTHER, ("item.opened", Item("Thrushfield Show Book", owner=NAMES["client"])))
        for item, grey in ((ITEM, 190), (OTHER, 120)):
            out = io.BytesIO()
            Image.new("RGB", (60, 80), (200, grey, 150)).save(out, "PNG")
            take_in(studio, item, [Source("x.png", io.BytesIO(out.getvalue()))])
    set_passphrase(folder, WORDS, n=CHEAP)
    set_passphrase(folder, GUEST_WORDS, n=CHEAP, guest=True)


@dataclass
class Visited:
    """Both doors of one studio, and clients by who they are."""

    lan: Lan
    clock: HandClock
    app: Starlette
    machine: TestClient

    def stranger(self, address: str = "192.168.1.77") -> TestClient:
        """A client at the tablets' door that is not known, and never follows where it is led."""
        return TestClient(
            tablets_door(self.app, self.lan), base_url=BASE, client=(address, 40000),
            follow_redirects=False, raise_server_exceptions=False,
        )  # fmt: skip

    def signed_in(self, words: str) -> TestClient:
        """A tablet signed in with a passphrase."""
        tablet = self.stranger()
        answer = tablet.post("/in", data={"passphrase": words})
        assert answer.status_code == 303, answer.text
        return tablet

    def guest(self) -> TestClient:
        return self.signed_in(GUEST_WORDS)

    def owner(self, item: str = ITEM, days: str = "14") -> TestClient:
        """A browser that opened a new link to an item."""
        token, _ = self.lan.links.make(item, days)
        client = self.stranger("192.168.1.90")
        answer = client.get(f"/seen/{token}", headers=PAGE)
        assert answer.status_code == 303, answer.text
        return client


def visited(folder: Path) -> Visited:
    """The studio in ``folder`` at both doors; open ``machine`` as a context before use."""
    clock = HandClock()
    lan = lan_studio(folder, clock)
    app = build(folder, workers=1, lan=lan)
    return Visited(lan, clock, app, TestClient(local_door(app), base_url="http://127.0.0.1:8765"))
