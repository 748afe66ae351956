"""A changed byte anywhere is found and named; a bag meant to do harm does none."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import shutil
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive_case import archive_studio
from quirewell.exchange import bag_read
from quirewell.exchange.bag import MANIFEST, TAG_MANIFEST, decoded, encoded
from quirewell.exchange.bag_read import BagError, fault_of
from quirewell.exchange.look_over import check_archive
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.studio.faults import DiskFull, StudioError


@pytest.fixture(scope="module")
def bag(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("damage")
    archive_studio(folder / "home").close()
    make(folder / "home", folder / "bag", Wish(tiles=False))
    assert check_archive(folder / "bag").ok
    return folder / "bag"


def _kinds(bag: Path) -> dict[str, list[Path]]:
    """Every kind of file: by folder and ending."""
    found: dict[str, list[Path]] = {}
    for place in sorted(bag.rglob("*")):
        if place.is_file():
            inside = place.relative_to(bag)
            key = "/".join(inside.parts[:2]) + place.suffix
            found.setdefault(key, []).append(place)
    assert {"bagit.txt.txt", f"{TAG_MANIFEST}.txt", f"{MANIFEST}.txt", "bag-info.txt.txt",
            "data/journal.jsonl.jsonl", "data/originals.png", "data/reports.pdf",
            "data/tables.csv", "data/tables.json", "data/record.json", "data/annotations.json",
            "data/iiif.json", "data/ro-crate-metadata.json.json", "data/README.txt.txt",
            "data/archive.json.json"} <= set(found)  # fmt: skip
    return found


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_a_flipped_bit_in_any_kind_of_file_is_found_and_named(
    bag: Path, data: st.DataObject
) -> None:
    kinds = _kinds(bag)
    place = data.draw(st.sampled_from(kinds[data.draw(st.sampled_from(sorted(kinds)))]))
    whole = place.read_bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    changed = bytearray(whole)
    changed[at] ^= 1 << data.draw(st.integers(0, 7))
    place.write_bytes(changed)
    try:
        looked = check_archive(bag)
        assert not looked.ok
        assert any(place.relative_to(bag).as_posix() in one.says for one in looked.troubles)
    finally:
        place.write_bytes(whole)


def test_a_file_taken_away_or_put_in_is_named(bag: Path, tmp_path: Path) -> None:
    for number, places in enumerate(_kinds(bag).values()):
        copy = tmp_path / str(number)
        shutil.copytree(bag, copy)
        name = places[0].relative_to(bag).as_posix()
        (copy / name).unlink()
        (copy / "data" / "more.txt").write_text("more")
        try:
            says = [one.says for one in check_archive(copy).troubles]
        except BagError as error:
            says = [str(error), "data/more.txt"]
            assert name == "bagit.txt"
        assert any(name in one for one in says), name
        assert any("data/more.txt" in one for one in says) or name in (MANIFEST, TAG_MANIFEST)


def sealed(bag: Path) -> None:
    """Write the manifests anew, as somebody would who knows how."""

    def lines(names: list[str]) -> str:
        return "".join(
            f"{hashlib.sha256((bag / name).read_bytes()).hexdigest()}  {encoded(name)}\n"
            for name in sorted(names)
        )

    payload = [p.relative_to(bag).as_posix() for p in (bag / "data").rglob("*") if p.is_file()]
    info = bag / "bag-info.txt"
    total = sum((bag / name).stat().st_size for name in payload)
    kept = [x for x in info.read_text().splitlines() if not x.startswith("Payload-Oxum")]
    info.write_text("\n".join([*kept, f"Payload-Oxum: {total}.{len(payload)}"]) + "\n")
    (bag / MANIFEST).write_text(lines(payload))
    (bag / TAG_MANIFEST).write_text(lines(["bagit.txt", "bag-info.txt", MANIFEST]))
    crate = bag / "data" / "ro-crate-metadata.json"
    said = json.loads(crate.read_text())
    for one in said["@graph"]:
        if one["@type"] == "File" and (bag / "data" / one["@id"]).is_file():
            one["sha256"] = hashlib.sha256((bag / "data" / one["@id"]).read_bytes()).hexdigest()
    if json.loads(crate.read_text()) != said:
        crate.write_text(json.dumps(said))
        sealed(bag)


def _edit(name: str, old: str, new: str) -> Callable[[Path], None]:
    def change(bag: Path) -> None:
        place = bag / "data" / name
        text = place.read_bytes()
        assert old.encode() in text
        place.write_bytes(text.replace(old.encode(), new.encode(), 1))

    return change


def _shorter(bag: Path) -> None:
    place = bag / "data" / "journal.jsonl"
    place.write_bytes(b"".join(place.read_bytes().splitlines(keepends=True)[:-1]))


SEALED = {
    "a table": (_edit("tables/readings.csv", "5.10", "5.20"), "readings.csv differs"),
    "a row gone": (_edit("tables/steps.csv", "annual,s1", "annual,s9"), "steps.csv differs"),
    "the record": (_edit("record/annual.json", "168.02", "168.03"), "annual.json differs"),
    "a record gone": (_edit("record/annual.json", '"m1":', '"m2":'), "at /remaining/m"),
    "an entry": (_edit("journal.jsonl", "168.02", "168.03"), "was changed after it was written"),
    "the last entry gone": (_shorter, "is the journal's head"),
    "the head": (_edit("archive.json", '"head": "', '"head": "0'), "is the journal's head"),
}  # fmt: skip


@pytest.mark.parametrize("what", list(SEALED))
def test_what_was_changed_with_all_hashes_written_anew_disagrees(
    bag: Path, tmp_path: Path, what: str
) -> None:
    change, says = SEALED[what]
    shutil.copytree(bag, tmp_path / "bag")
    sealed(tmp_path / "bag")
    assert check_archive(tmp_path / "bag").troubles == []
    change(tmp_path / "bag")
    sealed(tmp_path / "bag")
    looked = check_archive(tmp_path / "bag")
    assert any(says in one.says for one in looked.troubles), looked.troubles
    with pytest.raises(StudioError, match="Nothing was read in"):
        read_archive(tmp_path / "bag", tmp_path / "new")
    assert sorted(place.name for place in tmp_path.iterdir()) == ["bag"]


# --- meant to do harm -------------------------------------------------------------------


def test_names_that_lead_outside_are_refused() -> None:
    """RFC 8493, section 5.2.3 among others."""
    for name in (
        "../x",
        "/etc/x",
        "a/../../x",
        "a//b",
        "./a",
        "~/x",
        "C:/x",
        "a\\b",
        "a\0",
        "",
        "x" * 2000,
    ):
        assert fault_of(name), name
    for name in ("data/a.txt", "data/..a/b", "data/a b~", "data/\u00e9"):
        assert not fault_of(name), name


@given(st.text(min_size=1))
def test_percent_form_goes_there_and_back(text: str) -> None:
    """RFC 8493, section 2.1.3."""
    there = encoded(text)
    assert decoded(there) == text and not set("\r\n") & set(there)


def test_links_are_not_followed(bag: Path, tmp_path: Path) -> None:
    shutil.copytree(bag, tmp_path / "bag")
    secret = tmp_path / "secret.txt"
    secret.write_text("secret")
    (tmp_path / "bag" / "data" / "link.txt").symlink_to(secret)
    (tmp_path / "bag" / "data" / "folder").symlink_to(tmp_path)
    os.mkfifo(tmp_path / "bag" / "data" / "pipe")
    says = [one.says for one in check_archive(tmp_path / "bag").troubles]
    for name in ("link.txt", "folder", "pipe"):
        assert any(f"data/{name} is a link or no plain file" in one for one in says)


def _zipped(bag: Path, target: Path, more: Callable[[zipfile.ZipFile], None]) -> Path:
    with zipfile.ZipFile(target, "w") as out:
        for place in sorted(bag.rglob("*")):
            if place.is_file():
                out.write(place, f"bag/{place.relative_to(bag).as_posix()}")
        more(out)
    return target


def test_a_zip_file_with_links_doubles_or_names_outside_is_refused(
    bag: Path, tmp_path: Path
) -> None:
    def link(out: zipfile.ZipFile) -> None:
        entry = zipfile.ZipInfo("bag/data/link")
        entry.external_attr = (stat.S_IFLNK | 0o777) << 16
        out.writestr(entry, "/etc/hostname")

    def twice(out: zipfile.ZipFile) -> None:
        with pytest.warns(UserWarning, match="Duplicate"):
            out.writestr("bag/data/README.txt", "another")

    def outside(out: zipfile.ZipFile) -> None:
        out.writestr("bag/data/../../../evil.txt", "evil")

    def folded(out: zipfile.ZipFile) -> None:
        out.writestr("bag/data/readme.TXT", "another")

    for number, (more, says) in enumerate(
        [(link, "is a link"), (twice, "stands twice"), (outside, "leads outside"),
         (folded, "are one name")]
    ):  # fmt: skip
        looked = check_archive(_zipped(bag, tmp_path / f"{number}.zip", more))
        assert any(says in one.says for one in looked.troubles), says
        with pytest.raises(StudioError, match="Nothing was read in"):
            read_archive(tmp_path / f"{number}.zip", tmp_path / "new")
    assert not (tmp_path / "new").exists() and not (tmp_path.parent / "evil.txt").exists()


def test_more_bytes_than_there_is_room_for_are_not_read_in(
    bag: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before the first byte is written: what unfolds into too much is never unfolded."""
    full = shutil.disk_usage(tmp_path)._replace(free=20_000)
    with monkeypatch.context() as patched:
        patched.setattr(shutil, "disk_usage", lambda where: full)
        with pytest.raises(DiskFull, match=r"needs .* MB and .* has 0 MB free"):
            read_archive(bag, tmp_path / "new")
    monkeypatch.setattr(bag_read, "MOST_BYTES", 20_000)
    with pytest.raises(BagError, match="more than any disk"):
        check_archive(bag)
    monkeypatch.setattr(bag_read, "MOST_FILES", 5)
    with pytest.raises(BagError, match="more than 5 files"):
        check_archive(bag)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_no_half_archive(
    bag: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    archive_studio(tmp_path / "home").close()
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DiskFull, match="is full"):
        make(tmp_path / "home", tmp_path / "bag", Wish(tiles=False))
    with pytest.raises(DiskFull, match="is full"):
        read_archive(bag, tmp_path / "new")
    assert [place.name for place in tmp_path.iterdir()] == ["home"]


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"%PDF-1.7", os.urandom(400)])
def test_a_file_that_is_no_archive_is_said_so(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "odd.zip").write_bytes(data)
    with pytest.raises(BagError, match=r"no zip file|no archive"):
        check_archive(tmp_path / "odd.zip")


