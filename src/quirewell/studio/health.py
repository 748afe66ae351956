"""How a studio and the machine under it are: a line each, fine, to be looked at, or wrong.

Nothing is changed by looking, except what every opening of a studio does. Quick: the journal is
walked and the tables compared; the originals are counted, and read only when ``whole`` is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy.exc import DatabaseError

from quirewell.record.apply import RecordError
from quirewell.studio import health_machine, health_places, health_record
from quirewell.studio.clock import Clock, instant_text, now
from quirewell.studio.faults import StudioError
from quirewell.studio.health_row import ORDER, Row, fine, wrong
from quirewell.studio.keep_words import Standing, standing
from quirewell.studio.own_settings import last_kept
from quirewell.studio.studio import Studio

Look = Callable[[], Iterator[Row]]


@dataclass(frozen=True, slots=True)
class Health:
    """All lines of one look, and when it was taken (UTC)."""

    at: str
    whole: bool
    rows: tuple[Row, ...]

    @property
    def level(self) -> int:
        """0 all fine, 1 something to look at, 2 something wrong."""
        return max((ORDER.index(row.level) for row in self.rows), default=0)

    @property
    def says(self) -> str:
        """In one sentence."""
        count = [sum(row.level == level for row in self.rows) for level in ORDER]
        if not any(count[1:]):
            return "All is well."
        parts = [f"{count[2]} wrong"] * bool(count[2]) + [f"{count[1]} to look at"] * bool(count[1])
        return f"{' and '.join(parts)}, {count[0]} fine."

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return {
            "level": ORDER[self.level], "says": self.says, "at": self.at, "whole": self.whole,
            "rows": [asdict(row) for row in self.rows],
        }  # fmt: skip


def examine(folder: Path | str, clock: Clock = now, whole: bool = False) -> Health:
    """Look at the studio in ``folder``; a fault in one look is a line and stops no other."""
    place = Path(folder).absolute()
    rows: list[Row] = []
    try:
        with Studio.open(place, clock=clock) as studio:
            rows += _of_open(studio, clock, whole)
    except (StudioError, DatabaseError, OSError) as error:
        rows.append(wrong("studio", "The studio", f"It cannot be opened: {error}", RESTORE))
        rows.append(_backups(standing(place, clock())))
    rows += _each(
        lambda: health_places.of_folder(place),
        lambda: health_machine.of_log(place, clock()),
        lambda: health_machine.of_tablets(place, clock()),
        health_machine.of_clock,
        health_machine.of_program,
    )
    return Health(instant_text(clock()), whole, tuple(rows))


RESTORE = (
    "If the sentence names no other way: restore the newest backup into a new folder, quirewell "
    "studio restore PLACE NEW"
)


def _of_open(studio: Studio, clock: Clock, whole: bool) -> list[Row]:
    folder, at = studio.folder, clock()
    stands = standing(folder, at, studio.head(), studio.settings.opened_at)
    return [
        *_each(lambda: health_record.of_journal(studio)),
        *_each(lambda: health_record.of_originals(studio, whole)),
        _backups(stands),
        *_each(
            lambda: _restored(folder, at),
            lambda: health_places.of_disks(studio),
            lambda: health_record.of_time(studio, at),
        ),
    ]


def _each(*looks: Look) -> list[Row]:
    rows: list[Row] = []
    for look in looks:
        try:
            rows += look()
        except (StudioError, RecordError, DatabaseError, OSError, ValueError) as error:
            rows.append(wrong("look", "One look", f"It could not be taken: {error}"))
    return rows


def _backups(stands: Standing) -> Row:
    return Row("backups", "Backups", stands.level, stands.says, stands.advice)


def _restored(folder: Path, at: datetime) -> Iterator[Row]:
    kept = last_kept(folder)
    if kept.reread:
        says = f"{kept.reread[:1].upper()}{kept.reread[1:]}."
        yield fine("backups-read", "Backups read again", says)
    if kept.restored_at:
        says = (
            f"The backup {kept.restored} was restored whole and checked on {kept.restored_at[:10]}."
        )
        yield fine("backups-restored", "Restoring tried", says)
    elif kept.good is not None:
        yield fine(
            "backups-restored", "Restoring tried",
            "Each copy of the database was opened and checked; a whole restore was not tried yet.",
            "To try it, some evening: quirewell studio keep DIR --verify",
        )  # fmt: skip
