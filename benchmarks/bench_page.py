"""From the touch to the saved tick on the bench page, beside a plain synced append.

A real browser on loopback: a reading is typed and read back; the clock runs from the touch on
"Right, save it" to the tick "Saved on the disk". Within it the entry is kept in the browser's own
store (synced), sent, read, checked and written to the journal (synced), and answered. The peer, in
the same run and on the same disk, is a journal of the same events by the plain SQLite of Python's
own library: write-ahead log, synchronous FULL, one transaction an entry. Runs alternate; medians.
"""

from __future__ import annotations

import shutil
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import Page, sync_playwright

from quirewell.stages.overview import open_item
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"
ENTRIES, WARM, STEPS_BEFORE = 40, 3, 200
_WATCH = """() => {
  window.touched = window.ticked = 0;
  const tick = document.querySelector('#tick');
  tick.replaceChildren();
  new MutationObserver((_, seen) => {
    if (!tick.querySelector('.tickmark')) return;
    window.ticked = performance.now();
    seen.disconnect();
  }).observe(tick, {childList: true, subtree: true});
  addEventListener('pointerup', () => { window.touched = performance.now(); },
    {once: true, capture: true});
}"""


def bench() -> dict[str, float]:
    """Medians and 95th hundredths [ms], and how many plain synced appends a tick is worth."""
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "studio"
        _fill(folder)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        server = _serve(folder, port)
        try:
            ticks, plain = _measure(f"http://127.0.0.1:{port}/today", folder)
        finally:
            server.kill()
            server.wait()
        with Studio.open(folder) as studio:
            kept = sum(event.kind == "reading.taken" for event in studio.events(ITEM))
    ticks.sort()
    return {
        "entries": len(ticks),
        "lost_or_doubled": abs(kept - STEPS_BEFORE - ENTRIES - WARM),
        "tick_median_ms": round(statistics.median(ticks), 1),
        "tick_95_of_100_ms": round(ticks[int(0.95 * len(ticks))], 1),
        "plain_append_median_ms": round(statistics.median(plain), 3),
        "tick_over_plain_append": round(statistics.median(ticks) / statistics.median(plain), 1),
    }


def _fill(folder: Path) -> None:
    """An item that has been worked on for a while: its state is not empty."""
    from quirewell.stages.one_box import keep_reading

    with Studio.create(folder, "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "9"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        for at in range(STEPS_BEFORE):
            state = studio.state(ITEM)
            drafts = keep_reading(state, {"value": f"pH 6.{at % 10} at 21C", "place": "w01"})
            studio.append(ITEM, state.version, drafts)


def _serve(folder: Path, port: int) -> subprocess.Popen[bytes]:
    run = "from quirewell.cli.main import main; main()"
    command = [sys.executable, "-c", run, "serve", "--studio", str(folder), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(600):
        try:
            with urlopen(f"http://127.0.0.1:{port}/today/state.json", timeout=5):
                return server
        except (URLError, OSError):
            time.sleep(0.1)
    server.kill()
    raise RuntimeError("the server did not open its pages in a minute")


def _measure(url: str, folder: Path) -> tuple[list[float], list[float]]:
    journal = _plain_journal(folder)
    ticks, plain = [], []
    found = shutil.which("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
        page = context.new_page()
        page.goto(url)
        page.wait_for_selector("qw-today[data-ready]", state="attached")
        for at in range(ENTRIES + WARM):
            ticks.append(_one(page, at))
            plain += [_append(journal, at * 5 + more) for more in range(5)]
        browser.close()
    journal.close()
    return ticks[WARM:], plain[5 * WARM :]


def _one(page: Page, at: int) -> float:
    for _ in range(20):
        if page.locator("#q-reading form").is_visible():
            break
        page.locator("#q-reading summary").tap()
    page.locator("#r-value").fill(f"pH 7.{at % 10} at 21C")
    page.locator("[data-read]").tap()
    right = page.locator(".readback button.act")
    right.wait_for()
    page.evaluate(_WATCH)
    right.tap()
    while not page.evaluate("window.ticked"):
        time.sleep(0.02)
    took = float(page.evaluate("window.ticked - window.touched"))
    page.wait_for_timeout(400)
    return took


def _plain_journal(folder: Path) -> sqlite3.Connection:
    journal = sqlite3.connect(folder.parent / "plain.db", isolation_level=None)
    journal.execute("PRAGMA journal_mode=WAL")
    journal.execute("PRAGMA synchronous=FULL")
    journal.execute("CREATE TABLE journal (seq INTEGER PRIMARY KEY, kind TEXT, body TEXT)")
    return journal


def _append(journal: sqlite3.Connection, at: int) -> float:
    began = time.perf_counter()
    journal.execute("BEGIN IMMEDIATE")
    for kind in ("reading.taken", "entry.sent"):
        row = (kind, f'{{"id":"reading-{at}","value":"7.9","as_typed":"pH 7.9 at 21C"}}')
        journal.execute("INSERT INTO journal (kind, body) VALUES (?, ?)", row)
    journal.execute("COMMIT")
    return 1000 * (time.perf_counter() - began)
