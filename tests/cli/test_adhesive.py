"""``quirewell adhesive`` through its public face."""

from __future__ import annotations

import json

from click.testing import CliRunner, Result

from quirewell.cli.adhesive import adhesive


def _call(*arguments: str) -> Result:
    return CliRunner().invoke(adhesive, list(arguments))


def test_per_cent_of_what_is_asked_and_never_guessed() -> None:
    result = _call("--mends", "10", "--json")
    assert result.exit_code == 2
    assert "w/w" in json.loads(result.stdout)["error"]


def test_a_batch_says_what_to_weigh_and_what_it_adds() -> None:
    out = json.loads(_call("--by", "w/w", "--mends", "40", "--grade", "4000", "--json").stdout)
    assert out["dry_g"]["value"] == 0.625
    assert out["viscosity_mpas"]["standing"] == "from memory"
    assert out["viscosity_mpas"]["low90"] * 9 < out["viscosity_mpas"]["high90"] * 1.01
    said = _call("--by", "w/w", "--mends", "40").stdout
    assert "weigh, dry" in said and "Keeps for weeks" in said
    assert "90 %" in said and "narrow it most" in said


def test_paste_has_its_own_strength_and_care() -> None:
    out = json.loads(_call("--kind", "wheat starch paste", "--by", "w/w", "--json").stdout)
    assert out["dry_g"]["value"] / out["made_ml"]["value"] == 0.125
    assert "Make it fresh" in " ".join(out["warnings"])


def test_faults_are_sentences() -> None:
    for arguments in (("--mends", "-1"), ("--strength-pct", "many"), ("--grade", "thick")):
        result = _call("--by", "w/w", *arguments)
        assert result.exit_code == 2 and result.stderr.startswith("quirewell: ")
