"""``quirewell measure``: JSON alone on standard output, faults as sentences with exit code 2."""

import json

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from quirewell.cli.main import main
from quirewell.cli.output import rounded
from quirewell.demo.scenes import render_leaf
from quirewell.demo.tears import Tear
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, Correction, Item
from quirewell.studio.studio import Studio


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    pixels, truth = render_leaf(31, 100)
    path = tmp_path_factory.mktemp("scan") / "leaf.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2)
    return path, truth


def run(*arguments):
    return CliRunner().invoke(main, ["measure", *map(str, arguments)])


def test_json_is_nested_and_alone_on_standard_output(scan):
    path, truth = scan
    done = run(path, "--strip-length-mm", "160", "--strip-length-u-mm", "0.02", "--json")
    assert done.exit_code == 0 and done.stderr == ""
    data = json.loads(done.stdout)
    width = data["leaf"]["width_mm"]
    assert width["unit"] == "mm"
    assert abs(width["value"] - truth.width_mm) <= 3 * width["u"]
    for group, names in (
        ("leaf", ("width_mm", "height_mm", "loss_mm2", "squareness_deg")),
        ("tone", ("L", "a", "b", "yellowness")),
        ("scale", ("um_per_px",)),
    ):
        for name in names:
            one = data[group][name]
            assert {"value", "u", "low90", "high90", "unit"} <= set(one), name
            assert one["low90"] <= one["value"] <= one["high90"] and one["unit"], name
    assert data["leaf"]["loss_mm2"]["low90"] >= 0
    assert data["leaf"]["loss_mm2"]["smallest_seen"] == 1.0
    assert {"L", "a", "b", "yellowness"} <= set(data["tone"])
    assert data["scale"]["source"] == "strip"
    assert data["scale"]["um_per_px"]["unit"] == "um"
    assert all(isinstance(says, str) for says in data["warnings"])


def test_the_card_for_people_names_the_cheap_cure(scan):
    done = run(scan[0])
    assert done.exit_code == 0
    assert "Width of the paper" in done.stdout and "±" in done.stdout
    assert "What would narrow the size most" in done.stdout
    assert "steel rule" in done.stdout


def test_a_bad_file_is_a_sentence_and_exit_code_2(tmp_path):
    bad = tmp_path / "bad.tif"
    bad.write_bytes(b"nothing")
    done = run(bad)
    assert done.exit_code == 2 and done.stdout == ""
    assert "not a picture" in done.stderr and "Traceback" not in done.stderr
    done = run(bad, "--json")
    assert done.exit_code == 2
    assert "not a picture" in json.loads(done.stdout)["error"]
    assert run(tmp_path / "nowhere.tif").exit_code == 2


def test_a_bad_number_is_a_sentence_and_exit_code_2(scan):
    done = run(scan[0], "--dpi", "ten")
    assert done.exit_code == 2 and "must be a number" in done.stderr


def test_an_unmarked_picture_without_ground_still_gives_its_tone(tmp_path):
    path = tmp_path / "page.png"
    pixels, _ = render_leaf(3, 100, strip=False, losses=())
    from PIL import Image

    Image.fromarray(np.ascontiguousarray(pixels[80:900, 110:700])).save(path)
    done = run(path, "--json")
    data = json.loads(done.stdout)
    assert done.exit_code == 0
    assert data["scale"]["source"] == "none" and "L" in data["tone"]
    assert data["leaf"]["width_mm"] is None
    assert any("No ground" in says for says in data["warnings"])


@pytest.mark.parametrize(
    ("value", "u", "said"),
    [(168.42371, 0.0312, "168.424"), (12345.6, 270.0, "12350"), (0.0, 1.0, "0.0"), (3.0, 0.0, "3")],
)
def test_values_are_shown_to_the_digits_their_uncertainty_allows(value, u, said):
    assert rounded(value, u) == said


def test_the_promised_keys_are_there_even_when_nothing_could_be_measured(tmp_path):
    pixels = np.full((90, 120, 3), 10, dtype=np.uint8)
    tifffile.imwrite(tmp_path / "dark.tif", pixels, photometric="rgb")
    said = json.loads(run(tmp_path / "dark.tif", "--json").stdout)
    assert said["leaf"] == {
        "width_mm": None,
        "height_mm": None,
        "loss_mm2": None,
        "squareness_deg": None,
        "tears": [],
        "tears_set_aside": None,
    }
    assert said["scale"]["um_per_px"] is None
    assert said["warnings"]


@pytest.fixture(scope="module")
def torn(tmp_path_factory):
    tears = (Tear("head", 60.0, 9.0, 0.6, 0.2), Tear("left", 90.0, 6.0, 0.6, 0.2))
    pixels, _ = render_leaf(5, 150, strip=False, losses=(), tears=tears, printed=False)
    path = tmp_path_factory.mktemp("torn") / "w01-outer-left-before.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(150, 150), resolutionunit=2)
    return path


def told(*arguments):
    done = run(*arguments, "--json")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)["leaf"]


def test_a_tear_said_to_be_none_is_left_out_and_counted(torn):
    leaf = told(torn)
    assert [tear["said"] for tear in leaf["tears"]] == ["proposed", "proposed"]
    assert leaf["tears_set_aside"] == 0
    x, y = leaf["tears"][0]["from_px"]
    after = told(torn, "--no-tear", f"{x:.0f},{y:.0f}")
    assert after["tears"] == leaf["tears"][1:] and after["tears_set_aside"] == 1
    assert "1 set aside as no tear" in after["tears_seen"]
    assert "1 set aside as no tear" in run(torn, "--no-tear", f"{x},{y}").stdout


def test_what_a_studio_knows_of_a_picture_holds_here_too(torn, tmp_path):
    studio = Studio.create(tmp_path / "bench")
    with torn.open("rb") as file:
        sha = studio.blobs.put(file)
    tear = told(torn)["tears"][1]["from_px"]
    capture = Capture("p1", sha, torn.name, "image/tiff", 1200, 1700, 1, place="w01.outer.left")
    held = Correction("p1", no_tears=(f"{tear[0]},{tear[1]}",))
    drafts = [Draft("annual", "item.opened", to_body(Item("Garden Annual"))),
              Draft("annual", "capture.added", to_body(capture)),
              Draft("annual", "measuring.corrected", to_body(held))]  # fmt: skip
    studio.append("annual", 0, drafts)
    studio.close()
    leaf = told(torn, "--studio", tmp_path / "bench", "--item", "garden annual")
    assert [tear["edge"] for tear in leaf["tears"]] == ["head"] and leaf["tears_set_aside"] == 1


@pytest.mark.parametrize(
    ("extra", "says"),
    [(["--no-tear", "here"], "point"), (["--no-tear", "1,2 3,4"], "begins at"),
     (["--item", "annual"], "--studio"), (["--studio", "nowhere"], "no studio")],
)  # fmt: skip
def test_what_is_wrongly_said_of_tears_is_a_sentence(scan, extra, says):
    done = run(scan[0], *extra)
    assert done.exit_code == 2 and says in done.stderr and done.stdout == ""


def test_a_picture_the_studio_does_not_hold_is_a_sentence(scan, tmp_path):
    Studio.create(tmp_path / "bench").close()
    done = run(scan[0], "--studio", tmp_path / "bench")
    assert done.exit_code == 2 and "not among the pictures" in done.stderr
