"""The picture of a trial: every pair is in it, shapes tell the ways apart, text is large enough."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from quirewell.record.benchwork import Pilot
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.report.trial_drawing import FONT, SHOWN_PX, WIDTH, drawable, trial_svg
from quirewell.stages.trial_measured import keep_verdict, verdict_views
from quirewell.studio.studio import Studio
from trial_story import COLD, ITEM, WARM, played

SVG = "{http://www.w3.org/2000/svg}"


def drawn(studio: Studio) -> ElementTree.Element:
    (view,) = verdict_views(studio.state(ITEM))
    return ElementTree.fromstring(trial_svg(view))


def test_six_pairs_that_agree_are_one_line_said_to_be_six_within_the_margin(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        trial = played(studio, {COLD: 3, WARM: 3})
        (view,) = verdict_views(studio.state(ITEM))
        assert not drawable(view)
        studio.append(ITEM, None, keep_verdict(studio.state(ITEM), {"id": trial.id}))
        picture = drawn(studio)
        words = [one.text for one in picture.iter(f"{SVG}text")]
        assert "×6" in words and "band: margin" in words
        assert "pair 6" in picture.attrib["aria-label"]
        assert SHOWN_PX / WIDTH * FONT >= 12 and "style" not in picture.attrib


def test_a_pair_left_out_is_hollow_and_dashed(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        trial = played(studio, {COLD: 3, WARM: 4})
        first = trial.pairs[0].split()[0]
        pilot = Draft(ITEM, "pilot.kept", to_body(Pilot("pilot-1", first)))
        studio.append(ITEM, None, (pilot,))
        studio.append(ITEM, None, keep_verdict(studio.state(ITEM), {"id": trial.id}))
        picture = drawn(studio)
        dashed = [one for one in picture.iter(f"{SVG}line") if one.get("stroke-dasharray") == "5 4"]
        hollow = [one for one in picture.iter(f"{SVG}circle") if one.get("fill") == "#f4ebd6"]
        assert len(dashed) == len(hollow) == 1
