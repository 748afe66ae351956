"""The bath as a registered method: findings, traces, cautions, and the same answer again."""

import pytest

from quirewell.record.codec import from_body, to_body
from quirewell.record.finding import Run
from quirewell.science.bath import engine
from quirewell.science.bath.recipe import RecipeError
from quirewell.stages.bathing import METHOD, as_json
from quirewell.stages.methods import run_method

PARAMS = {"strength": "0.5", "temperature_c": "20", "litres": "4"}


def run(**params: str) -> Run:
    return run_method(METHOD, "item", {}, params={**PARAMS, **params})


def test_same_parameters_give_the_same_run():
    assert run() == run()
    assert run().id != run(litres="3").id


def test_run_survives_the_journal():
    assert from_body(Run, to_body(run())) == run()


def test_every_number_has_unit_uncertainty_sources_and_the_database():
    for finding in run().findings:
        assert finding.sources
        if finding.value is not None:
            assert finding.unit and finding.u and finding.terms
            assert finding.low90 < finding.value < finding.high90
    ph = next(finding for finding in run().findings if finding.quantity == "bath.pH")
    assert engine.database_sha256() in ph.note


def test_standing_says_where_the_pick_up_comes_from():
    def standing(**params: str) -> str:
        found = {finding.quantity: finding for finding in run(**params).findings}
        return found["bath.reserve_pct_caco3"].standing

    assert standing() == "published"
    assert standing(leaf="drained") == "from memory"
    assert standing(pickup_g_per_g="1.8") == "measured here"


def test_card_says_that_two_per_cent_cannot_be_reached():
    says = " ".join(as_json(run())["warnings"])
    assert "2 % asked of permanent paper cannot be reached" in says
    assert "Cover the tray" in says


def test_card_names_the_cheap_tool_until_a_leaf_was_weighed():
    assert any("pocket scale" in says for says in run().warnings)
    assert not any("pocket scale" in says for says in run(pickup_g_per_g="1.8").warnings)


def test_cautions_to_the_object_come_first():
    order = [row["to"] for row in as_json(run())["cautions"]]
    assert order == sorted(order, key=lambda to: to != "object")
    assert {"object", "person"} == set(order)


def test_thin_bath_is_called_a_wash():
    effect = {finding.quantity: finding.text for finding in run(strength="0.03").findings}
    assert "washes" in effect["bath.effect"]


def test_unknown_parameter_and_bad_value_are_refused():
    with pytest.raises(ValueError, match="knows no parameter 'salt'"):
        run(salt="1")
    with pytest.raises(RecipeError, match="Fahrenheit"):
        run(temperature_c="68")


def test_card_says_how_the_bath_is_made():
    """1:1, 4 L, 3.2 g dissolved: 2 L clear out of 2.4 L made with 6.4 / 4 * 2.4 * 4/3 = 5.1 g."""
    how = as_json(run())["how"]
    assert "about 6 g of calcium hydroxide" in how
    assert "into 2.4 L" in how
    assert "draw off 2.00 L" in how and "with 2.00 L of water" in how
    assert "with" not in as_json(run(strength="1"))["how"].split("draw off")[1]
