"""A studio of 2,000 items and 100,000 pictures beside one of 20 items, in the same run.

A real server process on loopback each; every page is asked for many times, over many items and
many pages of the list, by one connection. The same page of the small studio is the peer. What is
worked out of all items is asked for once after the start ("first") and again after a save.
``load_average`` says how busy the machine was: times are of one core, and only those of the
processor can be compared with a run under another load.
"""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ITEMS, SMALL, PICTURES = 2000, 20, 50
ROUNDS, APPENDS = 40, 60
RUN = "from quirewell.cli.main import main; main()"
# What is asked for -> its address; "{n}" is another item each time, "{p}" another page.
PAGES = {
    "list, first page": "/",
    "list, a later page": "/?page={p}",
    "list, narrowed and sorted": "/?show=unsold&sort=title&page={p}",
    "search, a rare word": "/search?words=quillwort",
    "search, a common word": "/search?words=tideline",
    "search, a word of every picture": "/search?words=left",
    "search, three words": "/search?words=copperbeck+bee+tideline",
    "search, nothing": "/search?words=nowhere",
    "item": "/item/{n}",
    "item, examine": "/item/{n}/examine",
    "item, one sheet": "/item/{n}/examine/w03",
    "item, treat": "/item/{n}/treat",
    "item, prove": "/item/{n}/prove",
    "item, money": "/item/{n}/money",
    "item, report as a page, cold": "/item/{n}/report/read",
    "today": "/today",
    "today, state": "/today/state.json",
    "when it goes wrong": "/wrong",
    "decisions": "/decisions",
    "plan": "/plan",
    "parcels": "/parcels",
    "stock": "/books/stock",
    "memory": "/books/memory",
    "clients": "/clients",
    "decide (grades that came back)": "/item/{n}/decide",
}


def bench() -> dict[str, Any]:
    """Rows by page: p50 and p95 [ms] of the big and the small studio, and their ratio."""
    sys.path.insert(0, str(HERE))
    import growth_studio

    with tempfile.TemporaryDirectory() as home:
        big, small = Path(home) / "big", Path(home) / "small"
        began = time.perf_counter()
        growth_studio.make(big, ITEMS, PICTURES)
        made_s = time.perf_counter() - began
        growth_studio.make(small, SMALL, PICTURES)
        return {"made_s": made_s, **measure(big, small)}


def measure(big: Path, small: Path) -> dict[str, Any]:
    """Everything measured over two studios that are there."""
    out: dict[str, Any] = {"items": ITEMS, "pictures": ITEMS * PICTURES, "load_before": _load()}
    peer = _pages(small, SMALL)
    mine = _pages(big, ITEMS)
    out["start_s"] = {"big": mine.pop("start_s"), "small": peer.pop("start_s")}
    out["server_mb"] = {"big": mine.pop("server_mb"), "small": peer.pop("server_mb")}
    out["pages"] = {
        name: {
            **row, "small_p50_ms": peer[name]["p50_ms"],
            "small_processor_ms": peer[name]["processor_ms"],
            "times_small": row["p50_ms"] / max(peer[name]["p50_ms"], 0.1),
        }
        for name, row in mine.items()
    }  # fmt: skip
    out["append"] = {"big": _appends(big), "small": _appends(small)}
    out["command_line_s"] = {"big": _commands(big), "small": _commands(small)}
    out["upgrade_s"] = _upgrade(big)
    out["database_mb"] = (big / "studio.db").stat().st_size / 1e6
    out["load_average"] = _load()
    return out


def _load() -> float:
    return round(os.getloadavg()[0], 1)


