"""Contrast of the palette by the formula of WCAG 2.2 (relative luminance, contrast ratio).

Success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for the edges of controls).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import quirewell.web

CSS = (Path(quirewell.web.__file__).parent / "static" / "house.css").read_text()
TEXT = [
    (ink, ground)
    for ink in ("ink", "pencil", "link", "stop", "care", "good")
    for ground in ("bench", "paper", "sheet")
] + [("stop", "stop-wash"), ("care", "care-wash"), ("good", "good-wash"), ("act-ink", "act"),
     ("ink", "stop-wash"), ("ink", "care-wash"), ("ink", "good-wash")]  # fmt: skip
EDGES = [(edge, ground) for edge in ("rule", "focus", "act") for ground in ("bench", "paper")]


def _palette(theme: str) -> dict[str, str]:
    blocks = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", blocks[0]))
    if theme == "dark":
        found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", blocks[1]))
    return found


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_extremes() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_can_be_read(theme: str, ink: str, ground: str) -> None:
    palette = _palette(theme)
    assert contrast(palette[ink], palette[ground]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edges_of_controls_can_be_seen(theme: str, edge: str, ground: str) -> None:
    palette = _palette(theme)
    assert contrast(palette[edge], palette[ground]) >= 3.0
