"""The treatment report as a reader meets it: its words, its tags, its numbers."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pikepdf
import pytest

from quirewell.record import nouns
from quirewell.report.content import day
from quirewell.report.model import Untraceable, known_refs, settle
from quirewell.report.references import reference_words
from quirewell.report.treatment import write_report
from quirewell.stages.results import Shown
from quirewell.studio.studio import Studio
from report_case import add, report_studio, text_of


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Studio, Path]:
    folder = tmp_path_factory.mktemp("report")
    studio = report_studio(folder / "studio", pairs=5)
    write_report(studio, "annual", folder / "report.pdf")
    return studio, folder / "report.pdf"


@pytest.mark.parametrize(
    "words",
    [
        "Copperbeck Garden Annual",
        "36, cover not counted",
        "spine split",
        "3.5 of 10, worn but whole",
        "Deacidified in lime water",
        "calcium hydroxide, lot CH-7, 4 g",
        "Gone with this step: the makers' own clinch",
        "below 4.0",
        "cover stays dry throughout",
        "+0.210 ± 0.060 %",
        "168.020 ± 0.048 mm",
        "0.12 %",
        "rust halo at the upper staple",
        "that takes a test that destroys it",
        "Bates, Bower and Smith (1956)",
        "1 confirmed, 1 proposed, 1 set aside",
        "7.00 ± 0.50 mm",
        "11.50 ± 0.50 mm",
        "none from 3 mm, gap 0.12 mm",
        "1.24 ± 0.80 %",
        "Journal head",
        "Change of width 0.2 %",
        "page 2 of",
    ],
)
def test_report_says(written: tuple[Studio, Path], words: str) -> None:
    assert words in text_of(written[1])


def test_report_is_tagged_titled_and_in_a_stated_language(written: tuple[Studio, Path]) -> None:
    with pikepdf.open(written[1]) as pdf:
        assert str(pdf.Root.Lang) == "en-GB"
        assert bool(pdf.Root.MarkInfo.Marked)
        meta = pdf.open_metadata()
        assert meta["dc:title"] == "Treatment report: Copperbeck Garden Annual"
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("2", "A")
        assert meta["pdfuaid:part"] == "1"


def test_every_picture_has_words(written: tuple[Studio, Path]) -> None:
    with pikepdf.open(written[1]) as pdf:
        figures = [
            obj for obj in pdf.objects
            if isinstance(obj, pikepdf.Dictionary) and obj.get("/S") == "/Figure"
        ]  # fmt: skip
        assert len(figures) >= 12
        assert all(str(obj.get("/Alt", "")).strip() for obj in figures)


def test_same_journal_gives_the_same_bytes_and_one_issue(
    written: tuple[Studio, Path], tmp_path: Path
) -> None:
    studio, first = written
    again = write_report(studio, "annual", tmp_path / "again.pdf")
    assert again.pdf.read_bytes() == first.read_bytes()
    assert len(studio.state("annual").reports) == 1


def test_journal_records_the_report_with_its_hash(written: tuple[Studio, Path]) -> None:
    studio, pdf = written
    manifest = json.loads(pdf.with_suffix(".json").read_text())
    (issued,) = studio.state("annual").reports.values()
    assert issued.sha256 == manifest["pdf_sha256"]
    assert issued.head == manifest["head"]
    assert set(issued.findings) == {ref for n in manifest["numbers"] for ref in n["refs"]}


def test_every_number_in_the_manifest_resolves_and_has_its_unit(
    written: tuple[Studio, Path],
) -> None:
    studio, pdf = written
    refs = known_refs(studio.state("annual"))
    numbers = json.loads(pdf.with_suffix(".json").read_text())["numbers"]
    assert len(numbers) > 80
    assert all(ref in refs for number in numbers for ref in number["refs"])
    widths = [n for n in numbers if n["quantity"] == "leaf.width_mm"]
    assert {n["unit"] for n in widths} == {"mm"}
    assert {n["u"] for n in widths} == {0.024}


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ({"rows": [["Width", 168.4]]}, "report.rows[0][1]: 168.4 is a bare number"),
        ({"a": Shown("168.4 mm", ())}, "'168.4 mm' names no finding"),
        ({"a": Shown("168.4 mm", ("r1.0",))}, "'r1.0', which is not in the journal"),
    ],
)
def test_a_number_without_a_finding_stops_the_report(content: dict[str, object], says: str) -> None:
    with pytest.raises(Untraceable, match=None) as caught:
        settle(content, frozenset({"r2.0"}))
    assert says in str(caught.value)


def test_a_drawing_that_says_other_than_its_findings_stops_the_report(
    written: tuple[Studio, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    from quirewell.report import treatment

    real = treatment.shade

    def wrong(state: nouns.ItemState, key: str) -> object:
        entry = real(state, key)
        return replace(entry, marks=tuple(replace(m, value=m.value + 1) for m in entry.marks))

    monkeypatch.setattr(treatment, "shade", wrong)
    with pytest.raises(Untraceable, match="the drawing says"):
        write_report(written[0], "annual", written[1].with_name("wrong.pdf"))
    assert not written[1].with_name("wrong.pdf").exists()


HOSTILE = (
    'T #panic() [x] "$q" \\ #import "/etc/passwd" <script>alert(1)</script> \u4e2d\U0001f600\x07'
)


def test_hostile_words_come_out_as_words(tmp_path: Path) -> None:
    studio = report_studio(tmp_path / "studio", title=HOSTILE, pairs=0)
    add(
        studio, "annual",
        ("remaining.noted", nouns.Remaining("m2", "item", "#read(\"/etc/hostname\") *bold* $x$")),
        ("defect.noted", nouns.Defect("d9", "head", "= Not a heading", "<b>", note="@cite")),
    )  # fmt: skip
    text = text_of(write_report(studio, "annual", tmp_path / "r.pdf").pdf)
    assert "#panic() [x]" in text
    assert "<script>alert(1)</script> [U+4E2D][U+1F600]" in text
    assert "/etc/hostname" in text and "*bold* $x$" in text
    assert "= Not a heading" in text and "@cite" in text


def test_an_item_with_nothing_but_a_title_has_a_report(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio") as studio:
        add(studio, "bare", ("item.opened", nouns.Item("A working title")))
        text = text_of(write_report(studio, "bare", tmp_path / "r.pdf").pdf)
    assert "No defects were noted before treatment." in text
    assert "no change can be given" in text


def test_an_open_step_and_an_unknown_kind_are_told_as_they_are(tmp_path: Path) -> None:
    studio = report_studio(tmp_path / "studio", pairs=0)
    add(studio, "annual", ("step.done", nouns.Step("s8", "moon-dust", ("c",), "done")))
    text = text_of(write_report(studio, "annual", tmp_path / "r.pdf").pdf)
    assert "moon-dust" in text and "not known" in text
    assert "Humidified, planned: cover" in text


def test_day_and_reference_words() -> None:
    assert day("2026-03-14T18:00:00Z") == "14 March 2026"
    assert day("some day") == "some day"
    assert reference_words("nowhere1900") == "this source is not in the bibliography"
    assert "doi:10.6028/jres.056.040" in reference_words("bates1956")


@pytest.mark.slow
def test_two_hundred_pictures_stay_within_bounded_memory(tmp_path: Path) -> None:
    """Measured in a process of its own: peak memory grows by the print, not by the pictures.

    ``ru_maxrss`` would not do: it is handed on to a child with what its parent once held.
    """
    script = (
        "import sys; from pathlib import Path; from report_case import report_studio\n"
        "from quirewell.report.treatment import write_report\n"
        "folder = Path(sys.argv[1]); studio = report_studio(folder / 's', pairs=99, wraps=25)\n"
        "write_report(studio, 'annual', folder / 'r.pdf')\n"
        "said = Path('/proc/self/status').read_text().split('VmHWM:')[1]\n"
        "print(int(said.split()[0]) // 1024)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)], check=True, capture_output=True, text=True,
        env={"PYTHONPATH": str(Path(__file__).parents[1]), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    assert int(done.stdout.split()[-1]) < 700
    assert (tmp_path / "r.pdf").stat().st_size < 25e6


def test_the_same_bytes_from_another_process_and_without_what_was_kept(tmp_path: Path) -> None:
    """Written, written again from kept plates, and by another process with none kept."""
    folder = tmp_path / "studio"
    with report_studio(folder, pairs=3) as studio:
        first = write_report(studio, "annual", tmp_path / "1.pdf").pdf.read_bytes()
        kept = list((folder / "derived" / "plates").glob("*.jpg"))
        assert len(kept) == 7  # both photographs are of one file; three pairs
        again = write_report(studio, "annual", tmp_path / "2.pdf").pdf.read_bytes()
    for file in kept:
        file.unlink()
    script = (
        "import sys; from pathlib import Path\n"
        "from quirewell.report.treatment import write_report\n"
        "from quirewell.studio.studio import Studio\n"
        "with Studio.open(Path(sys.argv[1])) as studio:\n"
        "    write_report(studio, 'annual', Path(sys.argv[2]))\n"
    )
    other = tmp_path / "3.pdf"
    subprocess.run([sys.executable, "-c", script, str(folder), str(other)], check=True)
    assert first == again == other.read_bytes()
