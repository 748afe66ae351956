"""``quirewell outlook`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from quirewell.cli.outlook import outlook


def _call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(outlook, [str(part) for part in arguments])


def test_the_plain_form_gives_a_ratio_with_its_band() -> None:
    out = json.loads(_call("--ph-before", "4.8", "--ph-after", "8.0", "--json").stdout)
    band = out["ratio"]
    assert band["low90"] < band["median"] < band["high90"]
    assert set(band) >= {"median", "value", "u", "low90", "high90", "unit"}
    assert "times as long" in out["says"] and "year" not in out["says"]
    assert out["standing"] == "from memory"
    named = json.loads(_call("ratio", "--ph-before", "4.8", "--ph-after", "8.0", "--json").stdout)
    assert named["ratio"] == band


def test_a_seed_is_kept() -> None:
    one, other = (
        json.loads(_call("--ph-before", "5", "--ph-after", "7", "--seed", s, "--json").stdout)
        for s in ("1", "2")
    )
    assert one["ratio"]["median"] != other["ratio"]["median"]


def test_two_strips_give_words_and_a_null_ratio() -> None:
    out = json.loads(
        _call(
            "--ph-before", "surface strip 5", "--ph-after", "surface strip above 7", "--json"
        ).stdout
    )
    assert out["ratio"] is None
    assert "off their scale" in out["says"]
    same = json.loads(
        _call("--ph-before", "surface strip 5", "--ph-after", "surface strip 5.5", "--json").stdout
    )
    assert "no sure change" in same["says"] and "would have shown" in same["says"]


def test_stores_beside_two_strips_keep_their_own_ratio() -> None:
    strips = ("--ph-before", "surface strip 4.5", "--ph-after", "surface strip 8")
    stores = ("--store-before", "21 C, 55 %", "--store-after", "16 C, 45 %")
    both = json.loads(_call(*strips, *stores, "--json").stdout)
    alone = json.loads(_call(*stores, "--json").stdout)
    assert both["ratio"] is None and "strips cannot say" in both["says"]
    assert "The other store alone" in both["says"]
    for end in ("value", "low90", "high90"):
        assert both["by_store"][end] == alone["ratio"][end]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--years",), "refused"),
        ((), "nothing to compare"),
        (("--ph-before", "5"), "both pH"),
        (("--ph-before", "15", "--ph-after", "7"), "between 0 and 14"),
        (("--ph-before", "bath 12", "--ph-after", "7"), "says nothing of the paper"),
        (("--store-before", "20 C, 0.5", "--store-after", "18 C, 50"), "meant as 50 %"),
        (("--store-before", "warm"), "20 C, 50 %"),
    ],
)
def test_faults_are_sentences(arguments: tuple[str, ...], says: str) -> None:
    result = _call(*arguments, "--json")
    assert result.exit_code == 2
    assert says in json.loads(result.stdout)["error"]


def test_a_store_in_fahrenheit_says_so() -> None:
    out = json.loads(
        _call("--store-before", "70 F, 55 %", "--store-after", "60F, 45", "--json").stdout
    )
    assert out["ratio"]["median"] > 1.5


def test_a_loggers_file_gives_mean_of_rates_and_what_swings_cost(tmp_path: Path) -> None:
    hours = np.arange(0, 8760, 3)
    lines = ["Time,Temp (C),RH (%)"]
    day0 = np.datetime64("2025-01-01T00:00")
    for h in hours:
        wave = np.sin(2 * np.pi * h / 8760)
        at = str(day0 + np.timedelta64(int(h), "h")).replace("T", " ")
        lines.append(f"{at},{21 + 8 * wave:.2f},{50 + 15 * wave:.1f}")
    log = tmp_path / "attic.csv"
    log.write_text("\n".join(lines))
    out = json.loads(_call("climate", log, "--json").stdout)
    rate, mean = out["rate_relative"]["value"], out["rate_at_mean"]["value"]
    assert rate > mean
    assert out["penalty_of_swings"]["value"] == pytest.approx(rate / mean, rel=0.1)
    assert len(out["months"]) == 12
    said = _call("climate", log).stdout
    assert "what the swings cost" in said and "2 °C cooler" in said


def test_a_file_that_is_none_is_told(tmp_path: Path) -> None:
    result = _call("climate", tmp_path / "none.csv", "--json")
    assert result.exit_code == 2 and "No such file" in json.loads(result.stdout)["error"]
