"""A crease that raking light showed is proposed on its scan, where it was planted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drawn_pages import run as measured
from quirewell.stages.proposing import proposals
from quirewell.stages.relief_recording import record_relief
from raked_studio import ITEM, PAGE, page_studio, raking_files, roles

# The drawn sheet is 110 x 90 mm; its crease, 0.6 of that width, runs through the middle and
# rises by 24 degrees.
WIDE, TALL, SLANT = 110.0, 90.0, 24.0


@pytest.fixture(scope="module")
def lit(tmp_path_factory):
    folder = raking_files(tmp_path_factory.mktemp("raked"), degrees=8.0, scale=0.9)
    studio = page_studio(folder / "studio", folder / "scan.tif")
    lamps = (folder / "lights.csv").read_text()
    record_relief(studio, ITEM, PAGE, "before", roles(folder), {"lamps": lamps})
    state = studio.state(ITEM)
    (scan,) = state.captures.values()
    w, h = scan.width_px, scan.height_px
    outline = f"0,0 {w},0 {w},{h} 0,{h}"
    leaf = measured(scan, outline, "head right foot left", um=1000 * WIDE / w)
    return replace(state, runs={**state.runs, leaf.id: leaf}), scan


def test_the_planted_crease_is_proposed_with_its_length_and_course(lit):
    state, scan = lit
    found = [one for one in proposals(state, PAGE, scan) if one.term == "crease"]
    courses = [np.array(one.region.shapes[0]) for one in found]
    length = sum(float(np.hypot(*np.diff(course, axis=0).T).sum()) for course in courses)
    assert length == pytest.approx(0.6 * WIDE, abs=5.0)
    slant = np.radians(SLANT)
    for course in courses:
        x, y = (course - (WIDE / 2, TALL / 2)).T
        # Down the page is against the sheet's own y.
        across = np.abs(-x * np.sin(slant) - y * np.cos(slant))
        assert across.max() < 1.0
    assert found[0].extent.split(" ")[1] == "mm" and "raking light" in found[0].why


def test_a_relief_that_lies_on_another_picture_proposes_nothing_here(lit):
    state, scan = lit
    other = replace(scan, id="cap-other")
    leaf = measured(other, "0,0 400,0 400,300 0,300", "head right foot left", um=275.0)
    now = replace(
        state, captures={other.id: other}, runs={**state.runs, leaf.id: replace(leaf, id="run-o")}
    )
    assert not [one for one in proposals(now, PAGE, other) if one.term == "crease"]
