"""A tablet's browser at the tablets' door: signs in over TLS, is a secure context, may keep pages.

The studio's certificate is trusted by its key alone (``--ignore-certificate-errors-spki-list``);
another browser without that is refused.
"""

from __future__ import annotations

import base64
import hashlib
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Error, Page, Playwright, expect

from browser.bench_tablet import ITEM, Tablet, held_once, make_studio
from browser.conftest import FLAGS
from lan_studio import CHEAP, WORDS
from quirewell.cli.serve import bind
from quirewell.web.addresses import find_reach, own_addresses
from quirewell.web.app import build, local_door, tablets_door
from quirewell.web.certificate import ready
from quirewell.web.lan import Lan, make_lan
from quirewell.web.passphrase import set_passphrase
from quirewell.web.serving import TwoDoors, tls

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not own_addresses(), reason="this machine has no address on a network"),
]


@dataclass(frozen=True)
class Opened:
    lan: Lan
    machine: str
    page: Page
    stranger: Page


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory, playwright: Playwright) -> Iterator[Opened]:
    folder: Path = tmp_path_factory.mktemp("tablet") / "studio"
    make_studio(folder)
    set_passphrase(folder, WORDS, n=CHEAP)
    listening, reach = bind(0), find_reach()
    port = listening.getsockname()[1]
    sockets = tuple(bind(port, one) for one in reach.addresses)
    lan = make_lan(folder, reach, port, ready(folder, "Larkmoor paper bench", reach))
    app = build(folder, workers=1, lan=lan)
    server = TwoDoors(
        local_door(app), tablets_door(app, lan), sockets, tls(lan.trust.server)
    )  # fmt: skip
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    server_key = x509.load_pem_x509_certificate(lan.trust.server.read_bytes()).public_key()
    spki = server_key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    pin = base64.b64encode(hashlib.sha256(spki).digest()).decode()
    home = tmp_path_factory.mktemp("profile")
    tablet = playwright.chromium.launch_persistent_context(
        str(home), executable_path=shutil.which("chromium"),
        args=[*FLAGS, f"--ignore-certificate-errors-spki-list={pin}"],
        viewport={"width": 820, "height": 1180}, has_touch=True,
    )  # fmt: skip
    other = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
    yield Opened(lan, f"http://127.0.0.1:{port}", tablet.new_page(), other.new_page())
    other.close()
    tablet.close()
    server.should_exit = True
    thread.join(timeout=15)


def nobody_in(opened: Opened) -> None:
    """Each test by itself, whichever ran before it."""
    opened.page.context.clear_cookies()
    for one in opened.lan.sessions.all():
        opened.lan.sessions.put_out(one.id)


def sign_in(opened: Opened) -> None:
    nobody_in(opened)
    page = opened.page
    page.goto(f"{opened.lan.urls[0]}in")
    page.fill("#passphrase", WORDS)
    page.fill("#name", "Wet bench")
    page.get_by_role("button", name="Sign in").click()


def test_a_browser_that_does_not_trust_it_is_kept_out(opened: Opened) -> None:
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        opened.stranger.goto(opened.lan.urls[0])


def test_a_tablet_signs_in_and_has_all_a_secure_page_has(opened: Opened) -> None:
    nobody_in(opened)
    page, home = opened.page, opened.lan.urls[0]
    page.goto(f"{home}wrong?item={ITEM}")
    assert page.url.startswith(f"{home}in?back=")
    page.fill("#passphrase", "not these words")
    page.fill("#name", "Wet bench")
    page.get_by_role("button", name="Sign in").click()
    assert page.get_by_role("alert").inner_text().startswith("Not signed in")
    assert page.input_value("#name") == "Wet bench"
    page.fill("#passphrase", WORDS)
    page.get_by_role("button", name="Sign in").click()
    assert page.url == f"{home}wrong?item={ITEM}"
    assert "signed in as “Wet bench”" in page.locator("footer").inner_text()
    assert page.evaluate("isSecureContext")
    assert page.evaluate("'wakeLock' in navigator && 'serviceWorker' in navigator")
    assert page.evaluate("'mediaDevices' in navigator && 'randomUUID' in crypto")
    assert page.evaluate("document.cookie") == ""


def test_a_tablet_may_keep_the_bench_page(opened: Opened) -> None:
    """The service worker is fetched, allowed by the content policy, and takes hold."""
    sign_in(opened)
    page = opened.page
    page.goto(f"{opened.lan.urls[0]}today")
    kept = page.evaluate(
        "navigator.serviceWorker.register('/sw.js').then(() => navigator.serviceWorker.ready)"
        ".then((one) => one.active.scriptURL, (error) => String(error))"
    )
    assert kept == f"{opened.lan.urls[0]}sw.js"


def test_the_code_on_the_machines_page_holds_the_address(opened: Opened) -> None:
    """Read back from the screen by OpenCV's own reader of QR codes (ISO/IEC 18004)."""
    page = opened.stranger
    page.goto(f"{opened.machine}/bench/tablets")
    found = []
    for one in page.locator("img.code").all():
        shot = cv2.imdecode(np.frombuffer(one.screenshot(), np.uint8), cv2.IMREAD_COLOR)
        found.append(cv2.QRCodeDetector().detectAndDecode(shot)[0])
    assert found == [f"{opened.lan.urls[0]}trust", opened.lan.urls[0]]


@pytest.mark.parametrize("width", [320, 820, 1440])
def test_no_page_of_the_door_is_wider_than_the_screen(opened: Opened, width: int) -> None:
    page = opened.stranger
    page.set_viewport_size({"width": width, "height": 1000})
    for path in ("/bench/tablets", "/trust"):
        page.goto(f"{opened.machine}{path}")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_put_out_on_the_machine_the_tablet_is_asked_again(opened: Opened) -> None:
    sign_in(opened)
    machine, tablet = opened.stranger, opened.page
    machine.goto(f"{opened.machine}/bench/tablets")
    machine.get_by_role("button", name="Put out Wet bench").click()
    assert "No tablet is signed in." in machine.locator("main").inner_text()
    tablet.goto(f"{opened.lan.urls[0]}new")
    assert tablet.url.startswith(f"{opened.lan.urls[0]}in?back=")
    told = tablet.evaluate(
        "fetch('/today/send', {method: 'POST', headers: {Accept: 'application/json'}})"
        ".then(async (one) => [one.status, (await one.json()).saved])"
    )
    assert told == [401, False]


def test_what_is_typed_after_being_put_out_is_sent_once_signed_in_again(opened: Opened) -> None:
    """The door's 401 in the middle of a bath: the entry stays on the tablet and says why."""
    sign_in(opened)
    page, home, folder = opened.page, opened.lan.urls[0], opened.lan.studio
    tablet = Tablet(page.context, home.rstrip("/"))
    for one in opened.lan.sessions.all():
        opened.lan.sessions.put_out(one.id)
    tablet.note("wrap 3 is soft at the fold")
    expect(tablet.page.locator("#outbox")).to_contain_text("Sign in again", timeout=20_000)
    held_once(folder, [], [])
    tablet.page.goto(f"{home}in?back=/today")
    tablet.page.fill("#passphrase", WORDS)
    tablet.page.get_by_role("button", name="Sign in").click()
    expect(tablet.page.locator("qw-today[data-ready]")).to_be_attached()
    tablet.until_saved()
    held_once(folder, [], tablet.notes)
