"""Where a studio may not live: shares of any system, links to them, folders that become one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from quirewell.studio import file_systems
from quirewell.studio.backup import backup, restore
from quirewell.studio.faults import StudioError
from quirewell.studio.file_systems import file_system_of, is_network, kind_in_mount_list
from quirewell.studio.moving_in import move_in
from quirewell.studio.studio import Studio
from studio_help import new_studio, studio_with_item

SHARES = (
    "nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "virtiofs", "vboxsf", "afs", "ceph", "glusterfs",
    "lustre", "davfs", "ncpfs", "ocfs2", "gfs2", "fuse", "fuse.sshfs", "fuse.s3fs", "fuse.rclone",
    "fuse.glusterfs", "fuse.ceph", "fuse.davfs2", "fuse.gvfsd-fuse", "fuse.gcsfuse", "webdav",
    "afpfs",
)  # fmt: skip
DISKS = ("ext4", "xfs", "btrfs", "zfs", "f2fs", "tmpfs", "overlay", "vfat", "exfat", "ntfs3",
         "fuseblk", "fuse.ntfs-3g", "apfs", "hfs", "ecryptfs", "bcachefs", "")  # fmt: skip


@pytest.fixture
def mounted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of mounts that the program reads in place of the system's own."""
    mounts = tmp_path / "mountinfo"
    mounts.write_text("21 1 8:1 / / rw - ext4 /dev/sda rw\n")
    monkeypatch.setattr(file_systems.file_system_of, "__defaults__", (mounts,))
    return mounts


def mount(mounts: Path, point: Path, kind: str) -> None:
    place = os.fspath(point).replace("\\", "\\134").replace(" ", "\\040").replace("\t", "\\011")
    with mounts.open("a") as out:
        out.write(f"33 21 0:40 / {place} rw,relatime shared:5 - {kind} //box/bench rw\n")


@pytest.mark.parametrize("kind", SHARES)
def test_every_share_is_refused_in_kind_words(mounted: Path, tmp_path: Path, kind: str) -> None:
    share = tmp_path / "the share"
    share.mkdir()
    mount(mounted, share, kind)
    with pytest.raises(StudioError, match="network share") as refused:
        Studio.create(share / "larkmoor")
    assert f"({kind})" in str(refused.value) and "own disk" in str(refused.value)
    assert not list(share.iterdir()), "something was left on the share"


def test_disks_of_this_machine_are_taken() -> None:
    assert not [kind for kind in DISKS if is_network(kind)]
    assert all(is_network(kind) for kind in SHARES)


def test_the_innermost_and_the_last_mount_counts(mounted: Path, tmp_path: Path) -> None:
    mount(mounted, tmp_path / "net", "nfs4")
    mount(mounted, tmp_path / "net" / "own disk", "ext4")
    assert file_system_of(tmp_path / "net" / "own disk" / "larkmoor") == "ext4"
    assert file_system_of(tmp_path / "net" / "else") == "nfs4"
    assert file_system_of(tmp_path / "network") == "ext4"
    mount(mounted, tmp_path / "net" / "own disk", "cifs")
    assert file_system_of(tmp_path / "net" / "own disk" / "larkmoor") == "cifs"


def test_signs_in_the_name_of_a_mount_are_read(mounted: Path, tmp_path: Path) -> None:
    point = tmp_path / "a\tb \\ c"
    mount(mounted, point, "cifs")
    assert file_system_of(point / "larkmoor") == "cifs"


def test_a_link_to_a_share_is_the_share(mounted: Path, tmp_path: Path) -> None:
    (tmp_path / "net").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "net")
    mount(mounted, tmp_path / "net", "fuse.sshfs")
    with pytest.raises(StudioError, match=r"fuse\.sshfs"):
        Studio.create(tmp_path / "link" / "larkmoor")


def test_a_folder_that_becomes_a_share_is_refused_at_the_next_opening(
    mounted: Path, tmp_path: Path
) -> None:
    studio_with_item(tmp_path / "larkmoor").close()
    Studio.open(tmp_path / "larkmoor").close()
    before = (tmp_path / "larkmoor" / "studio.db").read_bytes()
    mount(mounted, tmp_path / "larkmoor", "nfs4")
    with pytest.raises(StudioError, match="copy its whole folder to this disk"):
        Studio.open(tmp_path / "larkmoor")
    assert (tmp_path / "larkmoor" / "studio.db").read_bytes() == before


def test_nothing_is_restored_or_read_onto_a_share(mounted: Path, tmp_path: Path) -> None:
    new_studio(tmp_path / "larkmoor").close()
    backup(tmp_path / "larkmoor", tmp_path / "kept.zip")
    share = tmp_path / "net"
    share.mkdir()
    mount(mounted, share, "cifs")
    with pytest.raises(StudioError, match="network share"):
        restore(tmp_path / "kept.zip", share / "again")
    with pytest.raises(StudioError, match="network share"):
        move_in(share / "again", lambda arrival: None, "0" * 64)
    assert not list(share.iterdir())


def test_a_backup_on_a_share_is_welcome(mounted: Path, tmp_path: Path) -> None:
    new_studio(tmp_path / "larkmoor").close()
    (tmp_path / "net").mkdir()
    mount(mounted, tmp_path / "net", "cifs")
    assert backup(tmp_path / "larkmoor", tmp_path / "net" / "kept.zip").events == 1


def test_a_list_that_cannot_be_read_says_nothing(tmp_path: Path) -> None:
    assert file_system_of(tmp_path, tmp_path / "nothing") == ""


def test_what_macos_prints_of_its_mounts() -> None:
    said = (
        "/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)\n"
        "map auto_home on /System/Volumes/Data/home (autofs, automounted, nobrowse)\n"
        "//lark@box/bench on /Volumes/bench on box (smbfs, nodev, nosuid, mounted by lark)\n"
        "box:/srv on /Volumes/nfs (nfs, asynchronous)\n"
    )
    assert kind_in_mount_list(Path("/Volumes/bench on box/larkmoor"), said) == "smbfs"
    assert kind_in_mount_list(Path("/Volumes/nfs/larkmoor"), said) == "nfs"
    assert kind_in_mount_list(Path("/Users/lark"), said) == "apfs"
    assert kind_in_mount_list(Path("/Users/lark"), "") == ""
