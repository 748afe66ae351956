"""The bath's ledger and the outlook in the report: every number with the finding it came from."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from quirewell.record.nouns import Bath, Item, ItemState
from quirewell.report.content import results_part, treatment_part
from quirewell.report.model import known_refs, settle
from quirewell.stages.methods import run_method


def _state() -> ItemState:
    mixed = run_method(
        "bath.lime_water",
        "bath-1",
        {},
        params={"strength": "0.5", "temperature_c": "20", "litres": "4"},
    )
    lines = ";".join(["wrap 5 g 15 min"] * 3)
    kept = run_method(
        "bath.ledger", "bath-1", {}, params={"entries": lines, "readings": "after 1: pickup 1.9"}
    )
    years = run_method("outlook.ratio", "item", {}, params={"ph_before": "5.0", "ph_after": "8.0"})
    bath = Bath("bath-1", Decimal("0.5"), Decimal("20"), Decimal("4"), mixed.id)
    runs = {run.id: run for run in (mixed, kept, years)}
    return ItemState(
        "annual", 4, Item("Copperbeck Garden Annual"), runs=runs, baths={"bath-1": bath}
    )


def test_each_wrap_stands_with_its_bands_and_its_findings() -> None:
    state = _state()
    part = treatment_part(state)
    (bath,) = part["baths"]
    assert [row[0] for row in bath["wraps"]] == ["wrap 1", "wrap 2", "wrap 3"]
    assert all(" to " in cell.text and cell.refs for row in bath["wraps"] for cell in row[1:])
    assert "Fresh bath every" in bath["change"].text
    assert [row[0].rsplit(", ", 1)[1] for row in bath["bench"]] == ["g/g", "mol/kg", "mol/m2/h"]
    settle({"bath": bath}, known_refs(state))


def test_the_outlook_gives_its_sentence_and_band_or_words() -> None:
    state = _state()
    part = results_part(state)["outlook"]
    assert "times as long" in part["says"].text and " to " in part["ratio"].text
    settle({"outlook": part}, known_refs(state))
    words = run_method(
        "outlook.ratio", "item", {},
        params={"ph_before": "surface strip 5", "ph_after": "surface strip 8"},
    )  # fmt: skip
    told = results_part(replace(state, runs={words.id: words}, baths={}))["outlook"]
    assert "strips cannot say" in told["says"].text and told["ratio"] == ""


def test_what_was_weighed_and_worked_out_stands_with_its_findings() -> None:
    runs = [
        run_method("bath.dose", "plan", {}, params={"litres": "5"}),
        run_method("adhesive.batch", "item", {}, params={"by": "w/w", "mends": "12"}),
        run_method("outlook.treatment", "item", {}, params={"stays": "68 C, 50 %, 15 min"}),
    ]
    state = replace(_state(), runs={run.id: run for run in runs}, baths={})
    before, after = treatment_part(state)["workings"], results_part(state)["workings"]
    assert [one["title"] for one in before] == ["Which bath", "Paste for the mends"]
    baths, paste = before
    assert "lime water, 1:3" in [row[0] for row in baths["rows"]]
    assert all(len(row) == len(baths["head"]) for row in baths["rows"])
    mind = [one for one in baths["notes"] if "takes sizing out" in one.text]
    assert len(mind) == 1 and mind[0].text.startswith("magnesium") and mind[0].refs
    assert any("mL" in row[1].text for row in paste["rows"])
    (heat,) = after
    assert "aged it by about" in heat["says"].text and heat["rows"][0][1].refs
    assert " with 90 %)" in heat["rows"][0][1].text
    for part in (before, after):
        settle({"workings": part}, known_refs(state))


def test_without_either_nothing_is_said() -> None:
    empty = ItemState("annual", 1, Item("Copperbeck Garden Annual"))
    assert results_part(empty)["outlook"]["says"] == ""
