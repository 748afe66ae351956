"""What leaves in a shared folder, and what never does."""

from __future__ import annotations

import base64
import hashlib
import io
import re
import shutil
import tracemalloc
import zipfile
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from quirewell.exchange import share as module
from quirewell.exchange.share import NotShared, plain, refuse, write_share, zipped
from quirewell.exchange.share_page import one_file
from quirewell.exchange.share_plan import MOST_PICTURES, Wanted, make_plan, shots_of
from quirewell.record import nouns
from quirewell.studio.studio import Studio
from report_case import add, add_capture, report_studio, scan_bytes
from share_case import planted, private_words

QUICK = Wanted(film="none", plates=False)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return planted(tmp_path_factory.mktemp("share") / "s", pairs=3)


@pytest.fixture(scope="module")
def folder(studio: Studio, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("out") / "shown"
    made(studio, target, Wanted(film="gif", one_file=True))
    return target


def made(studio: Studio, target: Path, wanted: Wanted) -> module.Shared:
    state, bench = studio.state("annual"), studio.bench()
    plan = make_plan(state, bench, wanted)
    return write_share(plan, state, bench, studio.blobs.path, target)


def texts(folder: Path) -> dict[str, str]:
    found = [*folder.rglob("*.txt"), *folder.rglob("*.html")]
    return {path.name: path.read_text(encoding="utf-8") for path in found}


def test_the_folder_holds_page_pictures_plates_film_and_words(folder: Path) -> None:
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {"index.html", "one-page.html", "captions.txt", "listing.txt", "README.txt",
            "film-wide.gif", "film-tall.gif", "pictures/01-before.jpg", "plates/01-wide.jpg",
            "plates/01-tall.jpg"} <= names  # fmt: skip
    assert not [name for name in names if "w01" in name or "annual" in name]


def test_nothing_private_stands_in_any_text(folder: Path) -> None:
    for name, text in texts(folder).items():
        said = plain(text)
        assert not [one for one in private_words() if one.casefold() in said.casefold()], name
        assert "florens" not in said


def test_names_of_originals_and_the_bench_notes_stay_home(folder: Path, studio: Studio) -> None:
    state = studio.state("annual")
    everything = "\n".join(plain(text) for text in texts(folder).values())
    for capture in state.captures.values():
        assert capture.filename not in everything and capture.sha256 not in everything
    for words in ("Water turned straw yellow", "brown edge", "Came rolled", "E. Larkmoor"):
        assert words not in everything


def segments(data: bytes) -> list[int]:
    """Markers of a JPEG up to its first scan (ITU-T T.81, B.1.1.4: each with its length)."""
    assert data[:2] == b"\xff\xd8"
    found, at = [], 2
    while data[at + 1] != 0xDA:
        assert data[at] == 0xFF
        found.append(data[at + 1])
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return found


def test_pictures_hold_pixels_only(folder: Path) -> None:
    pictures = list(folder.rglob("*.jpg"))
    assert len(pictures) >= 12
    for path in pictures:
        markers = segments(path.read_bytes())
        # APP0 (JFIF) may stand; no other APPn (EXIF, XMP, profiles, IPTC) and no comment (0xFE).
        assert not [one for one in markers if 0xE1 <= one <= 0xEF or one == 0xFE], path
    with Image.open(folder / "film-wide.gif") as film:
        assert "comment" not in film.info and not film.getexif()


def test_what_a_camera_wrote_is_seen_by_the_test_and_does_not_leave(tmp_path: Path) -> None:
    studio = report_studio(tmp_path / "s", pairs=0)
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F], exif[0x013B] = "Ostrevar cameras", "Quillan Ostrevar"
    with Image.open(io.BytesIO(scan_bytes(3))) as image:
        image.save(out, "JPEG", exif=exif, comment=b"at Vennelgate")
    assert {0xE1, 0xFE} <= set(segments(out.getvalue()))
    add_capture(studio, "annual", "back-before", out.getvalue(), "back", "before", "back")
    made(studio, tmp_path / "out", replace(QUICK, pictures=("photo.back",)))
    data = (tmp_path / "out/pictures/01-before.jpg").read_bytes()
    assert segments(data)[0] == 0xE0 and b"Ostrevar" not in data and b"Vennelgate" not in data


def test_captions_say_the_change_its_band_and_what_could_be_missed(folder: Path) -> None:
    said = texts(folder)["captions.txt"]
    assert "width +0.014 ± 0.060 %" in said
    assert "A change of 0.12 % or more would have been called in 95 of 100 cases" in said
    assert "nothing was brightened" in said


