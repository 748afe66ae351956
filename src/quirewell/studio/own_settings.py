"""What this machine was told once of a studio: where its backups go, how many are kept.

It lies in the table ``[backups]`` of ``studio.toml``, which is in no backup: another machine has
other disks. What was done with it is in ``backups/kept.json``.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

from quirewell.studio.faults import StudioError
from quirewell.studio.keys import read_private, write_private
from quirewell.studio.where import WHERE, set_table, table

TABLE = "backups"
KEPT = "backups/kept.json"
LOG = "log"


@dataclass(frozen=True, slots=True)
class Rotation:
    """How many backups are kept: of the newest days, weeks and months that have one [-]."""

    daily: int = 7
    weekly: int = 4
    monthly: int = 12

    def __post_init__(self) -> None:
        for name in ("daily", "weekly", "monthly"):
            if not 0 <= getattr(self, name) <= 1000:
                raise StudioError(
                    f"{getattr(self, name)} {name} backups cannot be kept; give a number from 0 to "
                    "1000"
                )


@dataclass(frozen=True, slots=True)
class BackupSettings:
    """Where backups go (``place``, empty for nowhere; ``id`` is its mark), and by which rule."""

    place: str = ""
    id: str = ""
    rotation: Rotation = field(default_factory=Rotation)
    old_after_days: int = 7

    def __post_init__(self) -> None:
        if not 1 <= self.old_after_days <= 366:
            raise StudioError(
                f"a backup cannot be called old after {self.old_after_days} days; give a number "
                "from 1 to 366"
            )


@dataclass(frozen=True, slots=True)
class Good:
    """The newest backup that was read back and checked."""

    snapshot: str
    made_at: str
    checked_at: str
    head: str
    events: int
    bytes: int
    new_bytes: int


@dataclass(frozen=True, slots=True)
class LastKept:
    """What became of the last tries. Instants are ISO 8601 text in UTC, empty for never.

    ``trouble`` is empty when the last try went well; ``reread`` says in words what was read again
    then, ``cautions`` what is to be looked at. ``restored_at`` is the last whole test of
    restoring, ``by_hand_at`` the last backup made by hand.
    """

    tried_at: str = ""
    trouble: str = ""
    good: Good | None = None
    reread: str = ""
    cautions: tuple[str, ...] = ()
    restored_at: str = ""
    restored: str = ""
    by_hand_at: str = ""


def backup_settings(studio: Path) -> BackupSettings:
    """What is set for the backups of the studio in ``studio``.

    Raises:
        StudioError: the file is damaged, or says what cannot be.
    """
    said = table(studio, TABLE)
    try:
        rule = {name: int(said.pop(name)) for name in Rotation.__slots__ if name in said}
        return BackupSettings(rotation=Rotation(**rule), **said)
    except (TypeError, ValueError) as error:
        raise StudioError(
            f"the table [{TABLE}] of {studio / WHERE} cannot be used ({error}); take it out, then "
            "set the backups up again: quirewell studio keep DIR --to PLACE (those already made "
            "are found there)"
        ) from error


def set_backup(studio: Path, settings: BackupSettings) -> None:
    """Keep where the backups go; other tables of the file stay."""
    rule = asdict(settings.rotation)
    set_table(
        studio, TABLE,
        {"place": settings.place, "id": settings.id, "old_after_days": settings.old_after_days,
         **rule},
    )  # fmt: skip


def last_kept(studio: Path) -> LastKept:
    """What became of the last tries; nothing where the file is missing or damaged: it is only
    remembered here, and the next backup writes it anew."""
    try:
        said = _load(studio / KEPT)
        good = said.pop("good", None)
        said["cautions"] = tuple(said.get("cautions", ()))
        known = {one.name for one in fields(LastKept)}
        kept = {name: value for name, value in said.items() if name in known}
        return LastKept(good=Good(**good) if good else None, **kept)
    except (StudioError, TypeError, AttributeError):
        return LastKept()


def remember_kept(studio: Path, kept: LastKept) -> None:
    """Write down what became of a try."""
    (studio / KEPT).parent.mkdir(exist_ok=True)
    write_private(studio / KEPT, json.dumps(asdict(kept), indent=1, ensure_ascii=False).encode())


def _load(path: Path) -> dict[str, Any]:
    try:
        said = json.loads(read_private(path) or b"{}")
    except ValueError as error:
        raise StudioError(f"{path} cannot be read") from error
    if not isinstance(said, dict):
        raise StudioError(f"{path} cannot be read")
    return said
