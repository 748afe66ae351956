"""The bench's own paper-tone card and fitted target: entered once, used from then on."""

from __future__ import annotations

import json

from quirewell.record.nouns import Capture
from quirewell.stages import bench as stage
from quirewell.stages import survey
from quirewell.studio.studio import STUDIO
from studio_help import ITEM, studio_with_item

CARD = "1 88.0 1.0 9.0\n2 82.0 2.5 14.0\n3 76.0 4.0 19.0"
USE = "linear | 0.4361 0.3851 0.1431 0.2225 0.7169 0.0606 0.0139 0.0971 0.7141 | 1.2 0.8 1.1"


def scan_of(scanner: str | None) -> Capture:
    return Capture(
        "p1", "0" * 64, "w01.tif", "image/tiff", 100, 100, 9, place="w01.outer",
        moment="before", scanner=scanner,
    )  # fmt: skip


def test_a_card_entered_on_the_page_gives_every_scan_its_step_from_then_on(bench):
    sent = bench.client.post("/bench/card", data={"card": CARD, "by": "scan"})
    assert sent.status_code == 200
    shown = bench.client.get("/bench").text
    assert "82.00 2.50 14.00" in shown and "read from a scan" in shown


def test_a_card_that_is_no_ladder_is_refused_and_stays_in_its_box(bench):
    page = bench.client.post("/bench/card", data={"card": "1 88 1", "by": "instrument"})
    assert page.status_code == 422 and "a name and L* a* b*" in page.text
    assert "1 88 1</textarea>" in page.text


def test_a_target_is_taken_as_its_line_or_as_what_the_fit_said(bench):
    for text in (USE, json.dumps({"target": {"use": USE}})):
        sent = bench.client.post("/bench/target", data={"target": text})
        assert sent.status_code == 200
    refused = bench.client.post("/bench/target", data={"target": "{}"})
    assert refused.status_code == 422 and "no fitted target" in refused.text


def test_both_reach_the_measuring_of_the_scanner_they_hold_for(tmp_path):
    with studio_with_item(tmp_path / "s") as studio:
        for drafts in (
            stage.set_card(studio.bench(), {"card": CARD, "by": "scan"}),
            stage.set_target(studio.bench(), {"target": USE, "scanner": "Larkmoor glass 1"}),
        ):
            studio.append(STUDIO, None, drafts)
        state, bench = studio.state(ITEM), studio.bench()
        mine = survey.measure_params(state, scan_of("Larkmoor glass 1"), bench)
        other = survey.measure_params(state, scan_of(None), bench)
        assert mine["target"] == USE and "target" not in other
        assert mine["card_by"] == other["card_by"] == "scan" and mine["card"].count(";") == 2
        pair = {"before": scan_of("Larkmoor glass 1"), "after": scan_of("Larkmoor glass 1")}
        assert survey.compare_params(state, pair, bench)["target"] == USE
        pair["after"] = scan_of(None)
        assert "target" not in survey.compare_params(state, pair, bench)
        studio.rebuild()
        assert studio.bench() == bench
