"""A relief in the record: pictures kept, laid on the page's scan, shown with its own scale."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from quirewell.record.finding import Input, Run
from quirewell.record.nouns import Capture, Item, ItemState
from quirewell.stages.refusal import Refusal
from quirewell.stages.relief_layers import (
    HEIGHT_STOPS,
    height_colours,
    laid_on_before,
    write_layers,
)
from quirewell.stages.relief_recording import Recorded, page_of, record_relief
from quirewell.stages.relief_view import height_range, relief_on, relief_view
from quirewell.studio.check import check
from quirewell.studio.studio import Studio
from raked_studio import ITEM, PAGE, page_studio, raking_files, roles


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Studio, Recorded]:
    folder = raking_files(tmp_path_factory.mktemp("raked"), degrees=8.0, scale=0.9)
    studio = page_studio(folder / "studio", folder / "scan.tif")
    lamps = (folder / "lights.csv").read_text()
    return studio, record_relief(studio, ITEM, PAGE, "before", roles(folder), {"lamps": lamps})


def test_the_run_lies_on_the_scan_and_says_so(kept: tuple[Studio, Recorded]) -> None:
    studio, recorded = kept
    assert recorded.apart == ""
    state = studio.state(ITEM)
    run = state.runs[recorded.run.id]
    (scan,) = state.captures.values()
    assert run.subject == PAGE and run.method == "relief.measure"
    assert [entry.ref for entry in run.inputs if entry.role == "grid"] == [scan.id]
    assert run.drawing["on_grid"] == "yes" and run.drawing["layers"] == "height shaded"
    cockle = next(f for f in run.findings if f.quantity == "relief.cockle_rms_um")
    assert cockle.value == pytest.approx(128.7, abs=2.0)
    assert len(state.captures) == 1, "raking pictures are no pictures of the item"


def test_every_picture_of_it_belongs_to_the_record(kept: tuple[Studio, Recorded]) -> None:
    checked = check(kept[0].folder)
    assert not checked.troubles
    assert not any("belong to no record" in note for note in checked.notes)


def test_the_same_pictures_again_leave_no_second_run(
    kept: tuple[Studio, Recorded], tmp_path: Path
) -> None:
    studio, recorded = kept
    files = {
        entry.role: studio.blobs.path(entry.sha256)
        for entry in recorded.run.inputs
        if entry.role != "grid"
    }
    copies = {}
    for entry in recorded.run.inputs:
        if entry.role != "grid":
            copies[entry.role] = tmp_path / entry.ref
            copies[entry.role].write_bytes(files[entry.role].read_bytes())
    params = {"lamps": recorded.run.params["lamps"]}
    again = record_relief(studio, ITEM, PAGE, "before", copies, params)
    assert again.run.id == recorded.run.id
    assert len(studio.state(ITEM).runs) == 1


def test_the_view_gives_layers_key_and_numbers(kept: tuple[Studio, Recorded]) -> None:
    studio, recorded = kept
    state = studio.state(ITEM)
    (scan,) = state.captures.values()
    view = relief_on(state, scan)
    assert view is not None and view.kinds == ("height", "shaded")
    (layer,) = view.layers
    assert layer.run == recorded.run.id and layer.on_scan and layer.wide == "110 mm"
    assert view.um_per_px == pytest.approx(250.0, rel=2e-3)
    assert view.range_um is not None
    low, high = view.range_um
    true_low, true_high = map(float, recorded.run.drawing["height_um"].split())
    assert low <= true_low < true_high <= high and low % 10 == high % 10 == 0
    assert view.steps[0].endswith("or lower") and view.steps[-1].endswith("or higher")
    assert view.rows[0][0].startswith("Cockle")
    assert all(before.refs and not after for _, before, after in view.rows)


def test_written_layers_are_light_where_the_sheet_is_high_and_clear_where_unlit(
    kept: tuple[Studio, Recorded], tmp_path: Path
) -> None:
    studio, recorded = kept
    files = {e.role: studio.blobs.path(e.sha256) for e in recorded.run.inputs}
    low, high = map(float, recorded.run.drawing["height_um"].split())
    write_layers(files, recorded.run.params, (low, high), tmp_path)
    from raked_studio import raked

    truth = raked()[0].height_mm
    picture = cv2.imread(str(tmp_path / "height.png"), cv2.IMREAD_UNCHANGED)
    assert picture is not None and picture.shape == (*truth.shape, 4)
    grey = cv2.cvtColor(picture[..., :3], cv2.COLOR_BGR2GRAY).astype(float)
    seen = picture[..., 3] > 0
    assert np.corrcoef(grey[seen], truth[seen])[0, 1] > 0.95
    assert (picture[:3, :3, 3] == 0).all(), "the camera's turned frame left the corner unlit"
    assert (tmp_path / "shaded.png").is_file()


def test_without_a_scan_it_is_kept_by_itself_and_says_why(tmp_path: Path) -> None:
    folder = raking_files(tmp_path)
    studio = page_studio(folder / "studio", None)
    lamps = (folder / "lights.csv").read_text()
    recorded = record_relief(studio, ITEM, PAGE, "after", roles(folder), {"lamps": lamps})
    assert "no scan of wrap 1" in recorded.apart
    view = relief_view(studio.state(ITEM), PAGE, {})
    assert view is not None and view.kinds == () and not view.layers[0].on_scan


def test_on_the_scan_of_another_sheet_it_is_kept_by_itself(tmp_path: Path) -> None:
    folder, other = tmp_path / "one", tmp_path / "two"
    folder.mkdir()
    other.mkdir()
    raking_files(folder)
    studio = page_studio(folder / "studio", raking_files(other, seed=2) / "scan.tif")
    lamps = (folder / "lights.csv").read_text()
    recorded = record_relief(studio, ITEM, PAGE, "before", roles(folder), {"lamps": lamps})
    assert "cannot be laid on" in recorded.apart
    assert not any(entry.role == "grid" for entry in recorded.run.inputs)


@pytest.mark.parametrize("page", ["", "w01", "c", "w09.outer.left", "item", "w01.outer w02.outer"])
def test_what_names_no_one_page_is_refused(kept: tuple[Studio, Recorded], page: str) -> None:
    with pytest.raises(Refusal):
        page_of(kept[0].state(ITEM), page)


def test_a_wrong_moment_or_lamp_leaves_nothing_in_the_record(
    kept: tuple[Studio, Recorded], tmp_path: Path
) -> None:
    studio = kept[0]
    files = roles(raking_files(tmp_path))
    with pytest.raises(Refusal, match="before or after"):
        record_relief(studio, ITEM, PAGE, "during", files, {"lamps": "1, 2"})
    with pytest.raises(ValueError, match="lamps"):
        record_relief(studio, ITEM, PAGE, "before", files, {"lamps": "20, 25\n110, 25"})
    assert len(studio.state(ITEM).runs) == 1


def relief_run(id: str, moment: str, span: str, grid: str = "p1") -> Run:
    inputs = (Input("picture01", "a.tif", "b" * 64), Input("grid", grid, "a" * 64))
    drawing = {"layers": "height shaded", "height_um": span, "size_px": "440 360",
               "px_mm": "0.25", "on_grid": "yes"}  # fmt: skip
    return Run(id, "relief.measure", 2, "seeded", PAGE, inputs, {"moment": moment}, (),
               drawing=drawing)  # fmt: skip


def test_before_and_after_share_one_range_of_height() -> None:
    runs = {one.id: one for one in (relief_run("r1", "before", "-212.4 180.1"),
                                    relief_run("r2", "after", "-51.0 240.2"))}  # fmt: skip
    assert height_range(tuple(runs.values())) == (-220.0, 250.0)
    state = ItemState("annual", 1, Item("Annual"), runs=runs)
    view = relief_view(state, PAGE, {})
    assert view is not None and view.range_um == (-220.0, 250.0)
    assert view.steps == (
        "\u2212220 µm or lower", "\u2212102 µm", "+15 µm", "+132 µm", "+250 µm or higher",
    )  # fmt: skip


def test_a_relief_laid_on_a_scan_since_replaced_is_not_drawn_over_the_new_one() -> None:
    newer = Capture("p2", "c" * 64, "p2.png", "image/png", 440, 360, 9, place=PAGE, moment="before")
    state = ItemState("annual", 1, Item("Annual"), runs={"r1": relief_run("r1", "before", "0 9")})
    view = relief_on(state, newer)
    assert view is not None and view.kinds == ()
    assert relief_on(state, replace(newer, moment="after")) is None


def test_each_step_of_height_is_lighter_than_the_one_before() -> None:
    colours = height_colours(np.linspace(0, 1, 60)).astype(float) @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(colours) > 0).all()
    assert tuple(height_colours(np.array([-1.0, 2.0])).tolist()) == (
        list(HEIGHT_STOPS[0]), list(HEIGHT_STOPS[-1]),
    )  # fmt: skip


def test_an_after_relief_moves_onto_the_before_picture() -> None:
    rgba = np.zeros((60, 80, 4), np.uint8)
    rgba[20:30, 40:50] = (200, 100, 50, 255)
    pair = {"before_size_px": "160 120", "after_size_px": "160 120",
            "before_to_after_px": "1 0 20;0 1 -10"}  # fmt: skip
    moved = laid_on_before(rgba, pair)
    assert moved.shape == (120, 160, 4)
    rows, columns = np.nonzero(moved[..., 3])
    assert rows.mean() == pytest.approx(2 * 24.5 + 10.5, abs=1.0)
    assert columns.mean() == pytest.approx(2 * 44.5 - 19.5, abs=1.0)
    with pytest.raises(ValueError, match="compare again"):
        laid_on_before(rgba, {"before_to_after_px": "1 0 0;0 1 0"})
