"""Which disk a folder lies on: one file system, two parts of one device, or another disk."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from quirewell.studio import disks
from quirewell.studio.disks import free_bytes, plugged_in, same_disk


class Stood:
    """What the system would say of a path: its device, by name."""

    def __init__(self, device: tuple[int, int]) -> None:
        self.st_dev = os.makedev(*device)


class Place:
    """A folder on a device."""

    def __init__(self, device: tuple[int, int]) -> None:
        self._stood = Stood(device)

    def stat(self) -> Stood:
        return self._stood

    def resolve(self) -> Path:
        return Path("/nowhere-at-all")


@pytest.fixture
def block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A list of block devices as the kernel gives it: sda with two parts, sdb whole, an encrypted
    disk on sda2, and one on sdb."""
    real, listed = tmp_path / "devices", tmp_path / "block"
    for name in ("sda", "sda/sda1", "sda/sda2", "sdb", "dm-0", "dm-1"):
        (real / name).mkdir(parents=True)
    for part in ("sda/sda1", "sda/sda2"):
        (real / part / "partition").write_text("1")
    for crypt, under in (("dm-0", "sda/sda2"), ("dm-1", "sdb")):
        (real / crypt / "slaves").mkdir()
        (real / crypt / "slaves" / Path(under).name).symlink_to(real / under)
    listed.mkdir()
    numbers = {"8:1": "sda/sda1", "8:2": "sda/sda2", "8:16": "sdb", "259:90": "dm-0",
               "259:91": "dm-1"}  # fmt: skip
    for number, name in numbers.items():
        (listed / number).symlink_to(real / name)
    monkeypatch.setattr(disks, "BLOCK", listed)
    return listed


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ((8, 1), (8, 1), True),  # one file system
        ((8, 1), (8, 2), True),  # two parts of one disk
        ((8, 1), (8, 16), False),  # two disks
        ((8, 1), (259, 90), True),  # an encrypted part of the same disk
        ((8, 1), (259, 91), False),  # an encrypted other disk
        ((259, 90), (259, 91), False),
        ((8, 1), (0, 55), False),  # a share: under no device
    ],
)
def test_parts_of_one_disk_are_one_disk(
    block: Path, one: tuple[int, int], other: tuple[int, int], same: bool
) -> None:
    assert same_disk(Place(one), Place(other)) is same  # type: ignore[arg-type]


def test_a_folder_and_one_in_it_are_on_one_disk(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    assert same_disk(tmp_path, tmp_path / "in")


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="this system has no memory disk")
def test_memory_is_another_disk_than_the_studio(tmp_path: Path) -> None:
    memory = Path("/dev/shm")
    if memory.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("the temporary folder lies in memory itself")
    assert not same_disk(tmp_path, memory)
    assert free_bytes(memory) >= 0


def test_disks_that_could_be_taken_are_never_the_studios_own(tmp_path: Path) -> None:
    assert all(not same_disk(tmp_path, Path(one.path)) for one in plugged_in(tmp_path))