def test_another_bag_is_no_archive(bag: Path, tmp_path: Path) -> None:
    shutil.copytree(bag, tmp_path / "bag")
    for place in (tmp_path / "bag" / "data").iterdir():
        shutil.rmtree(place) if place.is_dir() else place.unlink()
    (tmp_path / "bag" / "data" / "thing.txt").write_text("thing")
    (tmp_path / "bag" / MANIFEST).write_text(
        f"{hashlib.sha256(b'thing').hexdigest()}  data/thing.txt\n"
    )
    says = [one.says for one in check_archive(tmp_path / "bag").troubles]
    assert any("archive.json is missing" in one or "no archive" in one for one in says)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(raw=st.binary(max_size=300))
def test_any_bytes_in_a_journal_are_answered_in_a_sentence(bag: Path, raw: bytes) -> None:
    from quirewell.exchange.sources import FromFile

    head = (bag / "data" / "journal.jsonl").read_bytes().splitlines(keepends=True)[0]
    source = FromFile(io.BytesIO(head + raw + b"\n"), io.BytesIO(), True)
    assert source.troubles


def test_a_deep_or_long_line_is_answered_in_a_sentence() -> None:
    from quirewell.exchange.sources import FromFile

    for raw in (
        b'{"a":' * 100_000,
        b"[" * 100_000,
        b'{"seq":"1","withheld":[[]]}',
        b"{}",
        b"1" * 5000,
    ):
        assert FromFile(io.BytesIO(raw + b"\n"), io.BytesIO(), True).troubles
