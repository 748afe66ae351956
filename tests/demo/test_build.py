"""The demo studio, built small: what was planted lies inside what was measured."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from quirewell.cli.demo import demo
from quirewell.demo.build import DemoResult, build_demo, is_built
from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

pytestmark = pytest.mark.slow
Built = tuple[DemoResult, ItemState, dict[str, object], list[str]]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    said: list[str] = []
    folder = tmp_path_factory.mktemp("demo") / "studio"
    kept = folder.parent / "scans"
    result = build_demo(folder, sheets=("w01", "w04"), keep_scans=kept, tell=said.append)
    with Studio.open(folder) as studio:
        state = studio.state(result.item)
    return result, state, json.loads(result.truth.read_text(encoding="utf-8")), said


def _findings(state: ItemState, method: str) -> dict[str, dict[str, Finding]]:
    """Findings by file name (measure) or place (compare), then by quantity."""
    found = {}
    for run in state.runs.values():
        if run.method == method:
            name = run.subject
            if method == "leaf.measure":
                name = state.captures[run.inputs[0].ref].filename
            found[name] = {finding.quantity: finding for finding in run.findings}
    return found


def _inside(finding: Finding, truth: float) -> bool:
    assert finding.value is not None
    assert finding.u
    return abs(finding.value - truth) <= 2.0 * finding.u


def test_nothing_failed_and_every_picture_has_its_place(built: Built) -> None:
    result, state, _, _ = built
    assert result.failures == ()
    assert result.pictures == 16
    assert all(capture.place for capture in state.captures.values())


def test_planted_changes_lie_inside_twice_the_stated_uncertainty(built: Built) -> None:
    _, state, truth, _ = built
    compared = _findings(state, "pair.compare")
    assert len(compared) == 8
    for place, planted in truth["changes"].items():  # type: ignore[attr-defined]
        for quantity in ("change.width_pct", "change.height_pct"):
            assert _inside(compared[place][quantity], planted[quantity.replace(".", "_")])


def test_planted_sizes_lie_inside_twice_the_stated_uncertainty(built: Built) -> None:
    _, state, truth, _ = built
    measured = _findings(state, "leaf.measure")
    assert len(measured) == 16
    for name, planted in truth["scans"].items():  # type: ignore[attr-defined]
        for quantity in ("width_mm", "height_mm", "loss_mm2"):
            assert _inside(measured[name][f"leaf.{quantity}"], planted[quantity])


def test_the_report_is_written_and_issued(built: Built) -> None:
    result, state, _, _ = built
    assert result.report.read_bytes().startswith(b"%PDF")
    assert len(state.reports) == 1


def test_margins_were_locked_before_anything_was_measured(built: Built) -> None:
    result, _, _, _ = built
    with Studio.open(result.folder) as studio:
        kinds = [event.kind for event in studio.events(result.item)]
    assert kinds.index("margin.locked") < kinds.index("run.recorded")


def test_progress_is_told_with_counts(built: Built) -> None:
    said = built[3]
    assert any("16/16" in line for line in said)
    assert said[-1] == "the demo is ready"


def test_the_scans_are_kept_where_asked_and_never_over_others(built: Built, tmp_path: Path) -> None:
    kept = built[0].folder.parent / "scans"
    assert {path.name for path in kept.iterdir()} == set(built[2]["scans"])  # type: ignore[call-overload]
    with pytest.raises(StudioError, match="is not empty"):
        build_demo(tmp_path / "other", keep_scans=kept)
    assert not (tmp_path / "other").exists()


def test_an_unknown_sheet_leaves_no_studio_behind(tmp_path: Path) -> None:
    said = CliRunner().invoke(demo, [str(tmp_path / "new"), "--sheets", "w12"])
    assert said.exit_code == 1
    assert "no sheet 'w12'" in said.stderr
    assert not (tmp_path / "new").exists()


def test_no_drawings_are_left_in_the_studio(built: Built) -> None:
    assert not list(built[0].folder.glob("drawing-*"))


def test_the_command_leaves_a_finished_demo_as_it_is(built: Built) -> None:
    said = CliRunner().invoke(demo, [str(built[0].folder), "--json"])
    assert said.exit_code == 0
    assert json.loads(said.stdout)["already"] is True


def test_a_studio_that_is_no_demo_is_not_touched(tmp_path: Path) -> None:
    Studio.create(tmp_path / "mine").close()
    with pytest.raises(StudioError, match="not a finished demo"):
        is_built(tmp_path / "mine")
    said = CliRunner().invoke(demo, [str(tmp_path / "mine")])
    assert said.exit_code == 1
    assert "choose another folder" in said.stderr
