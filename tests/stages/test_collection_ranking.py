"""What needs treatment first: planted tables, ties, what cannot be measured, and the page."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pyarrow as pa

from quirewell.report.survey_page import (
    MOST_PICTURED,
    NO_SCALE_NOTE,
    TONE_RESTS_ON,
    page,
    pictured,
)
from quirewell.stages.collection_picture import MOST_BYTES
from quirewell.stages.collection_ranking import (
    FEW_ALIKE,
    LEAST_ALIKE,
    NO_LEAF,
    NO_SCALE,
    NOT_WHOLE,
    Ranking,
    rank,
    with_places,
)
from quirewell.stages.collection_rows import SCHEMA
from quirewell.stages.collection_told import summary, summary_lines, value_words


def row(name: str, **more: Any) -> dict[str, Any]:
    """A leaf that is as most are, unless stated otherwise."""
    return dict.fromkeys(SCHEMA.names) | {
        "file": name, "sha256": name, "same_as": "", "error": "", "leaf_found": True,
        "scanner": "Larkmoor F2", "profile": "sRGB", "um_per_px": 84.7, "loss_pct": 0.3,
        "loss_pct_u": 0.02, "tone_L": 78.0, "tone_L_within_u": 0.4, "tears": 0, "warnings": [],
    } | more  # fmt: skip


def table(*special: dict[str, Any], plain: int = 30) -> pa.Table:
    rng = np.random.default_rng(3)
    rows = [
        row(f"plain-{i:02d}", loss_pct=0.3 + 0.005 * i, tone_L=78 + rng.normal(0, 0.5))
        for i in range(plain)
    ]
    return pa.Table.from_pylist([*special, *rows], SCHEMA)


def groups_of(found: Ranking, of: pa.Table) -> list[list[str]]:
    names = of["file"].to_pylist()
    return [[names[i] for i in group.rows] for group in found.groups]


def test_who_is_surely_first_in_more_things_comes_first() -> None:
    made = table(
        row("torn", tears=1, longest_tear_mm=40.0, longest_tear_mm_u=0.5),
        row("all", loss_pct=8.0, tone_L=60.0, tears=2, longest_tear_mm=60.0, longest_tear_mm_u=0.5),
        row("two", loss_pct=6.0, tone_L=62.0),
    )
    found = rank(made)
    assert groups_of(found, made)[:3] == [["all"], ["two"], ["torn"]]
    assert [(group.surely, group.perhaps) for group in found.groups][:3] == [(3, 0), (2, 0), (1, 0)]


def test_overlapping_bands_are_a_tie_and_no_score_parts_them() -> None:
    made = table(
        row("a", loss_pct=5.0, loss_pct_u=0.5), row("b", loss_pct=5.4, loss_pct_u=0.5),
    )  # fmt: skip
    found = rank(made)
    assert sorted(groups_of(found, made)[0]) == ["a", "b"]
    loss = found.criteria[0]
    assert list(loss.standings.best[:2]) == [1, 1] and list(loss.standings.worst[:2]) == [2, 2]
    placed = with_places(made, found).to_pylist()
    assert placed[0]["treat_group"] == placed[1]["treat_group"] == 1
    assert (placed[1]["loss_place_best"], placed[1]["loss_place_worst"]) == (1, 2)


def test_where_no_tear_shows_one_may_be_there_but_nothing_stands_out() -> None:
    made = table(row("torn", tears=1, longest_tear_mm=4.0, longest_tear_mm_u=1.0))
    tear = rank(made).criteria[2]
    assert tear.standings.worst[0] == len(tear.rows)
    assert not tear.standings.perhaps[1:].any()
    assert value_words(tear, 1) == "none seen (up to 3 mm may pass unseen)"


def test_a_tone_is_compared_within_its_scanner_only() -> None:
    """A scanner that draws all its leaves darker by 10 makes none of them dark."""
    other = [row(f"o{i:02d}", scanner="Other", tone_L=68.0 + 0.1 * (i % 5)) for i in range(12)]
    made = table(*other, row("dark", tone_L=66.0))
    found = rank(made)
    placed = {one["file"]: one for one in with_places(made, found).to_pylist()}
    assert abs(placed["o03"]["darker_L"]) < 1 and placed["dark"]["darker_L"] > 10
    assert {(one.scanner, one.scans) for one in found.tones} == {("Larkmoor F2", 31), ("Other", 12)}


def test_tones_that_rest_on_other_things_are_not_compared() -> None:
    """Scans with the strip are compared by its greys, and not with raw ones."""
    on_greys = [
        row(f"s{i:02d}", tone_basis="strip", tone_L=50.0 + 2 * i, tone_greys_L=70.0 + 0.1 * (i % 5))
        for i in range(12)
    ]
    found = rank(table(*on_greys))
    assert {(one.basis, one.scans) for one in found.tones} == {("strip", 12), ("", 30)}
    tone = found.criteria[1]
    by_row = dict(zip(tone.rows.tolist(), tone.value, strict=True))
    assert all(abs(by_row[i]) < 1 for i in range(12))


def test_lighter_and_darker_are_said_the_right_way_round() -> None:
    made = table(row("light", tone_L=90.0), row("dark", tone_L=60.0))
    tone = rank(made).criteria[1]
    assert re.match(r"1\d\.\d L\* lighter \(\d+\.\d to \d+\.\d lighter\)", value_words(tone, 0))
    assert re.match(r"1\d\.\d L\* darker \(\d+\.\d to \d+\.\d darker\)", value_words(tone, 1))
    assert "place 32 of 32" in value_words(tone, 0) and "place 1 of 32" in value_words(tone, 1)


def test_too_few_scans_of_a_scanner_say_nothing_of_their_tone() -> None:
    few = [row(f"o{i}", scanner="Other", tone_L=50.0) for i in range(LEAST_ALIKE - 1)]
    found = rank(table(*few))
    assert found.criteria[1].unknown == {FEW_ALIKE: LEAST_ALIKE - 1}
    assert len(found.criteria[1].rows) == 30


def test_not_measurable_is_a_group_of_its_own() -> None:
    nothing = {"um_per_px": None, "loss_pct": None, "tone_L": None, "tears": None}
    made = table(
        row("x 12.tif", error="x 12.tif is cut short: it has 12 bytes"),
        row("y 7.tif", error="y 7.tif is cut short: it has 7 bytes"),
        row("bare", leaf_found=False, **nothing), row("unscaled", **nothing),
        row("twin", same_as="bare", leaf_found=False, **nothing),
    )  # fmt: skip
    found = rank(made)
    names = made["file"].to_pylist()
    told = {words: [names[i] for i in rows] for words, rows in found.not_measurable.items()}
    assert told["the file is cut short: it has … bytes"] == ["x 12.tif", "y 7.tif"]
    assert told[NO_LEAF] == ["bare"] and "unscaled" in str(told)
    assert not any("twin" in group for group in groups_of(found, made))
    assert found.criteria[0].unknown == {NO_LEAF: 1, NOT_WHOLE: 1}
    assert found.criteria[2].unknown == {NO_LEAF: 1, NO_SCALE: 1}
    said = summary(made, found)
    assert said["could_not_be_measured"] == 2 and said["same_as_another"] == 1
    assert sum(said["not_measurable_here"].values()) == 4


def test_only_unusual_warnings_make_a_scan_be_looked_at_again() -> None:
    every = ["The resolution is low (100 dpi): small losses do not hold."]
    made = pa.Table.from_pylist(
        [row(f"p{i}", warnings=every) for i in range(9)]
        + [row("odd", warnings=[*every, "A hair lies across the edge (2.1 cm2)."])], SCHEMA
    )  # fmt: skip
    assert list(rank(made).unusual) == [0] * 9 + [1]


def test_the_page_names_everything_as_text_and_loads_nothing() -> None:
    name = '<b onload="x">&.tif'
    made = table(row(name, loss_pct=9.0), row("=2.tif", error="=2.tif is empty"))
    text = page(made, rank(made), "shelf <3>")
    assert "&lt;b onload=&#34;x&#34;&gt;&amp;.tif" in text and "<b onload" not in text
    assert "shelf &lt;3&gt;" in text and "<script" not in text
    assert not re.search(r"""(?:src|href)=["'](?!survey\.csv)""", text)
    assert "default-src 'none'" in text.replace("&#39;", "'") and "style=" not in text
    assert text.count('role="img"') >= 3


