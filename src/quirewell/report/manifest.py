"""The manifest beside a report: every number it shows, with what it came from."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from quirewell import __version__
from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState, Report
from quirewell.record.plain_data import json_data
from quirewell.report.model import Said
from quirewell.stages.results import shown
from quirewell.studio.studio import Studio

FORMAT = "quirewell report manifest"
FORMAT_VERSION = 1


class NoManifest(ValueError):
    """A file that is no report of this studio; the message says what to give instead."""


def manifest_of(
    said: Said, state: ItemState, head: str, seq: int, pdf: bytes, template: tuple[str, int]
) -> dict[str, Any]:
    """The manifest of a report: item, journal head, template, and every number shown.

    The report's id comes from what it says and the head it was written at, so that writing
    the same report again gives the same id.
    """
    content = json.dumps(said.content, sort_keys=True, ensure_ascii=False)
    seed = f"{state.id}\n{head}\n{template[0]} {template[1]}\n{content}"
    report = "report-" + hashlib.sha256(seed.encode()).hexdigest()[:12]
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "report": report,
        "item": state.id,
        "title": state.item.title,
        "head": head,
        "head_seq": seq,
        "template": template[0],
        "template_version": template[1],
        "program_version": __version__,
        "pdf_sha256": hashlib.sha256(pdf).hexdigest(),
        "numbers": [
            {
                "text": number.text,
                "quantity": number.quantity,
                "refs": list(number.refs),
                "value": number.value,
                "u": number.u,
                "unit": number.unit,
            }
            for number in said.numbers
        ],
    }


def load_manifest(report: Path, studio: Studio) -> tuple[dict[str, Any], bytes | None]:
    """The manifest of a report, and the PDF's bytes when a PDF was given.

    A PDF alone is looked up by its hash among the reports the journal says were issued.

    Raises:
        NoManifest: neither a manifest nor a report of this studio.
    """
    if not report.is_file():
        raise NoManifest(f"there is no file {report}; give the report's PDF or its .json")
    data = report.read_bytes()
    if not data.startswith(b"%PDF"):
        return _read_manifest(report.name, data), None
    beside = report.with_suffix(".json")
    if beside.is_file():
        return _read_manifest(beside.name, beside.read_bytes()), data
    sha256 = hashlib.sha256(data).hexdigest()
    for state in studio.states("reports"):
        for issued in state.reports.values():
            if issued.sha256 == sha256:
                return _from_journal(issued, state.id, studio), data
    raise NoManifest(
        f"{report.name} has no {beside.name} beside it and is not a report this studio issued; "
        "put the manifest beside it, or give the studio it was written in"
    )


def _read_manifest(name: str, data: bytes) -> dict[str, Any]:
    try:
        manifest = json_data(data)
    except ValueError as error:
        raise NoManifest(f"{name} is neither a report's PDF nor its manifest") from error
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise NoManifest(f"{name} is not the manifest of a report")
    if manifest.get("format_version") != FORMAT_VERSION:
        raise NoManifest(
            f"{name} is a manifest of version {manifest.get('format_version')}; this program "
            f"reads version {FORMAT_VERSION}"
        )
    wanted = ("report", "item", "head", "head_seq", "pdf_sha256", "numbers")
    missing = [key for key in wanted if key not in manifest]
    if missing:
        raise NoManifest(f"{name} lacks {missing[0]!r}; it was altered or cut short")
    return manifest


def _from_journal(issued: Report, item: str, studio: Studio) -> dict[str, Any]:
    """A manifest made of what the journal says was in the report."""
    seq = next((event.seq for event in studio.events() if event.hash == issued.head), 0)
    then = studio.state_at(item, version_at(studio, item, seq))
    numbers = []
    for ref in issued.findings:
        finding = finding_of(then, ref) if then else None
        if finding is not None:
            seen = shown(finding)
            numbers.append(
                {"text": seen.text, "quantity": seen.quantity, "refs": [ref],
                 "value": seen.value, "u": seen.u, "unit": seen.unit}
            )  # fmt: skip
    return {
        "report": issued.id, "item": item, "head": issued.head, "head_seq": seq,
        "pdf_sha256": issued.sha256, "numbers": numbers,
    }  # fmt: skip


def version_at(studio: Studio, item: str, seq: int) -> int:
    """Version of an item at the journal entry ``seq``."""
    return max((event.version for event in studio.events(item) if event.seq <= seq), default=0)


def run_of(ref: str) -> str:
    """Id of the run a finding (or "run:...") belongs to."""
    return ref.removeprefix("run:").rpartition(".")[0] or ref.removeprefix("run:")


def finding_of(state: ItemState, ref: str) -> Finding | None:
    """The finding with this id, if it holds in ``state``."""
    run = state.runs.get(run_of(ref))
    return next((f for f in run.findings if f.id == ref), None) if run else None
