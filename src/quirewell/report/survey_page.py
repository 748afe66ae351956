"""``survey.html``: what of a collection needs treatment first, as one file that loads nothing.

Bars are inline SVG and the small pictures are inside the file, so that it can be read on a phone,
without a script and without a network. Pictures are bounded: ``MOST_PICTURED`` of at most
``MOST_BYTES`` each, so that the page is never more than about 1 MB.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray

from quirewell.stages.collection_picture import MEDIA, MOST_BYTES
from quirewell.stages.collection_ranking import LEAST_ALIKE, Criterion, Ranking
from quirewell.stages.collection_rows import whole_file
from quirewell.stages.collection_told import HOW_WRONG, NOT_SEEN, RULE, group_words, value_words

MOST_SHOWN = 60
MOST_PICTURED = 48
MOST_NAMED = 30
MOST_UNUSUAL = 10
_WIDE = 1000.0
# Missing area, in % of a leaf: bins of the picture of how it is spread.
_LOSS_BINS = (0.0, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 100.0)
_TONE_STEP = 2.0
NO_SCALE_NOTE = (
    "No scale: the file says no resolution that can be believed. Missing area is a share of the "
    "leaf itself; no lengths."
)
TONE_RESTS_ON = {
    "target": "Tone by the scanner’s colour target.",
    "strip": "Tone by the grey strip in the scan.",
    "profile": "Tone by the file’s colour profile.",
    "raw": "Tone as the scanner left it: no strip, no profile.",
}
# A bar for tears is at least so long, so that a tear that may be there does not fill it.
_TEAR_MM = 15.0


@dataclass(frozen=True, slots=True)
class Bar:
    """A value with its band, in a picture 1000 wide: ``value``, ``low``, ``high``, ``middle``
    (the collection's median) as places from the left; ``zero`` where nothing is."""

    name: str
    words: str
    zero: float
    value: float
    low: float
    high: float
    middle: float


@dataclass(frozen=True, slots=True)
class Bin:
    """One column of a picture of how a quantity is spread: share of the tallest, and words."""

    words: str
    count: int
    share: float


def write_page(
    path: Path, table: pa.Table, ranking: Ranking, title: str,
    pictures: Mapping[str, str] | None = None,
) -> None:  # fmt: skip
    """Write the page, whole or not at all; ``pictures`` are small ones by file, as base64 text."""
    with whole_file(path) as stream:
        stream.write(page(table, ranking, title, pictures).encode("utf-8"))


def pictured(table: pa.Table, ranking: Ranking) -> list[str]:
    """Files whose small picture the page shows, the first to be treated first."""
    files = table["file"].to_pylist()
    rows = [row for group in _rows_shown(ranking) for row in group]
    return [files[row] for row in rows[:MOST_PICTURED]]


def page(
    table: pa.Table, ranking: Ranking, title: str, pictures: Mapping[str, str] | None = None
) -> str:
    """The page as text; without a picture an item is words and bars."""
    files: list[str] = table["file"].to_pylist()
    failed = sum(bool(text) for text in table["error"].to_pylist())
    style = _asset("survey.css")
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}'; img-src data:; form-action 'none'; "
        "base-uri 'none'"
    )
    made = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return made.from_string(_asset("survey.html")).render(
        title=title, policy=policy, style=Markup(style), files=len(files), failed=failed,
        same=sum(bool(text) for text in table["same_as"].to_pylist()),
        groups=_groups(table, ranking, _bounded(table, ranking, pictures or {})),
        shown=MOST_SHOWN, pictured=MOST_PICTURED, media=MEDIA,
        ranked=sum(len(group.rows) for group in ranking.groups),
        spreads=_spreads(table, ranking), unknown=[
            {"name": one.name, "known": len(one.rows), "why": one.unknown}
            for one in ranking.criteria
        ],
        left_out=_named(files, ranking), unusual=_unusual(table, files, ranking),
        tones=ranking.tones, rule=RULE, how_wrong=HOW_WRONG, not_seen=NOT_SEEN, least=LEAST_ALIKE,
    )  # fmt: skip


def _rows_shown(ranking: Ranking) -> list[list[int]]:
    """Rows shown of each group, from the first on until enough are; of a group in which nothing
    stands out none is."""
    left, shown = MOST_SHOWN, []
    for group in ranking.groups:
        stands_out = group.surely or group.perhaps
        rows = [int(row) for row in group.rows[: left if stands_out else 0]]
        left -= len(rows)
        shown.append(rows)
    return shown


