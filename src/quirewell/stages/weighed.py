"""One option weighed, and which of them is best for an aim."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from quirewell.science.planning.weigh import Array, Option
from quirewell.science.planning.weigh_risk import Risk
from quirewell.stages.option_ethics import EthicsRule
from quirewell.stages.options_table import OptionRow

AIMS = ("gain", "permanence", "both")
GAINS = ("price afterwards, on average", "worth now", "told treatment takes",
         "a mishap takes, on average", "fee of the sale, on what is gained")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Life:
    """A ratio of lives with its 90 % band, where it has one."""

    value: float
    low90: float | None
    high90: float | None


@dataclass(frozen=True, slots=True)
class Weighed:
    """An option with its chances by step, its lines (money, rounded one by one), its risk (None
    where no price is known), its ratio of lives and the rules that speak of it; ``graded`` says
    whether a grade is known at all."""

    row: OptionRow
    option: Option
    grades: Array
    chances: Array
    lines: tuple[tuple[str, Decimal], ...]
    risk: Risk | None
    life: Life | None
    rules: tuple[EthicsRule, ...]
    graded: bool = True

    @property
    def gain(self) -> Decimal:
        """Mean gain over leaving it alone: the sum of its lines."""
        return sum((amount for _, amount in self.lines), Decimal(0))

    @property
    def cost(self) -> Decimal:
        """What it costs: the lines that are no part of a price."""
        return sum((-amount for name, amount in self.lines if name not in GAINS), Decimal(0))

    @property
    def barred(self) -> bool:
        """Whether it harms the object for gain."""
        return any(rule.bars for rule in self.rules)

    @property
    def harm(self) -> float:
        """Share of it that a mishap takes on average, and how much cannot be taken back."""
        return self.row.mishap.mean * self.row.loses.mean

    def score(self, caution: float) -> float:
        """Mean gain less so much of the mean loss."""
        return float(self.gain) - caution * (self.risk.shortfall if self.risk else 0.0)


@dataclass(frozen=True, slots=True)
class Verdict:
    """The best option for an aim; ``next`` the best of the others that may be named; ``barred``
    those that would have been best but harm the object."""

    best: Weighed
    next: Weighed | None
    barred: tuple[Weighed, ...]
    aim: str


def choose(every: Sequence[Weighed], aim: str, caution: float) -> Verdict:
    """The best option; leaving alone where two are alike."""
    priced = any(one.risk is not None for one in every)

    def money(one: Weighed) -> tuple[float, ...]:
        kept = one.row.kind == "leave"
        return (one.score(caution) if priced else float(kept), float(kept), -one.harm)

    def lasting(one: Weighed) -> tuple[float, ...]:
        # A longer life counts where its band says so; then the least harm.
        life = 1.0 if one.life is None else one.life.value
        sure = one.life is not None and (one.life.low90 is None or one.life.low90 > 1)
        return (life if sure else min(life, 1.0), -one.harm, -float(len(one.row.gone)))

    def both(one: Weighed) -> tuple[float, ...]:
        return (float(one.score(caution) >= 0 or not priced), *lasting(one), one.score(caution))

    key = {"gain": money, "permanence": lasting, "both": both}[aim]
    ranked = sorted(every, key=key, reverse=True)
    able = [one for one in ranked if not one.barred]
    best = able[0]
    barred = tuple(one for one in ranked[: ranked.index(best)] if one.barred)
    return Verdict(best, able[1] if len(able) > 1 else None, barred, aim)
