"""``quirewell equivalence`` through its public face, on a published table."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.equivalence import equivalence

EXAMPLE = Path(__file__).resolve().parents[2] / "examples/evidence/pairs.csv"
# A clinic's table and R's results for it, as carried by the tests of statsmodels
# (``statsmodels_tost``; read there). Second column first: differences are after less before.
AFTER = [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84]
BEFORE = [2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02]


def call(*arguments: object) -> Result:
    return CliRunner().invoke(equivalence, [str(one) for one in arguments])


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    path = tmp_path / "clinic.csv"
    rows = [f"{n},{b:.2f},{a:.2f}" for n, (b, a) in enumerate(zip(BEFORE, AFTER, strict=True))]
    path.write_text("\n".join(["leaf,before,after", *rows]), encoding="utf-8")
    return path


def test_the_published_p_and_interval(clinic: Path) -> None:
    out = json.loads(call(clinic, "--margin", "0.6", "--json").stdout)
    assert out["p"] == pytest.approx(0.003166881489265175, rel=1e-9)
    assert out["ci90"] == pytest.approx([-0.0744336620516462, 0.4037669953849797], rel=1e-9)
    assert out["verdict"] == "unchanged" and out["pairs"] == 15
    assert out["margin_that_passes"] == pytest.approx(0.4037669953849797, rel=1e-9)


def test_the_published_p_of_ratios(clinic: Path) -> None:
    out = json.loads(call(clinic, "--margin", "1.25", "--log", "--json").stdout)
    assert out["p"] == pytest.approx(0.0001664157928976468, rel=1e-9)
    assert out["mean"]["unit"] == "1" and 0.9 < out["ci90"][0] < 1 < out["ci90"][1] < 1.25


def test_the_margin_that_passes_is_where_the_verdict_turns(clinic: Path) -> None:
    below = json.loads(call(clinic, "--margin", "0.4037", "--json").stdout)
    above = json.loads(call(clinic, "--margin", "0.4038", "--json").stdout)
    assert (below["verdict"], above["verdict"]) == ("cannot tell", "unchanged")
    assert below["pairs_needed"] > 15 or below["power"] > 0.8


def test_the_card_says_it_in_plain_words() -> None:
    said = call(EXAMPLE, "--margin", "0.25", "--unit", "mm").stdout
    for word in ("UNCHANGED", "90 % interval", "inside the margin", "averaged first", "It did move",
                 "fixed before anything was measured"):  # fmt: skip
        assert word in " ".join(said.split())
    assert max(map(len, said.splitlines())) < 110
    said = call(EXAMPLE, "--margin", "0.02").stdout
    assert "CHANGED" in said and "wholly beyond the margin" in " ".join(said.split())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--margin", "0"), "the margin is above 0"),
        (("--margin", "-1"), "the margin is above 0"),
        (("--margin", "wide"), "--margin: 'wide' is not a number"),
        (("--margin", "1", "--resolution", "0"), "a step above 0"),
        (("--margin", "0.9", "--log"), "above 1 for ratios"),
        (("--margin", "1", "--item", "Other"), "has no item 'Other'"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(arguments: tuple[str, ...], says: str) -> None:
    done = call(EXAMPLE, *arguments, "--json")
    assert done.exit_code == 2 and says in json.loads(done.stdout)["error"]


def test_a_picture_and_an_empty_file_are_no_tables(tmp_path: Path) -> None:
    for name, data, says in (("a.csv", b"", "empty"), ("b.csv", b"\xff\xd8\xff", "no text")):
        (tmp_path / name).write_bytes(data)
        done = call(tmp_path / name, "--margin", "1")
        assert done.exit_code == 2 and says in done.stderr and "Traceback" not in done.stderr
