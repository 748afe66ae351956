"""Intake: what comes in, what is refused, what waits for a person."""

from __future__ import annotations

import errno
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from picture_files import picture_bytes, write_pictures
from quirewell.jobs.runner import Runner
from quirewell.record.event import Draft
from quirewell.stages import intake
from quirewell.stages.refusal import Refusal
from quirewell.stages.taking_in import Arrival, Source, folder_sources, take_in
from quirewell.studio import blobs
from quirewell.studio.check import check
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

NAMES = ["w01-outer-left-before.tif", "w01-outer-left-after.tif", "item-front-before.png"]


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with studio_with_item(tmp_path / "studio") as made:
        yield made


def test_folder_comes_in_byte_for_byte(studio: Studio, tmp_path: Path) -> None:
    folder = write_pictures(tmp_path / "scans", [*NAMES, "holiday.jpg"])
    shown: list[tuple[int, int]] = []

    def show(done: int, total: int, arrival: Arrival) -> None:
        shown.append((done, total))

    report = take_in(studio, ITEM, folder_sources(folder), progress=show)
    assert shown == [(1, 4), (2, 4), (3, 4), (4, 4)]
    assert len(report.taken) == 4 and not report.refused
    assert [entry.name for entry in report.to_assign] == ["holiday.jpg"]
    state = studio.state(ITEM)
    by_name = {entry.filename: entry for entry in state.captures.values()}
    left = by_name["w01-outer-left-before.tif"]
    assert (left.place, left.panel, left.moment, left.view) == (
        "w01.outer",
        "left",
        "before",
        "scan",
    )
    assert (left.width_px, left.height_px, left.resolution_dpi) == (120, 160, 100.0)
    assert by_name["item-front-before.png"].view == "front"
    for name, capture in by_name.items():
        original = studio.blobs.path(capture.sha256)
        assert original.read_bytes() == (folder / name).read_bytes()
        assert original.stat().st_mode & 0o777 == 0o444
        assert (studio.derived / "previews" / f"{capture.sha256}-420.jpg").is_file()


def test_taking_in_again_changes_nothing(studio: Studio, tmp_path: Path) -> None:
    folder = write_pictures(tmp_path / "scans", NAMES)
    take_in(studio, ITEM, folder_sources(folder))
    head = studio.head()
    report = take_in(studio, ITEM, folder_sources(folder))
    assert len(report.already) == 3 and not report.taken and studio.head() == head


def test_same_picture_under_two_names_is_one_picture(studio: Studio) -> None:
    data = picture_bytes()
    report = take_in(
        studio,
        ITEM,
        [
            Source("w01-outer-left-before.png", io.BytesIO(data)),
            Source("w02-outer-left-before.png", io.BytesIO(data)),
        ],
    )
    assert len(report.taken) == 1 and "is in already" in report.already[0].says
    assert len(studio.state(ITEM).captures) == 1


def test_new_scan_of_a_taken_place_waits_for_a_person(studio: Studio) -> None:
    for seed in (1, 2):
        source = Source("w01-outer-left-before.png", io.BytesIO(picture_bytes(seed)))
        report = take_in(studio, ITEM, [source])
    assert "has a picture already (w01-outer-left-before.png)" in report.to_assign[0].says
    assert [entry.place for entry in studio.state(ITEM).captures.values()] == ["w01.outer", ""]


def test_picture_may_be_in_two_items(studio: Studio) -> None:
    studio.append("other", 0, [Draft("other", "item.opened", {"title": "Other"})])
    for item in (ITEM, "other"):
        take_in(studio, item, [Source("item-front-before.png", io.BytesIO(picture_bytes()))])
    assert studio.state("other").captures.keys() == studio.state(ITEM).captures.keys()


