"""What the fuzzer found: each input once broke its reader, and is now a sentence."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import tifffile

from fuzz import pictures
from fuzz.readers import doors, fault_of
from quirewell.studio.image_kind import ImageError
from quirewell.studio.images import load_picture

_DEEP = b"[" * 3000
_LONG = b"9" * 5000
_PARCELS = (Path(__file__).parents[2] / "examples/parcels/annual.toml").read_bytes()
# Reader, input, a word of what it says now.
FOUND = (
    ("returned grades", b"item,grade,chances\ni1,5,4:0.3 |\n", "write chances as"),
    ("returned grades", b"item,grade,chances\ni1,5,4:0.3:0.7:5\n", "write chances as"),
    ("returned grades", b"item,grade,chances\ni1," + b"A" * 70_000 + b",5:1\n", "not a number"),
    ("rules", b"rule,code,kind\n,spine_roll,deduct\n", "rule is empty"),
    ("press log", b"centre C,cool cover C\n0,20.1,21\n60,31.5,22.4\n<!--,\r,25.9\n", "log.csv"),
    ("archive table", b"\xff\xfei\x00d\x00\n", "no text"),
    ("bench plan", b"a = " + _LONG, "cannot be read"),
    ("parcels", b"a = " + _LONG, "cannot be read"),
    ("parcels", b"[studio]\nshare = 1e99999991\n", "cannot be read"),
    ("receiver", b"[studio]\nshare = 1e99999991\n", "cannot be read"),
    ("receiver", b"a = " + _LONG, "cannot be read"),
    ("stack", b"heat = " + _DEEP, "nested too deeply"),
    ("stack", b"wraps = " + _LONG, "cannot be read"),
    ("stack", b'above = ["release' + b" " * 600 + b'xx 0.05 q"]', "is no layer"),
    ("parcels", _PARCELS + b"\n" + b"A" * 70_000 + b" = 1\n", "knows no"),
    ("stack", b"heat = '" + b"A" * 70_000 + b"'", "is one of"),
    ("offer", b"a = " + _DEEP, "nested too deeply"),
    ("options", b"a = " + _DEEP, "nested too deeply"),
    ("lights", b"[lamp]\na = " + _DEEP, "nested too deeply"),
    ("course", b"key = " + _LONG, "cannot be read"),
    ("language", b"\xff\xfel\x00", "no text"),
    ("language", b"a = " + _DEEP, "nested too deeply"),
    ("annotations", b'{"a": ' + _LONG + b"}", "number in it"),
    ("annotations", b'{"a": "\xff"}', "no text"),
    ("annotations", _DEEP, "nested too deeply"),
    ("backup's manifest", _DEEP, "is no backup"),
    ("backup's manifest", b'{"format": "quirewell-backup", "format_version": 1e400}',
     "is no backup"),
    ("annotations", b"null", "got nothing (null)"),
    ("report's manifest", _DEEP, "neither a report"),
    ("passphrase", b'{"a":' * 2000, "cannot be read"),
    ("shapes", b"1,2 " + b"A" * 70_000, "two pixel numbers"),
    ("trial", b"w01 w02 | =10 | " + b"A" * 70_000 + b" | =8 | =5", "does not name its page"),
    ("logger", b"Time,T (C),RH (%)\n" + b'"' + b"A" * 140_000 + b"\n1,2,3\n" * 3, "attic.csv"),
    ("defects", b"code,location,extent\ntear,w02" + b"A" * 70_000 + b",3\n", "names no place"),
    ("sales", b"item,price,currency,date,grade\na,5," + b"x" * 70_000 + b",2024-01-01,5\n"
     b"a,5,crowns,2024-01-01,5\n", "nothing says what one is in another"),
)  # fmt: skip


@pytest.mark.parametrize(("name", "data", "says"), FOUND)
def test_what_once_broke_a_reader_is_a_sentence(name: str, data: bytes, says: str) -> None:
    door = next(one for one in doors() if one.name == name)
    did, said = fault_of(door, data)
    assert did == "refused", said
    assert says in said and len(said) < 1500


def _changed(data: bytes, tag: int, at: int, piece: bytes) -> bytes:
    """A little-endian TIFF with bytes of one entry of its first directory changed."""
    (first,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, first)
    for place in range(first + 2, first + 2 + 12 * count, 12):
        if struct.unpack_from("<H", data, place)[0] == tag:
            return data[: place + at] + piece + data[place + at + len(piece) :]
    raise LookupError(tag)


def test_a_profile_that_is_a_number_is_a_damaged_profile(tmp_path: Path) -> None:
    whole = pictures.seeds()["tiff"][0]
    path = tmp_path / "scan.tif"
    path.write_bytes(_changed(whole, 34675, 2, struct.pack("<HI", 3, 1)))
    picture = load_picture(path)
    assert picture.pixels.shape == (48, 64, 3)
    assert any("profile is damaged" in says for says in picture.warnings)


def test_a_picture_that_is_not_what_its_header_said_is_refused(tmp_path: Path) -> None:
    pixels = np.zeros((3, 48, 64), np.uint8)
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", planarconfig="separate")
    assert load_picture(path).pixels.shape == (48, 64, 3)
    path.write_bytes(_changed(path.read_bytes(), 284, 8, struct.pack("<H", 0x7FFF)))
    with pytest.raises(ImageError, match="another picture than its header says"):
        load_picture(path)


def test_damaged_sessions_hold_none() -> None:
    door = next(one for one in doors() if one.name == "sessions")
    whole = door.seeds[0]
    assert len(door.read(whole)) == 1
    for bad in (_DEEP, b"[" + _LONG, whole.replace(b'"2026-03-01T10:00:00+00:00"', b"null")):
        assert door.read(bad) == []
