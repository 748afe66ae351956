"""The manifest beside a report: every number it shows, with what it came from."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from quirewell import __version__
from quirewell.record.nouns import ItemState
from quirewell.report.model import Said

FORMAT = "quirewell report manifest"
FORMAT_VERSION = 1


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