def test_bad_picture_is_told_by_its_name_and_the_others_go_on(
    studio: Studio, tmp_path: Path
) -> None:
    good = picture_bytes(kind="JPEG")
    files = {
        "w01-outer-left-before.jpg": good,
        "w02-outer-left-before.jpg": good[: len(good) // 2],
        "w03-outer-left-before.tif": b"",
        "w04-outer-left-before.tif": b"not a picture at all, but long enough to look at" * 9,
        "w05-outer-left-before.png": picture_bytes(5),
    }
    with Runner(1) as runner:
        report = take_in(
            studio, ITEM, [Source(n, io.BytesIO(b)) for n, b in files.items()], runner=runner
        )
    assert [entry.name[:3] for entry in report.taken] == ["w01", "w05"]
    assert len(report.refused) == 3
    for arrival in report.refused:
        assert arrival.name in arrival.says and arrival.says.endswith(".")
        assert ".part" not in arrival.says
    assert len(list(studio.blobs.all())) == 2 and not studio.blobs.unfinished()


def test_full_disk_stops_in_a_sentence_and_saves_nothing_by_half(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_pictures(tmp_path / "scans", NAMES)
    real, count = blobs.os.fsync, 0

    def fsync(handle: int) -> None:
        nonlocal count
        count += 1
        if count > 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(handle)

    monkeypatch.setattr(blobs.os, "fsync", fsync)
    report = take_in(studio, ITEM, folder_sources(folder))
    monkeypatch.undo()
    assert "is full; nothing was half saved" in report.stopped
    assert len(report.taken) == len(studio.state(ITEM).captures) == 1
    assert not studio.blobs.unfinished()
    assert check(studio.folder).ok
    assert len(take_in(studio, ITEM, folder_sources(folder)).taken) == 2


def test_real_size_limit_is_a_full_disk(studio: Studio) -> None:
    import resource

    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    data = picture_bytes(size=(900, 900))
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, limits[1]))
    try:
        report = take_in(studio, ITEM, [Source("item-front-before.png", io.BytesIO(data))])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert "is full" in report.stopped
    assert not list(studio.blobs.all()) and not studio.blobs.unfinished()


def test_file_above_the_cap_is_refused_while_streaming(studio: Studio) -> None:
    with pytest.raises(blobs.TooLarge, match="larger than"):
        studio.blobs.put(io.BytesIO(b"x" * 3_000_000), max_bytes=2_000_000)
    assert not studio.blobs.unfinished()


def test_name_that_cannot_be_printed_is_shown_with_question_marks(
    studio: Studio, tmp_path: Path
) -> None:
    folder = tmp_path / "scans"
    folder.mkdir()
    (folder / "w01\n\udcff.png").write_bytes(picture_bytes())
    report = take_in(studio, ITEM, folder_sources(folder))
    assert report.taken[0].name == "w01??.png"


def test_whatever_else_lies_in_a_folder_is_refused_by_name(studio: Studio, tmp_path: Path) -> None:
    import os

    folder = write_pictures(tmp_path / "scans", NAMES)
    (folder / "sub").mkdir()
    os.mkfifo(folder / "pipe.tif")
    (folder / "gone.tif").symlink_to(tmp_path / "nowhere")
    (folder / "page.svg").write_text("<svg onload='x()'/>")
    (folder / "Thumbs.db").write_bytes(b"junk")
    report = take_in(studio, ITEM, folder_sources(folder))
    assert len(report.taken) == 3 and [entry.name for entry in report.refused] == ["page.svg"]


def test_empty_or_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="no folder"):
        folder_sources(tmp_path / "nowhere")
    with pytest.raises(Refusal, match="no files"):
        folder_sources(tmp_path)


def _loose(studio: Studio) -> str:
    report = take_in(studio, ITEM, [Source("scan7.png", io.BytesIO(picture_bytes(7)))])
    return report.taken[0].capture


def _save(studio: Studio, form: dict[str, str]) -> None:
    state = studio.state(ITEM)
    studio.append(ITEM, state.version, intake.assign(state, form))


