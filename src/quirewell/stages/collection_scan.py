"""The one task of a survey: one picture in, one plain row out, whatever the picture is.

The row holds what ``leaf.measure`` finds (``stages/measuring.py``) without the search for
stains: a number, its standard uncertainty beside it in the column ``.._u``, and nothing where
nothing was measured. Areas and lengths in mm only where the picture has a scale. ``picture`` is a
small picture of the scan as base64 text.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import Any

from quirewell.jobs.cluster import is_limited
from quirewell.record.finding import Finding
from quirewell.science.colour.exposure import KnownGreys, greys_from_text
from quirewell.stages.collection_picture import small_picture
from quirewell.stages.collection_share import loss_share
from quirewell.stages.collection_tone import tone_columns
from quirewell.stages.measuring import METHOD, Seen, look, outcome_of
from quirewell.stages.measuring_asked import Asked, read_params
from quirewell.stages.measuring_damage import tear_findings
from quirewell.stages.measuring_said import BadParameter
from quirewell.stages.methods import find_method
from quirewell.studio.blobs import hash_file
from quirewell.studio.image_header import read_header
from quirewell.studio.images import cpu_limit, load_picture

TASK = "quirewell.stages.collection_scan.measure_scan"
# Raised when a row's columns change their meaning; then all is measured again.
ROW_VERSION = 2
LEFT_OUT = "stains"
NO_SIZE = "nothing says how large a pixel is: sizes in pixels only"
Row = dict[str, Any]
# Columns with a number and its standard uncertainty, by the finding they hold.
NUMBERS = {
    "um_per_px": "scale.um_per_px",
    "width_mm": "leaf.width_mm",
    "height_mm": "leaf.height_mm",
    "width_px": "leaf.width_px",
    "height_px": "leaf.height_px",
    "loss_mm2": "leaf.loss_mm2",
    "area_mm2": "leaf.area_mm2",
    "tone_L": "tone.L",
    "tone_a": "tone.a",
    "tone_b": "tone.b",
    "yellowness": "tone.yellowness",
}
# A picture that takes longer than this ends its worker: seconds, and seconds a megapixel more
# (measuring takes about 0.2 to 0.4 s a megapixel).
_SECONDS, _SECONDS_PER_MEGAPIXEL = 120, 5.0


def method_words() -> tuple[str, int]:
    """Id and version of the method whose numbers the rows hold."""
    return METHOD, find_method(METHOD).version


def read_asked(params: Mapping[str, str]) -> tuple[Asked, KnownGreys | None]:
    """What ``leaf.measure`` is told, and the strip's own greys ("greys", which are the survey's).

    Raises
    ------
    BadParameter
        in a sentence
    """
    text = params.get("greys") or ""
    try:
        greys = greys_from_text(text) if text.strip() else None
    except ValueError as error:
        raise BadParameter(str(error)) from None
    return read_params({k: v for k, v in params.items() if k != "greys"}), greys


def measure_scan(path: str, sha256: str, params: Mapping[str, str]) -> Row:
    """Measure one picture in a worker; its bytes must be those of ``sha256``.

    Raises
    ------
    ValueError, OSError
        in words, for what is no picture that can be measured
    """
    began = time.perf_counter()
    scan = Path(path)
    header = read_header(scan)
    megapixels = header.width_px * header.height_px / 1e6
    seconds = int(_SECONDS + _SECONDS_PER_MEGAPIXEL * megapixels)
    # A limit of processor time counts the whole process: only where it does nothing besides.
    with cpu_limit(seconds) if is_limited() else nullcontext():
        asked, greys = read_asked(params)
        picture = load_picture(scan)
        if hash_file(scan) != sha256:
            raise OSError("the file changed while it was being measured; give the command again")
        seen = look(picture, asked, stains=False)
        outcome = outcome_of(seen, asked)
        row = _numbers({finding.quantity: finding for finding in outcome.findings})
        if seen.leaf is not None and seen.scale is None:
            row["size_says"] = NO_SIZE
        tone, says = tone_columns(seen, target=asked.target is not None, greys=greys)
        row |= loss_share(seen, row) | tone | _tears(seen)
        row["picture"] = small_picture(picture.pixels, seen.leaf, seen.loss)
    return row | {
        "media": header.media,
        "picture_width_px": header.width_px,
        "picture_height_px": header.height_px,
        "scanner": header.scanner,
        "profile": picture.profile,
        "grey": picture.grey,
        "leaf_found": seen.leaf is not None,
        "warnings": [*outcome.warnings, *says],
        "seconds": round(time.perf_counter() - began, 3),
    }


def _numbers(found: Mapping[str, Finding]) -> Row:
    row: Row = {"scale_source": found["scale.source"].text}
    for column, quantity in NUMBERS.items():
        finding = found.get(quantity)
        row[column] = None if finding is None else finding.value
        row[f"{column}_u"] = None if finding is None else finding.u
    said = [found[name].text for name in ("leaf.width_mm", "leaf.height_mm") if name in found]
    row["size_says"] = "; ".join(text for text in said if text)
    return row


def _tears(seen: Seen) -> Row:
    """Open tears proposed by the picture; none of it where there is no scale."""
    if seen.tears is None or seen.scale is None:
        return {"tears": None, "longest_tear_mm": None, "longest_tear_mm_u": None}
    found = {finding.quantity: finding for finding in tear_findings(seen.tears, seen.scale)}
    lengths = [one for name, one in found.items() if name.endswith(".length_mm")]
    longest = max(lengths, key=lambda one: one.value or 0.0, default=None)
    return {
        "tears": len(seen.tears.found),
        "longest_tear_mm": longest.value if longest else None,
        "longest_tear_mm_u": longest.u if longest else None,
    }
