"""Every PDF of ours through independent checkers: outloud, pdfua and qpdf.

They check parts of ISO 14289-1 (PDF/UA-1) and of ISO 32000; none of them proves PDF/A, so we
say "written as PDF/A-2a and PDF/UA-1, checked by these" and no more.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from quirewell.report.condition import condition_sheet
from quirewell.report.forms import write_form
from quirewell.report.strip import strip_sheet
from quirewell.report.treatment import write_report
from report_case import report_studio

pytestmark = pytest.mark.peers
PEERS = Path(__file__).parents[2] / ".venv-peers" / "bin"
NAMES = ("report", "bare", "condition", "strip", "short", "buyer", "service")


@pytest.fixture(scope="module")
def pdfs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pdf")
    with report_studio(folder / "studio", pairs=4) as studio:
        write_report(studio, "annual", folder / "report.pdf")
        for form in ("short", "buyer", "service"):
            write_form(form, studio, "annual", folder / f"{form}.pdf")
        state, at = studio.state("annual"), datetime(2026, 3, 14, tzinfo=UTC)
        sheet = condition_sheet(state, studio.head(), at, studio.blobs.path)
        (folder / "condition.pdf").write_bytes(sheet)
    with report_studio(folder / "bare-studio", pairs=0) as studio:
        write_report(studio, "annual", folder / "bare.pdf")
    (folder / "strip.pdf").write_bytes(strip_sheet())
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_outloud_finds_no_error(pdfs: Path, name: str) -> None:
    out = pdfs / f"{name}-outloud.json"
    made = subprocess.run(
        [PEERS / "outloud", pdfs / f"{name}.pdf", "--json", out], capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert out.is_file(), made.stderr
    assert _errors(json.loads(out.read_text())) == []
    assert made.returncode == 0, made.stdout


def _errors(found: object) -> list[object]:
    if isinstance(found, dict):
        here = [found] if found.get("severity") == "error" else []
        return here + [error for entry in found.values() for error in _errors(entry)]
    if isinstance(found, list):
        return [error for entry in found for error in _errors(entry)]
    return []


@pytest.mark.parametrize("name", NAMES)
def test_pdfua_finds_nothing(pdfs: Path, name: str) -> None:
    made = subprocess.run(
        [PEERS / "pdfua", "check", pdfs / f"{name}.pdf"], capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stdout + made.stderr


@pytest.mark.parametrize("name", NAMES)
def test_qpdf_finds_the_file_whole(pdfs: Path, name: str) -> None:
    tool = shutil.which("qpdf")
    assert tool, "qpdf is part of the test set-up"
    made = subprocess.run(
        [tool, "--check", pdfs / f"{name}.pdf"], capture_output=True, text=True, check=False
    )
    assert made.returncode == 0, made.stdout + made.stderr


def test_fonts_are_all_embedded(pdfs: Path) -> None:
    tool = shutil.which("pdffonts")
    assert tool, "pdffonts is part of the test set-up (poppler-utils)"
    made = subprocess.run([tool, pdfs / "report.pdf"], capture_output=True, text=True, check=True)
    rows = made.stdout.splitlines()[2:]
    assert len(rows) >= 3
    assert all(row.split()[-5] == "yes" for row in rows), made.stdout
