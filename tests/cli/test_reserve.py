"""``quirewell reserve`` through its public face."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.reserve import reserve


def _call(*arguments: str) -> Result:
    return CliRunner().invoke(reserve, list(arguments))


def test_a_titration_of_a_scrap_gives_reserve_and_chalk() -> None:
    out = json.loads(_call("--titre", "20,0.1,12,0.1,1,0", "--sample", "scrap", "--json").stdout)
    assert out["reserve"]["value"] == pytest.approx(0.8)
    assert out["reserve_pct_caco3"]["value"] == pytest.approx(4.003, abs=0.001)
    assert set(out["reserve"]) >= {"value", "u", "low90", "high90", "unit"}
    assert out["pH"] is None


def test_strips_alone_give_a_band_and_name_the_cheap_tool() -> None:
    out = json.loads(_call("--ph", "surface strip 6.5 @ 70F", "--json").stdout)
    assert out["reserve"] is None
    assert out["pH"]["high90"] - out["pH"]["low90"] > 1
    assert "narrow range" in " ".join(out["warnings"])
    assert out["standing"]["paper.pH"] == "from memory"


def test_the_object_is_never_sampled() -> None:
    result = _call("--titre", "20,0.1,12,0.1,1")
    assert result.exit_code == 2
    assert "never cut the object" in result.stderr
    assert _call("--titre", "20,0.1,12,0.1,1", "--sample", "object").exit_code == 2


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "nothing was read"),
        (("--ph", "7"), "surface strip 7.5"),
        (("--ph", "cold extract 15"), "between 0 and 14"),
        (("--titre", "20,0.1,12", "--sample", "scrap"), "20,0.1,12,0.1,1"),
        (("--titre", "20,0.1,12,0.1,-1", "--sample", "scrap"), "mass of the sample"),
    ],
)
def test_faults_are_sentences(arguments: tuple[str, ...], says: str) -> None:
    result = _call(*arguments, "--json")
    assert result.exit_code == 2
    assert says in json.loads(result.stdout)["error"]


def test_reserve_and_acid_strip_together_are_explained() -> None:
    said = _call(
        "--titre", "20,0.1,12,0.1,1", "--sample", "like paper", "--ph", "cold extract 5.0",
        "--ph", "bath 12.4 @ 20",
    ).stdout  # fmt: skip
    assert "coarse" in said and "kept apart" in said
