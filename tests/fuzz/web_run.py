"""The routes under a fuzzer of interfaces: schemathesis, another environment's program.

It serves a copy of a studio (``QUIREWELL_FUZZ_STUDIO``, else ``demo-studio``, else a small one made
here), lets schemathesis send what fits the description and what does not, and counts the answers.
An answer of 500 or above is a fault; so is a studio that does not check whole afterwards.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from starlette.routing import Route

from fuzz.web_routes import MOST_PAGES, described, walk
from quirewell.studio.check import check
from quirewell.web.app import build

ROOT = Path(__file__).parents[2]
SCHEMATHESIS = ROOT / ".venv-peers" / "bin" / "schemathesis"
SERVED = Path(__file__).with_name("web_served.py")
EXAMPLES = 4
# Of each of the two parts; what was asked by then is counted.
LONGEST_S = float(os.environ.get("QUIREWELL_FUZZ_SECONDS", "900"))


def run_web(
    seed: int = 1,
    studio: Path | None = None,
    examples: int = EXAMPLES,
    routes: str = "",
    pages: int = MOST_PAGES,
) -> tuple[dict[str, Any], list[tuple[str, str, bytes]]]:
    """Figures and faults of a run; ``routes`` is a pattern of paths where not all are meant,
    ``pages`` how many are walked for ids and forms."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="quirewell-fuzz-") as name:
        folder = Path(name)
        copied = _copy(folder / "studio", studio)
        table = [one for one in build(copied).routes if isinstance(one, Route)]
        log, said = folder / "answers.tsv", folder / "server.txt"
        with _served(copied, log, said) as (port, process):
            seen = walk(port, pages)
            log.write_text("")
            description = folder / "openapi.json"
            description.write_text(json.dumps(described(table, seen)))
            told = _ask(description, port, seed, examples, routes, folder)
            alive = process.poll() is None
        answers = [line.split("\t") for line in log.read_text().splitlines()]
        faults = _faults(table, answers, said.read_text(), alive)
        whole = check(copied)
        if not whole.ok:
            faults.append(("studio", f"does not check whole: {whole}", b""))
        if len(answers) < 20:
            faults.append(("schemathesis", told[-2000:], b""))
    by_route = Counter(_route(table, method, path) for method, _, path in answers)
    by_status = Counter(status[0] + "xx" for _, status, _ in answers)
    made = {
        "requests": len(answers), "routes": len(table), "routes_asked": len(by_route),
        "answers": dict(sorted(by_status.items())), "server_errors": by_status["5xx"],
        "pages_walked_for_ids": len(seen.links), "seconds": round(time.monotonic() - began, 1),
        "least_for_a_route": min(by_route.values(), default=0),
    }  # fmt: skip
    asked = f"{made['requests']} requests to {made['routes_asked']} of {made['routes']} routes"
    print(f"web: {asked}, answers {made['answers']}, 5xx: {made['server_errors']}, "
          f"{made['seconds']:.0f} s")  # fmt: skip
    return made, faults


def _copy(target: Path, studio: Path | None) -> Path:
    given = os.environ.get("QUIREWELL_FUZZ_STUDIO", "")
    found = studio or (Path(given) if given else ROOT / "demo-studio")
    if found.is_dir():
        shutil.copytree(found, target)
    else:
        from web.conftest import make_studio

        make_studio(target)
    return target


@contextmanager
def _served(studio: Path, log: Path, said: Path) -> Iterator[tuple[int, subprocess.Popen[bytes]]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log.touch()
    with said.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, str(SERVED), str(studio), str(port), str(log)], stdout=out, stderr=out
        )
        try:
            _wait(process, port, said)
            yield port, process
        finally:
            process.terminate()
            try:
                process.wait(60)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait(process: subprocess.Popen[bytes], port: int, said: Path) -> None:
    for _ in range(3000):
        if process.poll() is not None:
            raise RuntimeError(f"the server ended: {said.read_text()[-2000:]}")
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise RuntimeError("the server does not answer")


def _ask(description: Path, port: int, seed: int, examples: int, routes: str, folder: Path) -> str:
    """What writes first, then the pages that show what was saved; what the program said."""
    here = f"http://127.0.0.1:{port}"
    config = folder / "schemathesis.toml"
    # Every method at every address would be half of all requests, for one and the same answer.
    config.write_text('[phases.coverage]\nunexpected-methods = ["DELETE"]\n')
    asked = [
        str(SCHEMATHESIS), "--config-file", str(config), "run", str(description),
        "--url", here, "-c", "not_a_server_error", "-H", f"Origin:{here}",
        "-H", "Sec-Fetch-Site:same-origin", "-m", "all", "--seed", str(seed), "-w", "2",
        "--request-timeout", "60", "--continue-on-failure", "--no-shrink", "--max-redirects", "0",
        "--suppress-health-check", "all", "--warnings", "off",
    ]  # fmt: skip
    if routes:
        asked += ["--include-path-regex", routes]
    said = ""
    for method, phases, count in (
        ("POST", "fuzzing", 2 * examples), ("GET", "coverage,fuzzing", examples),
    ):  # fmt: skip
        part = [*asked, "--include-method", method, "--phases", phases, "-n", str(count)]
        try:
            done = subprocess.run(
                part, cwd=folder, capture_output=True, text=True, timeout=LONGEST_S, check=False
            )
            said += done.stdout + done.stderr
        except subprocess.TimeoutExpired as late:
            said += f"{late}"
    return said


def _route(table: list[Route], method: str, path: str) -> str:
    plain = path.strip("'\"")
    for route in table:
        if method in (route.methods or {"GET"}) and route.path_regex.match(plain):
            return f"{method} {route.path}"
    return "none"


def _faults(
    table: list[Route], answers: list[list[str]], said: str, alive: bool
) -> list[tuple[str, str, bytes]]:
    out: dict[str, tuple[str, str, bytes]] = {}
    for method, status, path in answers:
        route = _route(table, method, path)
        if status.startswith("5") and route not in out:
            out[route] = (route, f"{status} for {path}", said[-400_000:].encode())
    found = list(out.values())
    if not alive:
        found.append(("server", f"it ended: {said[-2000:]}", said.encode()))
    return found
