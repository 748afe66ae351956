"""The report's evidence: every number asked back to its run, and recomputed by recheck."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

from quirewell.record.nouns import ItemState
from quirewell.report.evidence import evidence_part
from quirewell.report.model import known_refs, settle
from quirewell.report.recheck import recheck
from quirewell.report.treatment import write_report
from quirewell.stages.evidence import work_out
from quirewell.stages.margins import lock_presets
from quirewell.stages.overview import open_item
from quirewell.stages.reading_entry import record_reading
from quirewell.studio.studio import Studio
from report_case import clock, text_of

ITEM = "copperbeck-garden-annual"


def rule_studio(folder: Path) -> Studio:
    """Six leaves read with a rule at both moments, margins locked first, evidence worked out."""
    studio = Studio.create(folder, "Larkmoor paper bench", clock=clock())
    form = {"title": "Copperbeck Garden Annual", "wraps": "6"}
    studio.append(ITEM, 0, open_item(ITEM, form))
    locked = lock_presets(studio.state(ITEM), {"at": "2026-03-04T18:40:00Z"})
    studio.append(ITEM, None, locked)
    for moment, shift in (("before", Decimal(0)), ("after", Decimal("0.5"))):
        for at in range(1, 7):
            value = Decimal("184.5") + (shift if at % 3 == 0 else 0)
            reading = {"place": f"w{at:02d}.outer.right", "quantity": "width", "moment": moment,
                       "value": f"{value} mm", "resolution": "0.5"}  # fmt: skip
            studio.append(ITEM, None, record_reading(studio.state(ITEM), reading))
    studio.append(ITEM, None, work_out(studio.state(ITEM), {}))
    return studio


def test_every_number_names_its_finding_and_staleness_is_said(tmp_path: Path) -> None:
    with rule_studio(tmp_path / "studio") as studio:
        state = studio.state(ITEM)
        part = evidence_part(state)
        said = settle({"evidence": part}, known_refs(state))
        (row,) = part["rows"]
        assert row[0] == "Width of the leaves" and row[2].text == "0.5 mm, locked 4 March 2026"
        assert row[1].text.startswith("+0.17 (") and row[1].text.endswith(" mm")
        assert len(said.numbers) >= 4 and part["stale"] == ""
        more = {"place": "w01.outer.right", "quantity": "width", "moment": "after",
                "value": "185 mm", "resolution": "0.5"}  # fmt: skip
        studio.append(ITEM, None, record_reading(state, more))
        assert "measured or read since" in evidence_part(studio.state(ITEM))["stale"]


def test_the_report_prints_it_and_recheck_computes_it_again(tmp_path: Path) -> None:
    with rule_studio(tmp_path / "studio") as studio:
        target = tmp_path / "report.pdf"
        write_report(studio, ITEM, target, "Larkmoor")
        text = text_of(target)
        assert "Whether it changed, over all leaves" in text
        assert "0.5 mm, locked 4 March 2026" in text
        checked = recheck(target, studio)
        assert checked.agrees and checked.runs >= 1


def test_an_item_without_evidence_says_nothing_of_it(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "s", "Larkmoor", clock=clock()) as studio:
        studio.append(ITEM, 0, open_item(ITEM, {"title": "Copperbeck Garden Annual"}))
        state: ItemState = studio.state(ITEM)
        assert evidence_part(state) == {"rows": [], "notes": [], "stale": ""}