def test_picture_is_assigned_by_hand_and_sent_back(studio: Studio) -> None:
    picture = _loose(studio)
    assert intake.view(studio.state(ITEM)).loose[0].why.startswith("the name does not begin")
    _save(studio, {"capture": picture, "place": "w03.outer.left", "moment": "before"})
    capture = studio.state(ITEM).captures[picture]
    assert (capture.place, capture.panel, capture.view) == ("w03.outer", "left", "scan")
    slots = intake.view(studio.state(ITEM)).sheets[3].slots
    assert (
        slots[0].captures == (picture,)
        and slots[0].words == "wrap 3, outer side, left half, before"
    )
    _save(studio, {"capture": picture})
    assert studio.state(ITEM).captures[picture].place == ""


def test_taken_place_is_only_taken_over_when_said(studio: Studio) -> None:
    named = Source("w03-outer-left-before.png", io.BytesIO(picture_bytes(1)))
    first = take_in(studio, ITEM, [named]).taken[0].capture
    second = _loose(studio)
    form = {"capture": second, "place": "w03.outer", "panel": "left", "moment": "before"}
    with pytest.raises(Refusal, match="has a picture already"):
        _save(studio, form)
    _save(studio, {**form, "replace": "yes"})
    state = studio.state(ITEM)
    assert state.captures[first].place == "" and state.captures[second].place == "w03.outer"


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"place": "w03.outer", "panel": "left"}, "before or after"),
        ({"place": "w12.outer", "moment": "before"}, "no wrap 12"),
        ({"place": "attic", "moment": "before"}, "names no place"),
        ({"place": "w03", "moment": "before"}, "which side"),
        ({"place": "w03.outer", "panel": "top", "moment": "before"}, "left, right or whole"),
    ],
)
def test_assignment_that_cannot_be_is_refused(
    studio: Studio, form: dict[str, str], said: str
) -> None:
    picture = _loose(studio)
    with pytest.raises(Refusal, match=said):
        _save(studio, {"capture": picture, **form})
    with pytest.raises(Refusal, match="not in this item"):
        _save(studio, {"capture": "p0", **form})


def test_picture_is_set_aside_unless_a_defect_shows_it(studio: Studio) -> None:
    picture = _loose(studio)
    shown = {**defect().body, "capture": picture}
    studio.append(ITEM, None, [Draft(ITEM, "defect.noted", shown)])
    with pytest.raises(Refusal, match="defect-1 shows this picture"):
        intake.set_aside(studio.state(ITEM), {"capture": picture})
    studio.append(ITEM, None, [defect()])
    drafts = intake.set_aside(studio.state(ITEM), {"capture": picture, "reason": "private"})
    studio.append(ITEM, None, drafts)
    assert not studio.state(ITEM).captures and check(studio.folder).ok
    again = take_in(studio, ITEM, [Source("scan7.png", io.BytesIO(picture_bytes(7)))])
    assert again.taken[0].capture == picture


@pytest.mark.parametrize(
    ("form", "wraps"),
    [({"wraps": "9"}, 9), ({"pages": "36"}, 9), ({"wraps": "9", "pages": "36"}, 9), ({}, None)],
)
def test_wraps_come_from_wraps_or_pages(form: dict[str, str], wraps: int | None) -> None:
    assert intake.wraps_from(form) == wraps


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"pages": "34"}, "multiple of four"),
        ({"pages": "36", "wraps": "8"}, "36 pages make 9 wraps"),
        ({"wraps": "nine"}, "not a whole number"),
        ({"wraps": "-3"}, "not a whole number"),
    ],
)
def test_counts_that_cannot_be_are_refused(form: dict[str, str], said: str) -> None:
    with pytest.raises(Refusal, match=said):
        intake.wraps_from(form)


def test_guides_begin_with_what_can_hurt_the_object(studio: Studio) -> None:
    view = intake.view(studio.state(ITEM))
    assert "damp paper on glass" in view.first[0] and "rolled or brittle" in view.first[1]
    assert [guide.tool for guide in view.guides] == ["phone", "scanner", "phone"]
    assert len(view.sheets) == 10 and view.sheets[0].missing_before == 4


def test_view_of_an_item_nobody_has_described(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "s2") as studio:
        studio.append("x", 0, [Draft("x", "item.opened", {"title": "X"})])
        view: Any = intake.view(studio.state("x"))
        assert view.plans is None and view.sheets == () and "One phone picture" in view.says