@contextmanager
def _served(folder: Path) -> Iterator[tuple[Callable[[str], float], float, int]]:
    """A way to ask a server for a page [s], how long it took to open [s], its process."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-c", RUN, "serve", "--studio", str(folder), "--port", str(port)]
    began = time.perf_counter()
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def ask(path: str) -> float:
        start = time.perf_counter()
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        line.request("GET", path)
        answer = line.getresponse()
        answer.read()
        line.close()
        if answer.status != 200:
            raise RuntimeError(f"{path} answered {answer.status}")
        return time.perf_counter() - start

    try:
        while True:
            try:
                ask("/search")
                break
            except OSError:
                if time.perf_counter() - began > 60:
                    raise
                time.sleep(0.02)
        yield ask, time.perf_counter() - began, server.pid
    finally:
        server.terminate()
        server.wait(timeout=60)


def _pages(folder: Path, items: int) -> dict[str, Any]:
    rows: dict[str, Any] = {}
    with _served(folder) as (ask, start_s, process):
        rows["start_s"] = start_s
        last = max(1, items // 24)
        for order, (name, path) in enumerate(PAGES.items()):
            asked = [
                path.format(n=f"item-{(7 + 41 * turn + 3 * order) % items:05d}", p=1 + turn % last)
                for turn in range(ROUNDS)
            ]
            begun = _worked_ms(process)
            first = ask(asked[0])
            worked = _worked_ms(process)
            times = sorted(ask(one) for one in asked[1:])
            rows[name] = {
                "first_ms": 1000 * first,
                "first_processor_ms": worked - begun,
                "processor_ms": (_worked_ms(process) - worked) / len(times),
                "p50_ms": 1000 * statistics.median(times),
                "p95_ms": 1000 * times[int(0.95 * len(times))],
            }
        rows["server_mb"] = _resident_mb(process)
    return rows


def _worked_ms(process: int) -> float:
    """Time of the processor a process has had, which other programs do not lengthen (to 10 ms)."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return 1000 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _resident_mb(process: int) -> float:
    lines = Path(f"/proc/{process}/status").read_text(encoding="utf-8").splitlines()
    return float(next(line for line in lines if line.startswith("VmRSS")).split()[1]) / 1024


def _appends(folder: Path) -> dict[str, float]:
    """One note saved with the words kept and without, by turns: medians [ms] and their ratio;
    then the first look at the memory after a save."""
    from quirewell.record.codec import to_body
    from quirewell.record.event import Draft
    from quirewell.record.nouns import Defect
    from quirewell.stages.memory import memory_run
    from quirewell.studio import search
    from quirewell.studio.studio import Studio

    keep, times = search.save, {True: list[float](), False: list[float]()}
    with Studio.open(folder) as studio:
        try:
            for turn in range(2 * APPENDS):
                with_words = turn % 2 == 0
                item = f"item-{turn % SMALL:05d}"
                studio.state(item)
                noun = Defect(f"late-{turn}", "w01", "tideline", f"{turn} mm", note="seen later")
                search.save = keep if with_words else (lambda *_: None)  # type: ignore[assignment]
                start = time.perf_counter()
                studio.append(item, None, [Draft(item, "defect.noted", to_body(noun))])
                times[with_words].append(1000 * (time.perf_counter() - start))
        finally:
            search.save = keep
        memory_run(studio)
        noun = Defect("late", "w01", "tideline", "2 mm")
        studio.append("item-00001", None, [Draft("item-00001", "defect.noted", to_body(noun))])
        start = time.perf_counter()
        memory_run(studio)
        again = time.perf_counter() - start
        studio.rebuild()
    words, bare = statistics.median(times[True]), statistics.median(times[False])
    return {
        "with_words_ms": words, "without_ms": bare, "ratio": words / bare,
        "memory_after_a_save_s": again,
    }  # fmt: skip


def _commands(folder: Path) -> dict[str, float]:
    found = {}
    for name, words in {
        "find": ["find", "quillwort", "--studio", str(folder)],
        "stock": ["books", "stock", "--studio", str(folder)],
        "memory": ["books", "memory", "--studio", str(folder)],
        "help": ["--help"],
    }.items():
        times = []
        for _ in range(5):
            start = time.perf_counter()
            subprocess.run(
                [sys.executable, "-c", RUN, *words], check=True, stdout=subprocess.DEVNULL
            )
            times.append(time.perf_counter() - start)
        found[name] = statistics.median(times)
    return found


def _upgrade(folder: Path) -> float:
    """Opening the same studio with the tables of the first release [s], all made anew."""
    from quirewell.studio.studio import Studio

    old = folder.parent / "old"
    shutil.copytree(folder, old)
    with sqlite3.connect(old / "studio.db") as connection:
        for table in ("search_index", "search_entry"):
            connection.execute(f"DROP TABLE {table}")
        connection.execute("UPDATE alembic_version SET version_num='0001'")
    connection.close()
    start = time.perf_counter()
    Studio.open(old).close()
    seconds = time.perf_counter() - start
    shutil.rmtree(old)
    return seconds


if __name__ == "__main__":
    import json

    print(json.dumps(bench(), indent=1))