def test_the_listing_discloses_every_step_done_and_no_other(folder: Path) -> None:
    said = texts(folder)["listing.txt"]
    assert "The staples were lifted." in said and "On: staples." in said
    assert "Paper was deacidified. On: wrap 1, wrap 2. With: calcium hydroxide." in said
    assert "relaxed by moist air" not in said  # planned only
    assert "rust halo at the upper staple" in said and "No grade is given" in said
    assert not re.search(r"\b(3\.5|worn but whole)\b", said)


class Reads(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inline: dict[str, str] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1][0] in ("style", "script"):
            self.inline.setdefault(self.tags[-1][0], data)


@pytest.mark.parametrize("name", ["index.html", "one-page.html"])
def test_the_page_asks_for_nothing_elsewhere_and_its_policy_names_its_own_script(
    folder: Path, name: str
) -> None:
    page = Reads()
    page.feed((folder / name).read_text(encoding="utf-8"))
    policy = next(a["content"] for t, a in page.tags if a.get("http-equiv")) or ""
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy
    for kind in ("style", "script"):
        digest = base64.b64encode(hashlib.sha256(page.inline[kind].encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    for tag, attributes in page.tags:
        for key in ("src", "href", "poster"):
            value = attributes.get(key) or ""
            assert "//" not in value.split("base64")[0], (tag, key)
            if key != "href" and value and not value.startswith("data:"):
                assert (folder / value).is_file()
        assert not any(key.startswith("on") or key == "style" for key in attributes)
        if tag == "img":
            assert attributes["alt"] and attributes["width"] and attributes["height"]


def test_the_one_file_is_cut_to_its_size_by_smaller_pictures(folder: Path, studio: Studio) -> None:
    whole = (folder / "one-page.html").stat().st_size
    plan = make_plan(studio.state("annual"), studio.bench(), QUICK)
    from quirewell.exchange.share_pictures import make_pictures

    place = folder.parent / "again"
    place.mkdir()
    pictures = [
        make_pictures(shot, f"{n:02d}", studio.state("annual"), studio.blobs.path, place)
        for n, shot in enumerate(plan.shots)
    ]
    text, longest = one_file(plan, pictures, most=whole // 3)
    assert len(text.encode()) <= whole // 3 and longest < 1600
    assert re.search(r"one file of about \d+ kB", text)


def test_a_private_word_in_a_caption_stops_it_and_is_named(studio: Studio, tmp_path: Path) -> None:
    state, bench = studio.state("annual"), studio.bench()
    for words, named in (
        ("With thanks to Quillan  Ostrevar.", "a client"),
        ("For mrs OSTREVAR.", "part of a name"),
        ("Sold at 4,321.98 florens.", "an amount of money"),
        ("A bargain at £20!", "an amount of money"),
        ("Sent as TRK-88123-ZZ.", "a tracking number"),
        ("From the Grobleck cabinet, shelf 7.", "the place it is kept"),
    ):
        wanted = replace(QUICK, captions={"c.outer.left": words})
        plan = make_plan(state, bench, wanted)
        assert any(named in one and "Back cover" in one for one in plan.problems), words
        with pytest.raises(NotShared, match="not shared"):
            write_share(plan, state, bench, studio.blobs.path, tmp_path / "no")
        assert not (tmp_path / "no").exists()


def test_plain_words_are_no_names(studio: Studio) -> None:
    captions = {"c.outer.left": "20 mm of the fold, 4321.98 of nothing, 5 cases in 95."}
    plan = make_plan(studio.state("annual"), studio.bench(), replace(QUICK, captions=captions))
    assert plan.problems == () and plan.asks == ()


def test_what_is_made_is_searched_again_whole(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "readme_text", lambda rows: "kept for Pellomar Dwyne")
    with pytest.raises(NotShared, match=r"Pellomar Dwyne.*README\.txt"):
        made(studio, tmp_path / "no", QUICK)
    assert list(tmp_path.iterdir()) == []


def test_a_title_with_the_owners_name_is_asked_about(tmp_path: Path) -> None:
    studio = report_studio(tmp_path / "s", title="The Larkmoor Garden Annual", pairs=0)
    state, bench = studio.state("annual"), studio.bench()
    plan = make_plan(state, bench, QUICK)
    assert plan.problems == () and len(plan.asks) == 1 and "Larkmoor" in plan.asks[0]
    with pytest.raises(NotShared, match="may stay"):
        refuse(plan)
    other = make_plan(state, bench, replace(QUICK, title="A garden annual"))
    assert other.asks == () and "Larkmoor" not in other.listing
    made(studio, tmp_path / "seen", replace(QUICK, title_seen=True))
    assert "The Larkmoor Garden Annual" in (tmp_path / "seen/listing.txt").read_text()
    elsewhere = replace(QUICK, title_seen=True, captions={"photo.front": "From R. Larkmoor."})
    assert make_plan(state, bench, elsewhere).problems


def test_a_folder_that_holds_something_is_left_alone(studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "kept.txt").write_text("mine")
    with pytest.raises(NotShared, match="holds something already"):
        made(studio, tmp_path, QUICK)
    assert [path.name for path in tmp_path.iterdir()] == ["kept.txt"]


@pytest.mark.parametrize(
    "title", ["<script>alert(1)</script>", "</title><img src=x>", "\"&'", "#[]$"]
)
def test_a_title_full_of_signs_stays_a_title(tmp_path: Path, title: str) -> None:
    studio = report_studio(tmp_path / "s", title=title, pairs=0)
    made(studio, tmp_path / "out", Wanted(film="none", one_file=True))
    page = Reads()
    text = (tmp_path / "out/index.html").read_text(encoding="utf-8")
    page.feed(text)
    assert not any(tag == "img" and a.get("src") == "x" for tag, a in page.tags)
    assert "alert" not in page.inline.get("script", "")
    assert title in plain(text) and (tmp_path / "out/plates/01-wide.jpg").is_file()


def test_nothing_one_picture_and_no_after(tmp_path: Path) -> None:
    studio = Studio.create(tmp_path / "s", "Larkmoor paper bench")
    add(studio, "annual", ("item.opened", nouns.Item("Copperbeck Garden Annual")))
    first = made(studio, tmp_path / "none", Wanted(one_file=True))
    assert {name for name, _ in first.files} == {
        "index.html", "one-page.html", "captions.txt", "listing.txt", "README.txt",
    }  # fmt: skip
    page = (tmp_path / "none/index.html").read_text(encoding="utf-8")
    assert "There is no picture of it here." in page and "<script" not in page
    add_capture(studio, "annual", "f", scan_bytes(1), "front", "before", "phone")
    second = made(studio, tmp_path / "one", Wanted())
    names = {name for name, _ in second.files}
    assert "pictures/01-before.jpg" in names and "plates/01-tall.jpg" in names
    assert not any(name.startswith("film") for name in names)
    assert "photographed before treatment" in (tmp_path / "one/captions.txt").read_text()


def test_many_pictures_are_offered_and_few_are_taken(tmp_path: Path) -> None:
    studio = report_studio(tmp_path / "s", pairs=150, wraps=40)
    state, bench = studio.state("annual"), studio.bench()
    assert sum(len(shot.result.place) > 0 for shot in shots_of(state) if shot.result) == 150
    plan = make_plan(state, bench, QUICK)
    assert 1 < len(plan.shots) <= 6 and len(plan.shots) + len(plan.more) == 151
    every = make_plan(state, bench, Wanted(tuple(one.key for one in shots_of(state))))
    assert any(f"up to {MOST_PICTURES}" in one for one in every.problems)
    unknown = make_plan(state, bench, Wanted(("w99.outer.left",)))
    assert "There is no picture 'w99.outer.left'" in unknown.problems[0]


def test_one_picture_at_a_time_is_in_memory(tmp_path: Path) -> None:
    """Peak of what Python and numpy hold, for 2 pages and for 12: the same, within a picture."""
    studio = report_studio(tmp_path / "s", pairs=12)
    state = studio.state("annual")
    keys = tuple(shot.key for shot in shots_of(state) if shot.result)
    picture = 560 * 855 * 3  # a scan of `scan_bytes`, 8 bits a channel

    def peak(chosen: tuple[str, ...], name: str) -> int:
        tracemalloc.start()
        made(studio, tmp_path / name, replace(QUICK, pictures=chosen))
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    peak(keys[:1], "warm")
    assert peak(keys, "many") - peak(keys[:2], "few") < picture


def test_the_zip_is_the_folder_with_safe_names_and_always_the_same(
    studio: Studio, tmp_path: Path
) -> None:
    shared = made(studio, tmp_path / "out", QUICK)
    first = zipped(shared, tmp_path / "a.zip").read_bytes()
    assert first == zipped(shared, tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as zip_:
        assert zip_.testzip() is None
        assert {name.removeprefix("share/") for name in zip_.namelist()} == {
            name for name, _ in shared.files
        }
        zip_.extractall(tmp_path / "again")
    for name, size in shared.files:
        assert (tmp_path / "again/share" / name).stat().st_size == size
    shutil.rmtree(tmp_path / "again")


def test_the_curtain_only_stands_over_pictures_that_lie_on_each_other(folder: Path) -> None:
    page = Reads()
    page.feed((folder / "index.html").read_text(encoding="utf-8"))
    figures = {a.get("id"): "data-curtain" in a for tag, a in page.tags if tag == "figure"}
    assert figures["picture-01"] is False  # the photographs of the front
    assert any(figures.values())
    before, after = (
        np.asarray(Image.open(folder / f"pictures/02-{moment}.jpg"))
        for moment in ("before", "after")
    )
    assert before.shape == after.shape
