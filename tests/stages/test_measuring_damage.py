"""Findings on tears and stains: one set per tear, verdicts in words, lists in JSON."""

import json
import math

import pytest
import tifffile
from click.testing import CliRunner

from quirewell.cli.measure import measure
from quirewell.demo.scenes import render_leaf
from quirewell.demo.tears import Tear
from quirewell.stages.drawn import tear_paths
from quirewell.stages.methods import run_method


@pytest.fixture(scope="module")
def torn(tmp_path_factory):
    tears = (Tear("head", 60.0, 9.0, 0.6, 0.2), Tear("left", 90.0, 6.0, 0.6, 0.2))
    pixels, _ = render_leaf(5, 150, strip=False, losses=(), tears=tears, printed=False)
    path = tmp_path_factory.mktemp("torn") / "leaf.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(150, 150), resolutionunit=2)
    return path


@pytest.fixture(scope="module")
def run(torn):
    return run_method("leaf.measure", "w1.outer.left", {"image": torn}, params={"dpi": "150"})


def test_each_tear_has_its_length_edge_place_and_gap(run):
    found = {finding.quantity: finding for finding in run.findings}
    assert found["leaf.tears.1.edge"].text == "head"
    assert found["leaf.tears.2.edge"].text == "left"
    assert found["leaf.tears.1.length_mm"].value == pytest.approx(9.0, abs=1.0)
    assert "proposed" in found["leaf.tears.1.length_mm"].note
    assert found["leaf.tears_seen"].text.startswith("2 open tears proposed")
    assert "closed tears" in found["leaf.tears_seen"].text
    for finding in run.findings:
        if finding.quantity.startswith(("leaf.tears.", "stains.")) and finding.value is not None:
            assert finding.u == pytest.approx(math.sqrt(sum(t.u**2 for t in finding.terms)))
            assert finding.u > 0


def test_the_tears_are_drawn_in_the_order_of_their_findings(run):
    paths = tear_paths(run.drawing)
    assert len(paths) == 2
    head = max(math.dist(paths[0][0], point) for point in paths[0])
    assert head == pytest.approx(9.0 / 25.4 * 150, abs=8)


def test_stains_come_as_a_share_with_what_would_have_been_seen(run):
    found = {finding.quantity: finding for finding in run.findings}
    assert found["stains.area_pct"].unit == "%"
    assert found["stains.area_pct"].smallest_seen > 0
    assert "darker in L*" in found["stains.seen"].text
    assert run.drawing["stains"].count(";") >= 0


def test_json_holds_the_tears_as_a_list_and_the_promised_keys(torn, tmp_path):
    done = CliRunner().invoke(measure, [str(torn), "--dpi", "150", "--json"])
    said = json.loads(done.output)
    assert [tear["edge"] for tear in said["leaf"]["tears"]] == ["head", "left"]
    assert said["leaf"]["tears"][0]["length_mm"]["unit"] == "mm"
    assert said["stains"]["area_pct"]["value"] >= 0
    assert said["leaf"]["squareness_deg"]["u"] > 0
    assert "yellowness" in said["tone"] and "decay_mm" in said["tone"]["profile"]
    pixels, _ = render_leaf(5, 100, strip=False, losses=(), printed=False)
    plain = tmp_path / "plain.tif"
    tifffile.imwrite(plain, pixels, photometric="rgb")
    bare = json.loads(CliRunner().invoke(measure, [str(plain), "--json"]).output)
    assert bare["leaf"]["tears"] == []


def test_words_for_people_list_each_tear(torn):
    done = CliRunner().invoke(measure, [str(torn), "--dpi", "150"])
    assert "Tears" in done.output and "head edge" in done.output
    assert "Stained share of the paper" in done.output
