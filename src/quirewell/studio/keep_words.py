"""How old the last good backup is, in words; and whether it is time for another."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from quirewell.studio.faults import StudioError
from quirewell.studio.own_settings import BackupSettings, LastKept, backup_settings, last_kept

Level = Literal["fine", "look", "wrong"]
DAY = timedelta(days=1)
QUIET = timedelta(minutes=10)
TRY_AGAIN = timedelta(hours=6)
VERY_OLD = 4  # times the days after which a backup is called old
SET_UP = "Set them up once, on another disk: quirewell studio keep DIR --to PLACE"


@dataclass(frozen=True, slots=True)
class Standing:
    """How a studio stands with its backups: ``says`` what is, ``advice`` what to do about it,
    ``old`` that the last good one is old, or that there is none."""

    level: Level
    says: str
    advice: str = ""
    old: bool = False

    @property
    def words(self) -> str:
        """Both, as one line."""
        return f"{self.says} {self.advice}".strip()


def standing(folder: Path, at: datetime, head: str = "", opened_at: str = "") -> Standing:
    """How the studio in ``folder`` stands at ``at``. ``head`` is its journal's last hash,
    ``opened_at`` when the studio was made, both empty where they are not known."""
    try:
        settings = backup_settings(folder)
    except StudioError as error:
        return Standing("wrong", f"{error}.")
    kept = last_kept(folder)
    newest = max(kept.by_hand_at, kept.good.checked_at if kept.good else "")
    if not newest:
        return _never(settings, kept, at, opened_at)
    if not settings.place:
        return _by_hand(settings, at, newest)
    return _of(settings, kept, at, newest, head)


def _never(settings: BackupSettings, kept: LastKept, at: datetime, opened_at: str) -> Standing:
    young = bool(opened_at) and at - _read(opened_at) < settings.old_after_days * DAY
    level: Level = "look" if young else "wrong"
    if not settings.place:
        return Standing(level, "There is no backup of this studio.", f"{SET_UP}.", not young)
    if kept.trouble:
        return Standing(level, "No backup was made yet.", _sentence(kept.trouble), not young)
    return Standing(
        level, "No backup was made yet.",
        "It is made by itself while the studio is open, or now: quirewell studio keep DIR --now.",
        not young,
    )  # fmt: skip


def _by_hand(settings: BackupSettings, at: datetime, newest: str) -> Standing:
    days = (at - _read(newest)) // DAY
    old = days > settings.old_after_days
    level: Level = "wrong" if days > VERY_OLD * settings.old_after_days else "look"
    says = f"The last backup was made by hand {_ago(days)}."
    more = (
        " None is made by itself." if not old else " That is long ago, and none is made by itself."
    )
    return Standing(level, says + more, f"{SET_UP}.", old)


def _of(settings: BackupSettings, kept: LastKept, at: datetime, newest: str, head: str) -> Standing:
    age = at - _read(newest)
    if age < -DAY:
        return Standing(
            "look", f"The last backup bears the day {newest[:10]}, which is still to come.",
            "This machine's clock is wrong, or was then: set it. Backups go on meanwhile.",
        )  # fmt: skip
    days = max(age, timedelta(0)) // DAY
    same = bool(kept.good and head) and kept.good is not None and kept.good.head == head
    since = " Nothing was saved since." if same else ""
    if days > settings.old_after_days:
        level: Level = "wrong" if days > VERY_OLD * settings.old_after_days and not same else "look"
        return Standing(
            level, f"The last backup that was checked is {days} days old.{since}",
            _sentence(kept.trouble) if kept.trouble else "Make one now: quirewell studio keep DIR "
            "--now.", True,
        )  # fmt: skip
    says = f"The last backup was made and checked {_ago(days)}.{since}"
    if kept.trouble:
        missing = "is not there" in kept.trouble or "cannot be reached" in kept.trouble
        return Standing("fine" if missing else "look", says, _sentence(kept.trouble))
    if kept.cautions:
        return Standing("look", says, _sentence(kept.cautions[0]))
    return Standing("fine", says)


def _ago(days: int) -> str:
    return "today" if days <= 0 else "yesterday" if days == 1 else f"{days} days ago"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}".rstrip(".") + "."


def _read(text: str) -> datetime:
    return datetime.fromisoformat(text)


def is_due(folder: Path, at: datetime, head: str, quiet_for: timedelta, there: bool) -> bool:
    """Whether a backup is to be made by itself now.

    It is when something was saved since the last and that is older than a day; where nothing was
    saved, the last is opened again well before it would be called old. ``quiet_for`` is how long
    nothing was saved: work is waited for, but not for a second day. ``there`` says whether the
    place is there now; a place that was missing is tried as soon as it is.
    """
    try:
        settings = backup_settings(folder)
    except StudioError:
        return False
    if not settings.place or not there:
        return False
    kept = last_kept(folder)
    if kept.trouble and kept.tried_at:
        since = at - _read(kept.tried_at)
        missing = "is not there" in kept.trouble
        if not missing and timedelta(0) <= since < TRY_AGAIN:
            return False
    if kept.good is None:
        return True
    age = at - _read(kept.good.checked_at)
    if age < timedelta(0):
        return kept.good.head != head and quiet_for >= QUIET
    if kept.good.head == head:
        return age >= settings.old_after_days * DAY / 2
    return age >= DAY and (quiet_for >= QUIET or age >= 2 * DAY)
