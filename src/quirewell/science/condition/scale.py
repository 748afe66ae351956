"""The scale: ten points with the trade's general words, or a user's own steps and words."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from quirewell.science.condition.rules import TOP


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the scale: from ``value`` on it is called ``words``."""

    value: float
    words: str


@dataclass(frozen=True)
class Scale:
    """Steps from the lowest up.

    Raises:
        ValueError: fewer than two, off the ten points, twice the same, or not in order.
    """

    steps: tuple[Step, ...]

    def __post_init__(self) -> None:
        values = [step.value for step in self.steps]
        if len(values) < 2:
            raise ValueError(f"a scale has at least two steps, got {len(values)}")
        for value in values:
            if not 0 <= value <= TOP:
                raise ValueError(f"a step lies between 0 and 10, got {value:g}")
        for low, high in pairwise(values):
            if high <= low:
                raise ValueError(f"steps go up from the lowest; {high:g} stands behind {low:g}")

    def index(self, value: float) -> int:
        """Number of the step a value falls on: the next one down, the lowest for all below it."""
        # A sum of decimals may end a hair below its step: 10 - 0.7 - 0.3 is 9.
        return max(0, sum(step.value <= value + 1e-9 for step in self.steps) - 1)

    def middle(self, value: float) -> float:
        """Middle of the step a value falls on: what a grade that came back says of the raw value.

        >>> TRADE.middle(6.0)
        6.25
        """
        index = self.index(value)
        upper = self.steps[index + 1].value if index + 1 < len(self.steps) else TOP
        return (self.steps[index].value + upper) / 2

    def floor(self, value: float) -> Step:
        """The step a value falls on.

        >>> TRADE.floor(6.25)
        Step(value=6.0, words='fine')
        """
        return self.steps[self.index(value)]


# The trade's ten points with its general words (common practice, no source); half steps, two fifths
# above 9 and one between 1.5 and 2.
TRADE = Scale(
    tuple(
        Step(value, words)
        for value, words in (
            (0.5, "poor"), (1.0, "fair"), (1.5, "fair to good"), (1.8, "just below good"),
            (2.0, "good"), (2.5, "better than good"), (3.0, "good to very good"),
            (3.5, "just below very good"), (4.0, "very good"), (4.5, "better than very good"),
            (5.0, "very good to fine"), (5.5, "just below fine"), (6.0, "fine"),
            (6.5, "better than fine"), (7.0, "fine to very fine"), (7.5, "just below very fine"),
            (8.0, "very fine"), (8.5, "better than very fine"), (9.0, "very fine to as new"),
            (9.2, "just below as new"), (9.4, "nearly as new"), (9.6, "as new but for one fault"),
            (9.8, "as new but for a trace"), (9.9, "all but as new"), (10.0, "as new"),
        )
    )
)  # fmt: skip
