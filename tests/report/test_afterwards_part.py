"""Afterwards and a trial's verdict in the report: traced, recomputed, without money or names."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

from quirewell.record.benchwork import Pilot
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Reading
from quirewell.report.afterwards import afterwards_part
from quirewell.report.recheck import recheck
from quirewell.report.treatment import write_report
from quirewell.report.trial_told import trials_told
from quirewell.stages import afterwards_keep, sending
from quirewell.stages.results import Shown
from quirewell.stages.trial_measured import keep_verdict
from quirewell.studio.studio import Studio
from trial_story import COLD, ITEM, WARM, played

TODAY = f"{datetime.now(UTC).date().isoformat()}T10:00:00Z"
STRIP = "strip on the paper"


def story(studio: Studio) -> None:
    """A trial with a verdict, then two checks a year apart, a claim and a sale."""
    trial = played(studio, {COLD: 3, WARM: 3})
    studio.append(ITEM, None, keep_verdict(studio.state(ITEM), {"id": trial.id}))
    end = Reading("end", "w05", "pH", Decimal("8.5"), "pH", STRIP, resolution=Decimal("0.5"),
                  moment="after")  # fmt: skip
    studio.append(ITEM, None, (Draft(ITEM, "reading.taken", to_body(end)),))
    for year, value in (("2027", "8.0"), ("2028", "8.0")):
        form = {"value": f"pH {value}", "place": "w05", "method": STRIP, "on": f"{year}-03-20",
                "at": "2029-01-01T10:00:00Z"}  # fmt: skip
        studio.append(ITEM, None, afterwards_keep.keep_check(studio.state(ITEM), form))
    claim = {"against": "carrier", "what": "crushed by Fenwick Haulage", "amount": "77.31",
             "currency": "crowns", "name": "Fenwick Haulage", "at": TODAY}  # fmt: skip
    studio.append(ITEM, None, afterwards_keep.keep_claim(studio.state(ITEM), claim))
    sale = {"price": "410.07", "currency": "crowns", "to": "Orla Tansley", "on": "2028-05-01"}
    studio.append(ITEM, None, sending.sold(studio.state(ITEM), sale))


def test_checks_and_the_verdict_stand_in_the_report_and_are_recomputed(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        story(studio)
        state = studio.state(ITEM)
        (told,) = trials_told(state)
        facts = dict(told["facts"])
        assert facts["Verdict"].text.startswith("Alike within 1 step")
        assert told["file"] and all(isinstance(row[2], Shown) for row in told["rows"])
        sides = [side for row in told["rows"] for side in row[:2]]
        assert {side.quantity for side in sides} == {"trial.read"}
        assert {ref for side in sides for ref in side.refs} == {
            one.id for one in state.readings.values() if one.quantity == "tone_step"
        }
        assert "then" in sides[0].text
        assert [row[0] for row in told["figures"]] == ["first less second", "margin"]
        part = afterwards_part(state)
        assert [row[0] for row in part["rows"]] == ["20 March 2027", "20 March 2028"]
        assert part["rows"][0][4].text.startswith("no change seen; 2.1 pH or more")
        assert part["years"][0][1].quantity == "later.per_year"
        assert [(one.text, one.refs) for one in part["lines"]] == [
            ("It was sold on 1 May 2028.", ("sold",)),
            ("A claim against the carrier was made; it is open.", tuple(state.claims)),
        ]  # fmt: skip
        written = write_report(studio, ITEM, tmp_path / "report.pdf")
        text = written.json.read_text()
        numbers = {one["quantity"] for one in json.loads(text)["numbers"]}
        assert {"trial.verdict", "trial.pair_difference", "later.says", "later.per_year"} <= numbers
        for private in ("77.31", "410.07", "Fenwick", "Tansley"):
            assert private not in text and private not in str(part)
        checked = recheck(written.json, studio)
        assert checked.agrees, checked.differences


def test_a_verdict_out_of_date_says_so_and_a_changed_reading_waits(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        story(studio)
        first = next(iter(studio.state(ITEM).trials.values())).pairs[0].split()[0]
        right = Reading("end", "w05", "pH", Decimal("8.0"), "pH", STRIP,
                        resolution=Decimal("0.5"), moment="after")  # fmt: skip
        studio.append(ITEM, None, (
            Draft(ITEM, "pilot.kept", to_body(Pilot("pilot-1", first))),
            Draft(ITEM, "reading.corrected", to_body(right)),
        ))  # fmt: skip
        state = studio.state(ITEM)
        assert any("out of date" in str(note) for note in trials_told(state)[0]["notes"])
        assert "not compared anew" in afterwards_part(state)["rows"][0][4]
        assert write_report(studio, ITEM, tmp_path / "report.pdf").pdf.exists()


def test_rebuilt_tables_equal_live_ones_with_the_new_records(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        story(studio)
        live = studio.state(ITEM)
        studio.rebuild()
        again = studio.state(ITEM)
        assert again == live and len(again.laters) == 2 and len(again.claims) == 1
