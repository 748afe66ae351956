"""The bath card: one page, hazards before the work, numbers that are those of the run."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import pikepdf
import pytest

from quirewell.record.finding import Finding, Run
from quirewell.report.bath_card import bath_sheet
from quirewell.stages.bath_card import bath_card
from quirewell.stages.methods import run_method

AT = datetime(1936, 5, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def mixed() -> Run:
    params = {"strength": "0.5", "temperature_c": "20", "litres": "4"}
    return run_method("bath.lime_water", "item", {}, params=params)


def test_it_prints_on_one_page(mixed: Run) -> None:
    long = "Copperbeck Garden Annual and Larkmoor Seed List, with All Supplements, Bound in One"
    says = Finding("", "bath.replace", "item", text="Fresh bath every 9 wraps: so it goes. " * 6)
    ledger = Run("r", "bath.ledger", 1, "exact", "item", (), findings=(says,))
    for title, kept in (("Copperbeck Garden Annual", None), (2 * long, ledger)):
        pdf = bath_sheet(bath_card(mixed, kept, title), AT, "1 May 1936")
        with pikepdf.open(io.BytesIO(pdf)) as document:
            assert len(document.pages) == 1


def test_its_numbers_are_those_of_the_run(mixed: Run) -> None:
    card = bath_card(mixed)
    held = next(one for one in mixed.findings if one.quantity == "bath.pH")
    said = dict(card["recipe"])
    assert held.value is not None
    assert f"{held.value:.2f}" in said["pH when fresh"]
    assert "4 L at 20" in said["Volume"]
    assert "± " in said["Calcium hydroxide held"]
    assert "with 90 %" in said["Left in a leaf by one bath"]


def test_hazards_to_eyes_and_the_ban_on_quicklime_stand_on_it(mixed: Run) -> None:
    card = bath_card(mixed)
    hazards = " ".join(card["hazards"])
    for words in ("eyes", "quicklime", "15 mg/m3", "licensed practice"):
        assert words in hazards + card["local_codes"]
    assert "Test every colour" in card["order"][0]


def test_without_a_ledger_it_says_how_to_tell_and_with_one_it_says_how_many(mixed: Run) -> None:
    assert "half the acid" in bath_card(mixed)["limits"][0]
    says = Finding("", "bath.replace", "item", text="Fresh bath every 9 wraps.")
    ledger = Run("r", "bath.ledger", 1, "exact", "item", (), findings=(says,))
    assert bath_card(mixed, ledger)["limits"][0] == "Fresh bath every 9 wraps."


def test_what_the_air_takes_is_that_of_this_very_bath() -> None:
    for litres, lost in (("4", "10 %"), ("40", "1 %")):
        made = run_method(
            "bath.lime_water", "bath-1", {},
            params={"strength": "0.5", "temperature_c": "20", "litres": litres},
        )  # fmt: skip
        (says,) = (line for line in bath_card(made)["limits"] if "open tray" in line)
        assert f"about {lost} of its alkali" in says