def _bounded(table: pa.Table, ranking: Ranking, pictures: Mapping[str, str]) -> dict[str, str]:
    """The pictures that are shown; none that is larger than one made here can be."""
    most = 4 * -(-MOST_BYTES // 3)
    named = {name: pictures.get(name, "") for name in pictured(table, ranking)}
    return {name: text for name, text in named.items() if 0 < len(text) <= most}


def _groups(
    table: pa.Table, ranking: Ranking, pictures: Mapping[str, str]
) -> list[dict[str, Any]]:  # fmt: skip
    files = table["file"].to_pylist()
    sources, bases = table["scale_source"].to_pylist(), table["tone_basis"].to_pylist()
    at = [{int(row): i for i, row in enumerate(one.rows)} for one in ranking.criteria]
    return [
        {
            "number": number, "words": group_words(group), "count": len(group.rows),
            "more": len(group.rows) - len(rows),
            "items": [
                {"file": files[row], "bars": _bars(ranking.criteria, at, row),
                 "picture": pictures.get(files[row], ""),
                 "notes": _notes(sources[row], bases[row])}
                for row in rows
            ],
        }
        for number, (group, rows) in enumerate(
            zip(ranking.groups, _rows_shown(ranking), strict=True), 1
        )
    ]  # fmt: skip


def _notes(scale_source: str | None, basis: str | None) -> list[str]:
    """What a reader should know of one item's figures."""
    scale = [NO_SCALE_NOTE] if scale_source == "none" else []
    return scale + ([TONE_RESTS_ON[basis]] if basis in TONE_RESTS_ON else [])


def _bars(criteria: Sequence[Criterion], at: Sequence[dict[int, int]], row: int) -> list[Bar]:
    bars = []
    for one, place in zip(criteria, at, strict=True):
        if row in place:
            bars.append(_bar(one, place[row]))
    return bars


def _bar(one: Criterion, at: int) -> Bar:
    least, most = min(0.0, float(one.low.min())), float(one.high.max())
    if one.key == "tear":
        most = max(most, _TEAR_MM)
    wide = max(most - least, 1e-9)

    def place(value: float) -> float:
        return round(_WIDE * (value - least) / wide, 1)

    return Bar(
        one.name, value_words(one, at), place(0.0), place(float(one.value[at])),
        place(float(one.low[at])), place(float(one.high[at])), place(float(np.median(one.value))),
    )  # fmt: skip


def _spreads(table: pa.Table, ranking: Ranking) -> list[dict[str, Any]]:
    """How tone and missing area are spread over the collection."""
    found = []
    once = np.array([not same for same in table["same_as"].to_pylist()], bool)
    tone = _numbers(table, "tone_L")[once]
    if np.isfinite(tone).any():
        tone = tone[np.isfinite(tone)]
        edges = np.arange(np.floor(tone.min() / 2) * 2, tone.max() + _TONE_STEP, _TONE_STEP)
        edges = np.append(edges, edges[-1] + _TONE_STEP)
        found.append(_spread("Lightness of the paper, L*", tone, edges, "{:.0f} to {:.0f}"))
    loss = ranking.criteria[0].value
    if len(loss):
        edges = np.array(_LOSS_BINS)
        found.append(_spread("Missing area, % of the leaf", loss, edges, "{:g} to {:g}"))
    return found


def _spread(
    name: str, values: NDArray[np.float64], edges: NDArray[np.float64], words: str
) -> dict[str, Any]:
    counts, _ = np.histogram(np.clip(values, edges[0], edges[-1]), edges)
    quarters = np.quantile(values, (0.25, 0.5, 0.75))
    most = max(int(counts.max()), 1)
    bins = [
        Bin(words.format(a, b), int(n), round(_WIDE * int(n) / most, 1))
        for a, b, n in zip(edges[:-1], edges[1:], counts, strict=True)
    ]
    last = max((i for i, one in enumerate(bins) if one.count), default=0)
    return {
        "name": name, "bins": bins[: last + 1], "count": len(values),
        "says": f"Half of them lie between {quarters[0]:.2g} and {quarters[2]:.2g}, "
        f"the middle is {quarters[1]:.2g}.",
    }  # fmt: skip


def _numbers(table: pa.Table, name: str) -> NDArray[np.float64]:
    return np.array(table[name].cast(pa.float64()).to_numpy(), dtype=np.float64)


def _named(files: Sequence[str], ranking: Ranking) -> list[dict[str, Any]]:
    return [
        {"words": words, "count": len(rows), "files": [files[row] for row in rows[:MOST_NAMED]],
         "more": max(0, len(rows) - MOST_NAMED)}
        for words, rows in ranking.not_measurable.items()
    ]  # fmt: skip


def _unusual(table: pa.Table, files: Sequence[str], ranking: Ranking) -> list[dict[str, Any]]:
    """Scans with the most warnings that are unusual here."""
    order = np.argsort(-ranking.unusual, kind="stable")[:MOST_UNUSUAL]
    return [
        {"file": files[row], "count": int(ranking.unusual[row]),
         "warnings": table["warnings"][int(row)].as_py()}
        for row in order if ranking.unusual[row]
    ]  # fmt: skip


def _asset(name: str) -> str:
    source = resources.files("quirewell.report").joinpath("templates", name)
    return source.read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """A style as a policy names it (W3C Content Security Policy 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
