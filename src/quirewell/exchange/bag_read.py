"""Reading a BagIt bag (RFC 8493) that may be damaged or meant to do harm.

Nothing in it is trusted: no name may lead outside, no link is followed, no name stands twice,
no file is read past its stated size, and nothing is asked for over a network.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO

from quirewell.exchange.bag import (
    BAG_INFO,
    BAGIT,
    DECLARATION,
    MANIFEST,
    TAG_MANIFEST,
    decoded,
    manifest_lines,
)
from quirewell.studio.blobs import CHUNK_BYTES
from quirewell.studio.check import Trouble
from quirewell.studio.faults import StudioError

MOST_FILES = 2_000_000
MOST_TAG_BYTES = 512 << 20
MOST_BYTES = 1 << 44
_LINE = re.compile(r"([0-9A-Fa-f]{64})[ \t]+\*?([^\r\n]+)")
_OXUM = re.compile(r"(\d{1,15})\.(\d{1,9})")
OnProgress = Callable[[int, int], None]


class BagError(StudioError):
    """A bag that cannot be read at all; says why."""


def fault_of(path: str) -> str:
    """What is wrong with a path inside a bag; empty for a harmless one.

    >>> fault_of("data/../../x")
    'leads outside'
    """
    if not path or len(path) > 1024 or any(ord(sign) < 32 or ord(sign) == 127 for sign in path):
        return "is no path"
    if path.startswith(("/", "~")) or "\\" in path or re.match(r"[A-Za-z]:", path):
        return "leads outside"
    if any(part in ("", ".", "..") for part in path.split("/")):
        return "leads outside"
    return ""


@dataclass(slots=True)
class Bag:
    """An opened bag: its files with their sizes, and what is wrong with its container."""

    path: Path
    sizes: dict[str, int]
    troubles: list[Trouble]
    _open: Callable[[str], IO[bytes]]
    _texts: dict[str, bytes] = field(default_factory=dict)

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        """A file of the bag to read from.

        Raises:
            BagError: not there, or damaged in a way that stops the reading.
        """
        if name not in self.sizes:
            raise BagError(f"{name} is missing from {self.path.name}")
        try:
            with self._open(name) as stream:
                yield stream
        except (
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            NotImplementedError,
            RuntimeError,
        ) as error:
            why = "its check sum does not fit: changed" if "CRC" in str(error) else error
            raise BagError(f"{name} cannot be read ({why})") from error

    def read(self, name: str, most: int = MOST_TAG_BYTES) -> bytes:
        """A file whole, of ``most`` bytes at most.

        Raises:
            BagError: not there, unreadable, or larger.
        """
        if self.sizes.get(name, 0) > most:
            raise BagError(f"{name} is larger than {most / 1e6:.0f} MB and is not read")
        with self.open(name) as stream:
            data = stream.read(most + 1)
        if len(data) > most:
            raise BagError(f"{name} is larger than it says")
        return data

    def text(self, name: str) -> str:
        """A tag file as text.

        Raises:
            BagError: not there, or no UTF-8.
        """
        try:
            return self.read(name).decode("utf-8")
        except UnicodeDecodeError as error:
            raise BagError(f"{name} is no UTF-8 text") from error


@contextmanager
def open_bag(path: Path | str) -> Iterator[Bag]:
    """A bag in a folder or a zip file.

    Raises:
        BagError: there is none.
    """
    place = Path(path)
    if place.is_dir():
        yield _in_folder(place)
        return
    if not place.is_file():
        raise BagError(f"there is no archive {place}")
    try:
        with zipfile.ZipFile(place) as container:
            yield _in_zip(place, container)
    except zipfile.BadZipFile as error:
        raise BagError(f"{place.name} is no zip file, or is cut short") from error


def _in_folder(place: Path) -> Bag:
    sizes: dict[str, int] = {}
    troubles: list[Trouble] = []

    def unreadable(error: OSError) -> None:
        raise BagError(f"{error.filename} cannot be read ({error.strerror})")

    for folder, names, files in os.walk(place, followlinks=False, onerror=unreadable):
        for name in sorted([*names, *files]):
            whole = Path(folder) / name
            inside = whole.relative_to(place).as_posix()
            mode = whole.lstat().st_mode
            if stat.S_ISREG(mode):
                sizes[inside] = whole.lstat().st_size
            elif not stat.S_ISDIR(mode):
                troubles.append(Trouble("link", f"{inside} is a link or no plain file"))
        _cap(len(sizes))
    return _bag(place, sizes, troubles, lambda name: (place / name).open("rb"))


def _in_zip(place: Path, container: zipfile.ZipFile) -> Bag:
    entries: dict[str, zipfile.ZipInfo] = {}
    troubles: list[Trouble] = []
    _cap(len(container.infolist()))
    for entry in container.infolist():
        if entry.is_dir():
            continue
        name = entry.filename
        if stat.S_ISLNK(entry.external_attr >> 16):
            troubles.append(Trouble("link", f"{name} is a link"))
        elif name in entries:
            troubles.append(Trouble("twice", f"{name} stands twice in the zip file"))
        else:
            entries[name] = entry
    tops = {name.split("/")[0] for name in entries}
    top = tops.pop() + "/" if len(tops) == 1 else ""
    sizes = {name.removeprefix(top): entry.file_size for name, entry in entries.items()}
    return _bag(place, sizes, troubles, lambda name: container.open(entries[top + name]))


def _cap(count: int) -> None:
    if count > MOST_FILES:
        raise BagError(f"more than {MOST_FILES} files; this is not read")


def _bag(
    place: Path, sizes: dict[str, int], troubles: list[Trouble],
    opener: Callable[[str], IO[bytes]],
) -> Bag:  # fmt: skip
    if sum(sizes.values()) > MOST_BYTES:
        raise BagError(f"{place.name} says it holds more than any disk; this is not read")
    folded: dict[str, str] = {}
    for name in sizes:
        if fault := fault_of(name):
            troubles.append(Trouble("path", f"{name!r} {fault}"))
        alike = folded.setdefault(unicodedata.normalize("NFC", name).casefold(), name)
        if alike != name:
            troubles.append(Trouble("twice", f"{name} and {alike} are one name on some disks"))
    if BAGIT not in sizes:
        raise BagError(f"{place.name} is no archive: it has no {BAGIT}")
    return Bag(place, sizes, troubles, opener)


def bag_info(bag: Bag) -> dict[str, str]:
    """Labels and values of ``bag-info.txt`` (a line that begins with a space goes on)."""
    said: dict[str, str] = {}
    label = ""
    for line in bag.text(BAG_INFO).splitlines():
        if line[:1] in (" ", "\t") and label:
            said[label] += " " + line.strip()
        elif ":" in line:
            label, _, value = line.partition(":")
            said[label] = value.strip()
    return said


def manifest_of(bag: Bag, name: str) -> tuple[dict[str, str], list[Trouble]]:
    """(hash by path, what is wrong) of one manifest of the bag."""
    found: dict[str, str] = {}
    troubles = []
    for number, line in enumerate(bag.text(name).split("\n"), 1):
        if not line.strip():
            continue
        match = _LINE.fullmatch(line.rstrip("\r"))
        path = decoded(match[2]) if match else ""
        if match is None:
            troubles.append(Trouble("manifest", f"line {number} of {name} is no hash and path"))
        elif fault := fault_of(path):
            troubles.append(Trouble("path", f"line {number} of {name}: {path!r} {fault}"))
        elif path in found:
            troubles.append(Trouble("twice", f"{name} names {path} twice"))
        else:
            found[path] = match[1].lower()
    return found, troubles


def fixity(bag: Bag, progress: OnProgress | None = None) -> Iterator[Trouble]:
    """Hash every file and say each that is changed, missing or not listed.

    Raises:
        BagError: a manifest is missing or cannot be read.
    """
    yield from bag.troubles
    if bag.text(BAGIT) != DECLARATION:
        yield Trouble("changed", f"{BAGIT} does not declare BagIt 1.0 in UTF-8")
    if "fetch.txt" in bag.sizes:
        yield Trouble("fetch", "fetch.txt asks for files from elsewhere; an archive is whole")
    payload, wrong = manifest_of(bag, MANIFEST)
    tags, more = manifest_of(bag, TAG_MANIFEST)
    yield from (*wrong, *more)
    if b"".join(manifest_lines(tags.items())) != bag.read(TAG_MANIFEST):
        yield Trouble("changed", f"{TAG_MANIFEST} is not written the way an archive writes it")
    for path in payload:
        if not path.startswith("data/"):
            yield Trouble("path", f"{MANIFEST} names {path}, which is not under data/")
    own = {name for name in bag.sizes if not name.startswith("data/")} - {TAG_MANIFEST}
    yield from _listed(set(bag.sizes) - own - {TAG_MANIFEST}, payload, MANIFEST)
    yield from _listed(own, tags, TAG_MANIFEST)
    yield from _oxum(bag)
    every = {**tags, **payload}
    there = [name for name in every if name in bag.sizes]
    for done, name in enumerate(there, 1):
        try:
            found = _hash(bag, name)
        except (BagError, OSError) as error:
            told = isinstance(error, BagError) and str(error).startswith(name)
            yield Trouble("changed", str(error) if told else f"{name} cannot be read ({error})")
            continue
        if found != every[name]:
            listing = MANIFEST if name in payload else TAG_MANIFEST
            yield Trouble("changed", f"{name} is not as {listing} says; one of them was changed")
        if progress is not None:
            progress(done, len(there))


def _listed(there: set[str], named: Mapping[str, str], listing: str) -> Iterator[Trouble]:
    for path in sorted(set(named) - there):
        yield Trouble("missing", f"{path} is missing; {listing} names it")
    for path in sorted(there - set(named)):
        yield Trouble("extra", f"{path} is in no list; {listing} does not name it")


def _oxum(bag: Bag) -> Iterator[Trouble]:
    said = bag_info(bag).get("Payload-Oxum", "") if BAG_INFO in bag.sizes else ""
    match = _OXUM.fullmatch(said)
    sizes = [size for name, size in bag.sizes.items() if name.startswith("data/")]
    if match is None:
        yield Trouble("changed", f"{BAG_INFO} says no Payload-Oxum")
    elif (int(match[1]), int(match[2])) != (sum(sizes), len(sizes)):
        yield Trouble(
            "changed",
            f"{BAG_INFO} says {match[2]} files of {match[1]} bytes in all, found {len(sizes)} of "
            f"{sum(sizes)}",
        )


def _hash(bag: Bag, name: str) -> str:
    digest, left = hashlib.sha256(), bag.sizes[name]
    with bag.open(name) as stream:
        while chunk := stream.read(CHUNK_BYTES):
            left -= len(chunk)
            if left < 0:
                raise BagError(f"{name} is larger than it says")
            digest.update(chunk)
    return digest.hexdigest()


def plain_name(path: str) -> str:
    """The last part of a path."""
    return PurePosixPath(path).name
