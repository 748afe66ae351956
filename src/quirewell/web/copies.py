"""Copies of a report for guests and owners: names and prices taken out, written one at a time.

A copy is kept by what it was written from, so asking again costs no work, whoever asks. One that
must be written waits for no other: a visitor is told to come again, so that visitors can never
hold more than one piece of work, and how often one may be begun is counted by their address.
"""

from __future__ import annotations

import contextlib
import hashlib
import threading
from dataclasses import dataclass, field
from pathlib import Path

from quirewell import __version__
from quirewell.record.nouns import ItemState
from quirewell.report.copies import COPY_FORMS, Withheld, copy_of
from quirewell.studio.durable import write_whole
from quirewell.studio.studio import Studio
from quirewell.web.desk import Errand, Says
from quirewell.web.house import House
from quirewell.web.limits import Limits, Rule, wait_words
from quirewell.web.show_hide import Hidden, hide_page, hide_texts
from quirewell.web.show_mode import hidden_now

# The work in hand is noted under this name; no item's id holds a slash.
DESK = "/copies"
FOLDER = "copies"
MOST_KEPT = 24
PASSES = 3
ONE = Rule(free=6, first_s=30.0, most_s=600.0, forget_s=900.0)
ALL = Rule(free=20, first_s=10.0, most_s=120.0, forget_s=900.0)
BUSY = "Another copy of a report is being written. Come again in a minute."
FAILED = "The copy could not be written, so nothing is given out. Tell the bench."


class NotNow(RuntimeError):
    """A copy that cannot be begun now; says why. ``wait_s``: when to come again [s]."""

    def __init__(self, says: str, wait_s: float = 60.0) -> None:
        super().__init__(says)
        self.wait_s = wait_s


@dataclass
class Copies:
    """Who began how many, and which one failed last."""

    limits: Limits = field(default_factory=lambda: Limits(one=ONE, all=ALL))
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def ready(self, house: House, state: ItemState, form: str) -> Path | None:
        """The copy of the record as it is now, if it was written already."""
        path = _path(house.studio, state, form)
        return path if path.is_file() else None

    def begin(self, house: House, state: ItemState, form: str, address: str) -> Errand:
        """Begin to write a copy, or the writing of it that is under way. ``address`` is whose it
        is, "" for this machine itself, which is never made to wait.

        Raises:
            NotNow: another is being written, or too many were begun.
        """
        path = _path(house.studio, state, form)
        title = f"Writing a copy of {state.id}, {form}"
        with self._lock:
            held = house.desk.held(DESK)
            if isinstance(held, Errand) and held.work().running:
                if held.title == title:
                    return held
                raise NotNow(BUSY)
            if address and (wait := self.limits.begin(address)) > 0:
                raise NotNow(
                    f"Copies were asked for too often while the record changed. Come again in "
                    f"{wait_words(wait)}.", wait
                )  # fmt: skip
            made = Errand(title, lambda says: _write(house.studio, state, form, path, says))
            house.desk.begin(DESK, lambda: made)
            return made


def _write(studio: Studio, state: ItemState, form: str, path: Path, says: Says) -> Path:
    pdf = copy_of(form, studio, state.id, withheld_by(hidden_now(studio)), progress=says)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, pdf)
    _tidy(path.parent)
    return path


def withheld_by(hidden: Hidden) -> Withheld:
    """What takes out of a report the words that are taken out of every page."""

    def still(texts: list[str]) -> bool:
        return bool(hidden.spans("\n".join(texts)))

    def texts_of(texts: list[str]) -> list[str]:
        for _ in range(PASSES):
            texts = hide_texts(texts, hidden)
            if not still(texts):
                break
        return texts

    def drawing(svg: bytes) -> bytes:
        return hide_page(svg.decode(), hidden).encode()

    return Withheld(texts_of, drawing, still)


def _path(studio: Studio, state: ItemState, form: str) -> Path:
    """Where a copy lies: named by the whole journal's head, since a name that any entry brings is
    withheld in every copy."""
    if form not in COPY_FORMS:
        raise ValueError(f"there is no copy of the form {form!r}")
    key = "\n".join((state.id, form, studio.head(), __version__))
    return studio.derived / FOLDER / f"{hashlib.sha256(key.encode()).hexdigest()[:24]}.pdf"


def _tidy(folder: Path) -> None:
    """Keep the newest few only."""
    found = sorted(folder.glob("*.pdf"), key=lambda path: path.stat().st_mtime_ns, reverse=True)
    for old in found[MOST_KEPT:]:
        with contextlib.suppress(OSError):
            old.unlink()
