"""Staple holes and edges of one sheet as plain numbers, in the sheet's own frame.

The sheet lies flat, outer side up, head away: x in mm from the fold to the right, y in mm from the
head edge at the fold down. Holes are numbered from the head, two to a staple.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

HoleState = Literal["clean", "torn", "rusted", "plugged", "missing"]
STATES: tuple[HoleState, ...] = ("clean", "torn", "rusted", "plugged", "missing")


@dataclass(frozen=True, slots=True)
class HoleAt:
    """One hole [mm]: ``u_mm`` its standard uncertainty on either axis (None: not known),
    ``size_mm`` across (None: not known). Only a missing hole has no x and y."""

    number: int
    x_mm: float | None
    y_mm: float | None
    u_mm: float | None = None
    size_mm: float | None = None
    state: HoleState = "clean"

    def __post_init__(self) -> None:
        if self.number < 1:
            raise ValueError(f"holes are numbered from 1 at the head, got {self.number}")
        if self.state not in STATES:
            raise ValueError(f"a hole is {', '.join(STATES)}, got {self.state!r}")
        if self.state != "missing" and (self.x_mm is None or self.y_mm is None):
            raise ValueError(f"hole {self.number} needs x and y in mm, or the state missing")
        for value in (self.x_mm, self.y_mm, self.u_mm, self.size_mm):
            if value is not None and not math.isfinite(value):
                raise ValueError(f"hole {self.number} holds a number that is not finite")
        if min(self.u_mm or 0.0, self.size_mm or 0.0) < 0:
            raise ValueError(f"u and size of hole {self.number} cannot be negative")

    @property
    def staple(self) -> int:
        """The staple whose leg goes through it, 1 nearest the head."""
        return (self.number + 1) // 2


@dataclass(frozen=True, slots=True)
class Edges:
    """Where a sheet's edges lie [mm]: x of its two reading edges, y of head and tail; None where
    an edge was not measured or is lost."""

    left_mm: float | None = None
    right_mm: float | None = None
    head_mm: float | None = None
    tail_mm: float | None = None

    def __post_init__(self) -> None:
        for value in (self.left_mm, self.right_mm, self.head_mm, self.tail_mm):
            if value is not None and not math.isfinite(value):
                raise ValueError("an edge holds a number that is not finite")
        for low, high, says in (
            (self.left_mm, self.right_mm, "the left reading edge lies left of the right one"),
            (self.head_mm, self.tail_mm, "the head lies above the tail"),
        ):
            if low is not None and high is not None and low >= high:
                raise ValueError(f"{says}: got {low:g} and {high:g} mm")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, "c" (cover) or "w01" (the outermost wrap) and so on, with its holes."""

    name: str
    holes: tuple[HoleAt, ...]
    edges: Edges | None = None

    def __post_init__(self) -> None:
        numbers = [hole.number for hole in self.holes]
        if len(set(numbers)) != len(numbers):
            raise ValueError(f"every hole of {self.name} has a number of its own, got {numbers}")
