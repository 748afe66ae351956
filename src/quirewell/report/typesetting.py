"""The typesetter in a process of its own: what it takes of memory goes back when it is done.

A long report holds thousands of links, and the typesetter keeps each of its passes over them in
memory: about 2.5 MiB for each picture with its numbers, whatever the size of the picture. From
:data:`LONG_FROM` links on it is therefore not left to look up where a link leads. The pages are
set once to see where everything lies, again with these places written in, and so on until they
hold; each time in a new process, none of which has anything to look up. That takes about a fourth
of the memory. Run as ``python -m quirewell.report.typesetting``; the request comes as JSON.
"""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import typst

REFUSED = 3
LONG_FROM, MOST_TURNS = 2000, 6
MARK = "\\ue000"  # how a number that leads to its source begins in the data (report/origins.py)


class Refused(RuntimeError):
    """The typesetter's own reason for refusing."""


def set_pages(request: dict[str, Any]) -> bytes:
    """A PDF from a template on disk, in this process.

    Raises:
        Refused: the typesetter refused.
    """
    try:
        made = typst.compile(
            request["template"],
            root=request["root"],
            ignore_system_fonts=True,
            font_paths=[],
            sys_inputs=_inputs(request),
            pdf_standards=request["standards"],
            timestamp=request["timestamp"],
        )
    except typst.TypstError as error:
        raise Refused(error.message) from error
    assert isinstance(made, bytes)
    return made


def found_places(request: dict[str, Any]) -> str:
    """Where everything lies when the pages are set with the places of the request, as JSON.

    Raises:
        Refused: the typesetter refused.
    """
    try:
        found = typst.query(
            request["template"], "<places>", field="value", one=True, root=request["root"],
            ignore_system_fonts=True, font_paths=[], sys_inputs=_inputs(request),
        )  # fmt: skip
    except typst.TypstError as error:
        raise Refused(error.message) from error
    return json.dumps(json.loads(found), sort_keys=True)


def _inputs(request: dict[str, Any]) -> dict[str, str]:
    return {name: request[name] for name in ("data", "places", "gather") if name in request}


def set_pages_apart(request: dict[str, Any]) -> bytes:
    """The same in a process of its own, in several turns where there are very many links.

    Raises:
        Refused: the typesetter refused, or its process ended before it was done.
    """
    if request["data"].count(MARK) < LONG_FROM:
        return _apart(request)
    places = json.dumps({"printed": {}, "to": {}})
    for _ in range(MOST_TURNS):
        found = _apart({**request, "places": places, "gather": "yes"}).decode()
        if found == places:
            return _apart({**request, "places": places})
        places = found
    return _apart(request)  # Pages that do not come to rest: all at once, whatever it takes.


def _apart(request: dict[str, Any]) -> bytes:
    done = subprocess.run(
        [sys.executable, "-m", "quirewell.report.typesetting"],
        input=json.dumps(request).encode(), capture_output=True, check=False,
    )  # fmt: skip
    if done.returncode == 0 and done.stdout:
        return done.stdout
    if done.returncode == REFUSED:
        raise Refused(done.stderr.decode(errors="replace").strip())
    if done.returncode < 0:
        raise Refused(
            f"its process was ended by the system ({-done.returncode}), most likely for want of "
            "memory; close other programs and write it again, or write the short form, which "
            "takes little"
        )
    why = done.stderr.decode(errors="replace").strip().rpartition("\n")[2]
    raise Refused(f"its process ended with {done.returncode} ({why[:200] or 'without a word'})")


def main() -> int:
    """Read a request, write the PDF (or the places, where they are wanted) to standard output."""
    _go_first()
    request = json.load(sys.stdin)
    try:
        made = found_places(request).encode() if "gather" in request else set_pages(request)
    except Refused as error:
        sys.stderr.write(str(error))
        return REFUSED
    sys.stdout.buffer.write(made)
    return 0


def _go_first() -> None:
    """Where memory runs out, the system is to end this process and not the server (Linux)."""
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("1000", encoding="ascii")


if __name__ == "__main__":
    sys.exit(main())
