"""Which file system a folder lies on, and which of them a journal may not live on.

SQLite's write-ahead log needs memory shared by all who have the file open, and locks that hold;
over a network neither is sure (SQLite's documentation, "Write-Ahead Logging", 5 of its
disadvantages: all processes must be on the same host). So a studio's own tables are refused there.
Names of file systems are those the Linux kernel registers; names of FUSE programs and of macOS are
from memory.
"""

from __future__ import annotations

import platform
import re
import subprocess
from pathlib import Path
from typing import Any

from quirewell.studio.faults import StudioError

MOUNTS = Path("/proc/self/mountinfo")
# Shares of other machines. 9p and virtiofs are how a virtual machine sees a folder of its host:
# locks are often kept on one side only and shared memory may not reach across, so they count too.
NETWORK = frozenset({
    "nfs", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "smbnetfs", "afs", "auristorfs", "ncp",
    "ncpfs", "coda", "ceph", "glusterfs", "lustre", "orangefs", "pvfs2", "gfs2", "ocfs2", "beegfs",
    "gpfs", "moosefs", "davfs", "davfs2", "webdav", "afpfs", "ftp", "9p", "virtiofs", "vboxsf",
    "vmhgfs", "prl_fs", "sshfs", "macfuse", "osxfuse",
})  # fmt: skip
# FUSE programs that work on the disk of this machine; every other one counts as a share, since a
# program nobody has tried with a journal promises nothing about locks.
LOCAL_FUSE = frozenset({"fuseblk", "fuse.ntfs-3g", "fuse.ntfs", "fuse.exfat", "fuse.fuse2fs",
                        "fuse.bindfs", "fuse.mergerfs", "fuse.gocryptfs", "fuse.encfs",
                        "fuse.lxcfs", "fuse.fuse-overlayfs"})  # fmt: skip
_OCTAL = re.compile(r"\\([0-7]{3})")


def refuse_network(folder: Path) -> None:
    """Say no to a file system whose locks cannot be trusted; asked each time a studio is opened.

    Raises:
        StudioError: the folder lies on a network share.
    """
    kind = file_system_of(folder)
    if is_network(kind):
        raise StudioError(
            f"{folder} lies on a network share or a folder lent by another machine ({kind}), where "
            "a journal can be damaged without a word; nothing was changed. Keep the studio on this "
            "machine's own disk and its backups on the share. A studio that is there already: copy "
            "its whole folder to this disk while no program has it open, and open the copy"
        )


def is_network(kind: str) -> bool:
    """Whether a kind of file system is a share; one that cannot be told is not.

    >>> [is_network(kind) for kind in ("nfs4", "ext4", "fuse.sshfs", "fuseblk", "fuse.rclone", "")]
    [True, False, True, False, True, False]
    """
    if kind in LOCAL_FUSE:
        return False
    return kind in NETWORK or kind.startswith("fuse.") or kind == "fuse"


def file_system_of(folder: Path, mounts: Path = MOUNTS) -> str:
    """Kind of the file system that holds a folder, links followed; empty when it cannot be told.

    A folder that is not there yet will lie where the nearest one above it lies.
    """
    place = folder.resolve()
    try:
        text = mounts.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return _elsewhere(place) if mounts == MOUNTS else ""
    best, found = -1, ""
    for line in text.splitlines():
        left, _, right = line.partition(" - ")
        point = Path(_OCTAL.sub(lambda sign: chr(int(sign[1], 8)), left.split()[4]))
        if place.is_relative_to(point) and len(point.parts) >= best:
            best, found = len(point.parts), right.split()[0]
    return found


def _elsewhere(place: Path) -> str:
    """The kind where there is no list of mounts: macOS by ``mount``, Windows by the path."""
    system = platform.system()
    if system == "Windows":
        return "smb" if is_unc(str(place)) or _is_remote_drive(place) else ""
    return kind_in_mount_list(place, _mount_list()) if system == "Darwin" else ""


def is_unc(path: str) -> bool:
    r"""Whether a Windows path names a share.

    >>> [is_unc(one) for one in (r"\\box\larkmoor", r"//box/larkmoor", r"C:\larkmoor")]
    [True, True, False]
    >>> [is_unc(one) for one in (r"\\?\UNC\box\larkmoor", r"\\?\C:\larkmoor", r"\\.\C:\larkmoor")]
    [True, False, False]
    """
    plain = path.replace("/", "\\")
    if plain.upper().startswith("\\\\?\\UNC\\"):
        return True
    return plain.startswith("\\\\") and not plain.startswith(("\\\\?\\", "\\\\.\\"))


def _is_remote_drive(place: Path) -> bool:
    """Whether a drive letter of Windows stands for a share (GetDriveTypeW, DRIVE_REMOTE = 4)."""
    import ctypes

    system: Any = getattr(ctypes, "windll", None)
    return system is not None and bool(system.kernel32.GetDriveTypeW(place.anchor) == 4)


def _mount_list() -> str:
    try:
        done = subprocess.run(
            ["/sbin/mount"], capture_output=True, text=True, timeout=5, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout


def kind_in_mount_list(place: Path, text: str) -> str:
    """The kind of file system that holds a place, from what ``mount`` prints on macOS.

    >>> said = "/dev/disk3s1 on / (apfs, local)\\n//lark@box/bench on /Volumes/bench (smbfs, nodev)"
    >>> kind_in_mount_list(Path("/Volumes/bench/larkmoor"), said)
    'smbfs'
    """
    best, found = -1, ""
    for line in text.splitlines():
        match = re.fullmatch(r".+? on (/.*) \(([^,)]+).*\)", line)
        if match is None:
            continue
        point = Path(match[1])
        if place.is_relative_to(point) and len(point.parts) >= best:
            best, found = len(point.parts), match[2]
    return found
