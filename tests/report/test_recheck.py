"""Recheck finds what moved, and says why; where nothing moved it says so."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from quirewell.record.nouns import Retract
from quirewell.report.manifest import NoManifest
from quirewell.report.recheck import as_json, recheck
from quirewell.report.treatment import write_report
from quirewell.stages import methods
from quirewell.studio.studio import Studio
from report_case import add, report_studio


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("recheck")
    with report_studio(folder / "studio", pairs=1, real=True) as studio:
        write_report(studio, "annual", folder / "report.pdf")
    return folder


@pytest.fixture
def case(base: Path, tmp_path: Path) -> tuple[Studio, Path]:
    """A copy of the studio and its report, to spoil at will."""
    shutil.copytree(base, tmp_path / "copy")
    return Studio.open(tmp_path / "copy" / "studio"), tmp_path / "copy" / "report.pdf"


def whys(report: Path, studio: Studio) -> list[str]:
    return [d.why for d in recheck(report, studio).differences]


def test_an_untouched_report_agrees_in_every_number(case: tuple[Studio, Path]) -> None:
    studio, report = case
    checked = recheck(report, studio)
    assert checked.differences == ()
    assert (checked.runs, checked.numbers > 40, checked.readings > 10) == (2, True, True)
    assert as_json(checked)["agrees"] is True


def test_the_manifest_alone_can_be_given(case: tuple[Studio, Path]) -> None:
    studio, report = case
    report.unlink()
    assert recheck(report.with_suffix(".json"), studio).agrees


def test_the_pdf_alone_is_found_in_the_journal_by_its_hash(case: tuple[Studio, Path]) -> None:
    studio, report = case
    report.with_suffix(".json").unlink()
    checked = recheck(report, studio)
    assert checked.agrees and checked.runs == 2


def test_a_changed_pdf_is_told(case: tuple[Studio, Path]) -> None:
    studio, report = case
    report.write_bytes(report.read_bytes() + b"\n% more\n")
    assert whys(report, studio) == ["the PDF is not byte for byte the one that was written"]


def test_a_number_changed_in_the_manifest_is_told(case: tuple[Studio, Path]) -> None:
    studio, report = case
    path = report.with_suffix(".json")
    manifest = json.loads(path.read_text())
    entry = next(n for n in manifest["numbers"] if n["quantity"] == "change.width_pct")
    entry["value"] += 0.1
    path.write_text(json.dumps(manifest))
    (found,) = recheck(path, studio).differences
    assert found.why == "the report does not say what the journal says"
    assert found.finding == entry["refs"][0]


def test_a_corrected_reading_is_told_then_and_now(case: tuple[Studio, Path]) -> None:
    studio, report = case
    reading = studio.state("annual").readings["ph1"]
    add(studio, "annual", ("reading.corrected", replace(reading, value=Decimal("5.4"))))
    (found,) = recheck(report, studio).differences
    assert (found.then, found.now) == ("5.1", "5.4")
    assert "corrected in the journal since" in found.why


def test_a_record_set_aside_is_told(case: tuple[Studio, Path]) -> None:
    studio, report = case
    add(studio, "annual", ("record.retracted", Retract("ph2", "strip was old")))
    assert whys(report, studio) == ["the record was set aside since"]


def test_an_altered_original_is_told_and_the_rest_still_checked(
    case: tuple[Studio, Path],
) -> None:
    studio, report = case
    run = next(r for r in studio.state("annual").runs.values() if r.method == "pair.compare")
    path = studio.blobs.path(run.inputs[0].sha256)
    os.chmod(path, 0o644)  # noqa: PTH101
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    checked = recheck(report, studio)
    assert checked.runs == 1
    assert {d.subject for d in checked.differences if d.subject} == {run.subject}
    assert all("missing or altered" in d.why for d in checked.differences)


def test_a_missing_original_is_told(case: tuple[Studio, Path]) -> None:
    studio, report = case
    run = next(r for r in studio.state("annual").runs.values() if r.method == "pair.compare")
    studio.blobs.path(run.inputs[1].sha256).unlink()
    assert any("is missing from" in why for why in whys(report, studio))


def test_a_new_version_of_a_method_is_named_when_its_numbers_move(
    case: tuple[Studio, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    studio, report = case
    old = methods.find_method("bath.lime_water")

    def warmer(files: object, params: dict[str, str]) -> methods.Outcome:
        return old.function({}, {**params, "temperature_c": "25"})

    new = replace(old, version=2, function=warmer)
    monkeypatch.setitem(methods.METHODS, "bath.lime_water", new)
    found = [d for d in recheck(report, studio).differences if d.quantity == "bath.pH"]
    assert found and found[0].then != found[0].now
    assert found[0].why == "bath.lime_water was version 1 then and is version 2 now"


def test_a_method_no_longer_there_is_told(
    case: tuple[Studio, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    studio, report = case
    methods.find_method("bath.lime_water")
    monkeypatch.delitem(methods.METHODS, "bath.lime_water")
    assert "this program no longer has the method bath.lime_water" in whys(report, studio)


def test_a_journal_edited_behind_our_back_is_told(case: tuple[Studio, Path]) -> None:
    studio, report = case
    studio.close()
    with sqlite3.connect(studio.folder / "studio.db") as connection:
        for (name,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type='trigger' AND tbl_name='journal'"
        ).fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(
            "UPDATE journal SET body = replace(body, '5.1', '6.1') WHERE kind = 'reading.taken'"
        )
    connection.close()
    with Studio.open(studio.folder) as again:
        found = recheck(report, again).differences
    assert any("was altered, or one before it is gone" in d.why for d in found)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.json", b"{", "neither a report's PDF nor its manifest"),
        ("a.json", b"{}", "not the manifest of a report"),
        ("a.pdf", b"%PDF-1.7 other", "not a report this studio issued"),
        ("a.json", b'{"format":"quirewell report manifest","format_version":9}', "reads version 1"),
        ("a.json", b'{"format":"quirewell report manifest","format_version":1}', "lacks 'report'"),
    ],
)
def test_what_is_no_report_is_refused_in_a_sentence(
    case: tuple[Studio, Path], tmp_path: Path, name: str, data: bytes, says: str
) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(NoManifest) as caught:
        recheck(tmp_path / name, case[0])
    assert says in str(caught.value)


def test_another_studio_says_so(case: tuple[Studio, Path], tmp_path: Path) -> None:
    with (
        Studio.create(tmp_path / "other") as other,
        pytest.raises(NoManifest, match="not in this studio"),
    ):
        recheck(case[1], other)


def test_a_file_that_is_not_there_is_refused(case: tuple[Studio, Path], tmp_path: Path) -> None:
    with pytest.raises(NoManifest, match="there is no file"):
        recheck(tmp_path / "none.pdf", case[0])


def test_a_tear_answered_otherwise_since_is_told(tmp_path: Path) -> None:
    studio = report_studio(tmp_path / "studio", pairs=1)
    report = write_report(studio, "annual", tmp_path / "report.pdf").pdf
    assert not any("answered otherwise" in why for why in whys(report, studio))
    held = next(iter(studio.state("annual").corrections.values()))
    add(studio, "annual", ("measuring.corrected", replace(held, no_tears=())))
    (found,) = [d for d in recheck(report, studio).differences if "answered otherwise" in d.why]
    assert (found.then, found.now) == (
        "1 confirmed, 1 proposed, 1 set aside", "1 confirmed, 2 proposed",
    )  # fmt: skip