def test_the_page_shows_a_bounded_number_of_bounded_pictures() -> None:
    made = table(*(row(f"first-{i:02d}", loss_pct=9.0 + i) for i in range(20)), plain=600)
    found = rank(made)
    names = pictured(made, found)
    assert len(names) == MOST_PICTURED and {f"first-{i:02d}" for i in range(20)} <= set(names)
    largest = "A" * (4 * -(-MOST_BYTES // 3))
    pictures = dict.fromkeys(names, largest) | {"first-03": largest + "AAAA"}
    text = page(made, found, "many", pictures)
    assert text.count("<img ") == text.count("data:image/webp;base64,A") == len(names) - 1
    assert len(text) < MOST_PICTURED * len(largest) + 400_000
    assert "img-src data:" in text and 'alt="first-' in text
    assert page(made, found, "many").count("<img ") == 0


def test_neither_a_name_nor_a_damaged_picture_breaks_out_of_the_page() -> None:
    name = '" onerror="x'
    made = table(row(name, loss_pct=9.0))
    text = page(made, rank(made), "one", {name: 'AA"><script>x</script>'})
    assert "<script" not in text and 'onerror="' not in text and text.count("<img ") == 1


def test_an_item_says_that_it_has_no_scale_and_what_its_tone_rests_on() -> None:
    made = table(row("a", loss_pct=9.0, scale_source="none", tone_basis="raw", tone_L=50.0))
    text = page(made, rank(made), "one")
    said = summary(made, rank(made))
    assert said["without_a_scale"] == 1 and said["tone_rests_on"] == {"raw": 1}
    assert any(line.startswith("1 without a scale") for line in summary_lines(said))
    assert NO_SCALE_NOTE in text and TONE_RESTS_ON["raw"] in text
    assert TONE_RESTS_ON["strip"] not in text


def test_an_empty_collection_has_a_page_too() -> None:
    made = SCHEMA.empty_table()
    found = rank(made)
    assert "Nothing could be ranked" in page(made, found, "none")
    assert summary(made, found)["files"] == 0 and with_places(made, found).num_rows == 0


def test_of_very_many_only_the_first_are_shown() -> None:
    made = table(plain=3000)
    text = page(made, rank(made), "many")
    assert len(text) < 400_000 and "in survey.csv, treat_group" in text
