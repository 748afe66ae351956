"""Typesetting: one template and its data in, a PDF out; nothing from the machine or the net.

Data reach the template as JSON, never as source, so that a title full of signs stays a title.
Written as PDF/A-2a and PDF/UA-1: typst refuses to write a file that misses alternative text, a
title or a heading level. The fonts are those the typesetter carries.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Mapping
from datetime import datetime
from importlib import resources
from pathlib import Path
from typing import Any

from quirewell.report.typesetting import Refused, set_pages, set_pages_apart

STANDARDS = ("a-2a", "ua-1")
# Signs our fonts hold: Latin with its accents, Greek, Cyrillic, punctuation, arrows, maths.
_HELD = re.compile(
    r"[\n\t\u0020-\u007e\u00a0-\u02af\u0300-\u036f\u0370-\u03ff\u0400-\u04ff\u1e00-\u1eff"
    r"\u2010-\u2027\u2030-\u203a\u20ac\u2070-\u209c\u2122\u2190-\u2193\u2212\u2248\u2260"
    r"\u2264\u2265\u25a1\u25cf\u25b8\u2713]"
)


class ReportError(RuntimeError):
    """A report that could not be written; the message says why and what to do."""


def held(text: str) -> str:
    """Text with each sign our fonts do not hold named by its number, as in "[U+4E2D]".

    >>> held("Häkchen \u4e2d")
    'Häkchen [U+4E2D]'
    """
    return "".join(sign if _HELD.match(sign) else _named(sign) for sign in text)


def _named(sign: str) -> str:
    return " " if ord(sign) < 32 or ord(sign) == 127 else f"[U+{ord(sign):04X}]"


def _held_all(value: Any) -> Any:
    if isinstance(value, str):
        return held(value)
    if isinstance(value, dict):
        return {key: _held_all(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [_held_all(entry) for entry in value]
    return value


def typeset(
    template: str,
    data: Mapping[str, Any],
    pictures: Mapping[str, bytes | Path],
    at: datetime,
    marked: bool = False,
    apart: bool = False,
) -> bytes:
    """A PDF from a template of ours, its data, and pictures by file name.

    ``marked`` data went through :func:`held` before and hold signs of ours besides; ``apart``
    sets the pages in a process of its own (for long reports). The same input gives the same
    bytes; ``at`` is the instant written into the file.

    Raises:
        ReportError: when the typesetter refuses, with its own reason.
    """
    with tempfile.TemporaryDirectory(prefix="quirewell-report-") as folder:
        root = Path(folder)
        source = resources.files("quirewell.report").joinpath("templates")
        for name in ("house.typ", template):
            (root / name).write_bytes(source.joinpath(name).read_bytes())
        for name, picture in pictures.items():
            if isinstance(picture, Path):
                shutil.copyfile(picture, root / name)
            else:
                (root / name).write_bytes(picture)
        request = {
            "template": str(root / template),
            "root": str(root),
            "data": json.dumps(dict(data) if marked else _held_all(dict(data)), sort_keys=True),
            "standards": list(STANDARDS),
            "timestamp": int(at.timestamp()),
        }
        try:
            return set_pages_apart(request) if apart else set_pages(request)
        except Refused as error:
            raise ReportError(
                f"the report could not be typeset: {error}; nothing was written. "
                "Please keep the journal and tell the makers this sentence"
            ) from error
