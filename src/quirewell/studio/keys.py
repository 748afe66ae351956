"""What only this machine may hold: keys, the passphrase's hash, who is signed in.

They lie in ``keys/`` of the studio's folder, readable by its owner alone. A backup names what it
takes (the database and the originals), so nothing of this is ever in one.
"""

from __future__ import annotations

from pathlib import Path

from quirewell.studio.durable import write_whole

KEYS = "keys"


def keys_folder(studio: Path) -> Path:
    """The folder for keys of the studio in ``studio``, made when missing, its owner's alone."""
    folder = studio / KEYS
    folder.mkdir(mode=0o700, exist_ok=True)
    folder.chmod(0o700)
    return folder


def write_private(path: Path, data: bytes) -> None:
    """Put a file in place whole, readable and writable by its owner alone.

    Raises:
        DiskFull: no room; what was there before stands.
    """
    write_whole(path, data, 0o600)


def read_private(path: Path) -> bytes | None:
    """The file's bytes; nothing where it is not there."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
