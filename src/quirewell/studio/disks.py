"""What a folder lies on: which disk, how much room is left, which other disks there are."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import psutil

BLOCK = Path("/sys/dev/block")
# Where systems put disks that are plugged in (Filesystem Hierarchy Standard 3.0, 3.9 and 3.10;
# /run/media is common practice, no source).
PLUGGED_IN = ("/media/", "/run/media/", "/mnt/")


@dataclass(frozen=True, slots=True)
class Disk:
    """A place where backups could go: where it is mounted, what kind, room in bytes."""

    path: str
    kind: str
    free_bytes: int
    total_bytes: int


def free_bytes(folder: Path) -> int:
    """Room left for this user on the disk that holds a folder [bytes]."""
    return shutil.disk_usage(folder).free


def same_disk(one: Path, other: Path) -> bool:
    """Whether two folders lie on one disk: the same file system, or two parts of one device.

    Device numbers tell file systems apart; what is under them is read from the system's list of
    block devices. Where that cannot be read, two file systems count as two disks.
    """
    first, second = one.stat().st_dev, other.stat().st_dev
    if first == second:
        return True
    return bool(_devices(one, first) & _devices(other, second))


def _devices(folder: Path, device: int) -> set[str]:
    """Names of the whole devices under a folder; empty where there is none (a share, memory)."""
    node = BLOCK / f"{os.major(device)}:{os.minor(device)}"
    if not node.exists():
        node = _by_source(folder)
    try:
        return _whole(node.resolve(strict=True))
    except OSError:
        return set()


def _by_source(folder: Path) -> Path:
    """The block device of a file system with a number of its own (several volumes on one)."""
    place, best = folder.resolve(), None
    for part in psutil.disk_partitions(all=True):
        if place.is_relative_to(part.mountpoint) and (
            best is None or len(part.mountpoint) >= len(best.mountpoint)
        ):
            best = part
    try:
        number = os.stat(best.device).st_rdev if best is not None else 0  # noqa: PTH116
    except OSError:
        number = 0
    return BLOCK / f"{os.major(number)}:{os.minor(number)}"


def _whole(node: Path) -> set[str]:
    under = [entry.resolve() for entry in (node / "slaves").glob("*")]
    if under:
        return set().union(*(_whole(entry) for entry in under))
    return {node.parent.name if (node / "partition").exists() else node.name}


def plugged_in(studio: Path) -> list[Disk]:
    """Disks and shares besides the studio's own on which backups could be kept."""
    found = []
    for part in psutil.disk_partitions(all=True):
        point = Path(part.mountpoint)
        if not f"{point}/".startswith(PLUGGED_IN) or not os.access(point, os.W_OK):
            continue
        try:
            room = shutil.disk_usage(point)
            if room.total and not same_disk(studio, point):
                found.append(Disk(str(point), part.fstype, room.free, room.total))
        except OSError:
            continue
    return found


def size_words(count: float) -> str:
    """A number of bytes as a person reads it, in decimal units.

    >>> size_words(13_352_960), size_words(412), size_words(2.5e12)
    ('13.4 MB', '412 bytes', '2500.0 GB')
    """
    for limit, unit in ((1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if count >= limit:
            return f"{count / limit:.1f} {unit}"
    return f"{count:.0f} bytes"
