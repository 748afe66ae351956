"""Where the backups of a studio go: set up once, and found again by its mark each time."""

from __future__ import annotations

from pathlib import Path

from quirewell.studio.address import is_studio
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_place import Place, PlaceMissing, found_place, made_place
from quirewell.studio.own_settings import BackupSettings, Rotation, backup_settings, set_backup
from quirewell.studio.studio import Studio

SAME_DISK = (
    "the backups lie on the same disk as the studio: a disk that dies takes both. Set up a folder "
    "on another one"
)


def set_up(
    folder: Path, place: Path, rotation: Rotation | None = None, old_after_days: int | None = None
) -> Place:
    """Set once where the backups of the studio in ``folder`` go.

    Raises:
        StudioError: the place cannot be used; says why.
    """
    before = backup_settings(folder)
    with Studio.open(folder) as studio:
        first, name = studio.event(1), studio.name
        if first is None:
            raise StudioError(f"the journal in {folder} has no beginning; restore a backup")
        made = made_place(place, first.hash, name, studio.folder)
    settings = BackupSettings(
        str(made.folder), made.id, rotation or before.rotation,
        old_after_days or before.old_after_days,
    )  # fmt: skip
    set_backup(folder, settings)
    return made


def check_studio(folder: Path) -> None:
    """See that there is a studio, before anything is made beside it.

    Raises:
        StudioError: there is none.
    """
    if not is_studio(folder):
        raise StudioError(
            f"there is no studio in {folder}; make one with: quirewell studio new {folder}"
        )


def the_place(folder: Path) -> tuple[BackupSettings, Place]:
    """The place that was set up, found by its mark.

    Raises:
        StudioError: none is set up.
        PlaceMissing: it is not there now.
    """
    settings = backup_settings(folder)
    if not settings.place:
        raise StudioError(
            "no backups are set up for this studio; do it once, with a folder on another disk: "
            "quirewell studio keep DIR --to PLACE"
        )
    place = found_place(Path(settings.place))
    if place.id != settings.id:
        raise PlaceMissing(
            f"{place.folder} holds another backup place than the one that was set up (perhaps "
            "another disk is plugged in under the same name). To use this one: quirewell studio "
            f"keep DIR --to {place.folder}"
        )
    return settings, place
