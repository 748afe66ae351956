"""Names of inks in plain words, by hue, and which of them are two inks printed over another.

The hue is that of the ink on white, so that black on brown paper is a dark ink and not a brown
one. Densities add where one ink lies on another: an ink whose density is the sum of two others'
is called by both names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear

Array = NDArray[np.float64]
Passes = tuple[float, float, float]

_HUES = (
    (18.0, "pink"), (50.0, "red"), (72.0, "orange"), (108.0, "yellow"), (170.0, "green"),
    (225.0, "blue-green"), (305.0, "blue"), (335.0, "purple"), (361.0, "pink"),
)  # fmt: skip
_GREY_CHROMA = 12.0
_DARK_L = 35.0
_SUM_WITHIN = 0.12
_LEAST_DENSITY = 0.15


@dataclass(frozen=True, slots=True)
class InkName:
    """``name`` in words ("red ink"), and the inks (by index) that lie on each other in it."""

    name: str
    parts: tuple[int, ...] = ()


def hue_word(passes: Passes) -> str:
    """A colour in plain words, from the share of red, green and blue light it lets back."""
    lab = lab_from_linear(np.clip(np.array(passes), 0, 1))
    light, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    hue = float(np.degrees(np.arctan2(lab[2], lab[1])) % 360)
    if chroma < _GREY_CHROMA:
        return "dark" if light < 65 else "grey"
    if light < 12:
        return "dark"
    word = next(name for limit, name in _HUES if hue < limit)
    if word in ("orange", "yellow") and light < 55:
        word = "brown"
    if word == "pink" and light < 55:
        word = "red"
    return f"dark {word}" if light < _DARK_L and word != "brown" else word


def density(passes: Sequence[float] | Array) -> Array:
    """Density -log10 of the share of light let back, per channel."""
    return np.asarray(-np.log10(np.clip(np.asarray(passes, dtype=np.float64), 2e-3, 1.2)))


def name_inks(passes: Sequence[Passes]) -> tuple[InkName, ...]:
    """Names of inks given largest first; a name that comes again is numbered."""
    words = [hue_word(entry) for entry in passes]
    sums = overprints(passes)
    named: list[InkName] = []
    used: dict[str, int] = {}
    for word, parts in zip(words, sums, strict=True):
        name = f"{word} ink"
        if parts:
            over = [words[part] for part in parts]
            name = f"{', '.join(over[:-1])} and {over[-1]} inks together"
        used[name] = used.get(name, 0) + 1
        if used[name] > 1:
            name = f"{name} ({used[name]})"
        named.append(InkName(name, parts))
    return tuple(named)


def overprints(passes: Sequence[Passes]) -> tuple[tuple[int, ...], ...]:
    """For each ink the others whose densities add up to it, empty where it stands alone.

    Inks are tried from the lightest: two inks, each of some density, whose sum lies within 0.12
    or an eighth of the ink's own in every channel. An overprint may be part of another.
    """
    dense = [density(entry) for entry in passes]
    order = sorted(range(len(passes)), key=lambda index: (float(dense[index].sum()), index))
    parts: dict[int, tuple[int, ...]] = {}
    for place, index in enumerate(order):
        best: tuple[float, tuple[int, int]] | None = None
        for one, two in combinations(order[:place], 2):
            off = float(np.abs(dense[one] + dense[two] - dense[index]).max())
            heavy = min(float(dense[one].sum()), float(dense[two].sum())) > _LEAST_DENSITY
            close = off < max(_SUM_WITHIN, float(dense[index].max()) / 8)
            shared = set(parts.get(one, (one,))) & set(parts.get(two, (two,)))
            if heavy and close and not shared and (best is None or off < best[0]):
                best = off, (one, two)
        if best is not None:
            flat = [deep for part in best[1] for deep in parts.get(part, (part,))]
            parts[index] = tuple(sorted(flat))
    return tuple(parts.get(index, ()) for index in range(len(passes)))
