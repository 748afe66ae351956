"""What goes into a lime-water bath, and the sentences said when it cannot be so."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quirewell.science.bath.solution import HIGH_C, LOW_C

LOW_L, HIGH_L = 0.1, 40.0
LOW_STRENGTH = 0.01
LOW_PICKUP, HIGH_PICKUP = 0.3, 6.0


class RecipeError(ValueError):
    """A bath that cannot be mixed: ``problems`` holds (field, sentence) pairs."""

    def __init__(self, problems: tuple[tuple[str, str], ...]) -> None:
        self.problems = problems
        super().__init__(" ".join(says for _, says in problems))


@dataclass(frozen=True, slots=True)
class Recipe:
    """A bath to be mixed.

    ``strength`` is the fraction of saturated lime water at ``temperature_c`` (1 = saturated);
    ``leaf`` says how a leaf leaves the bath where its ``pickup_g_per_g`` was not weighed.

    Raises:
        RecipeError: listing every problem at once.
    """

    strength: float = 1.0
    temperature_c: float = 20.0
    litres: float = 1.0
    leaf: Literal["blotted", "drained"] = "blotted"
    pickup_g_per_g: float | None = None
    pickup_u_g_per_g: float | None = None
    temperature_u_c: float = 0.5

    def __post_init__(self) -> None:
        found = {
            "strength": _strength(self.strength),
            "temperature_c": _temperature(self.temperature_c),
            "litres": _litres(self.litres),
            "pickup_g_per_g": _pickup(self.pickup_g_per_g),
            "pickup_u_g_per_g": _spread(self.pickup_u_g_per_g, self.pickup_g_per_g),
            "temperature_u_c": _thermometer(self.temperature_u_c),
            "leaf": _leaf(self.leaf),
        }
        problems = tuple((field, says) for field, says in found.items() if says)
        if problems:
            raise RecipeError(problems)


def _strength(value: float) -> str:
    if math.isfinite(value) and LOW_STRENGTH <= value <= 1:
        return ""
    says = (
        f"strength must be between {LOW_STRENGTH:g} and 1 (1 is saturated lime water, "
        f"0.5 is one part with one part of water), got {value:g}"
    )
    if 2 <= value <= 100:
        return f"{says}; was it a per cent? Write {value:g}%."
    if value > 1:
        return f"{says} ({100 * value:g} %); water holds no more than saturation."
    if 0 < value < LOW_STRENGTH:
        return f"{says}; so thin a bath is governed by the carbon dioxide of the air."
    return f"{says}."


def _temperature(value: float) -> str:
    if math.isfinite(value) and LOW_C <= value <= HIGH_C:
        return ""
    says = f"bath temperature must be between {LOW_C:g} and {HIGH_C:g} °C, got {value:g} °C"
    if 273.15 <= value <= 313.15:
        return f"{says}; was it typed in kelvin? {value:g} K is {value - 273.15:.1f} °C."
    if HIGH_C < value <= 104:
        return (
            f"{says}; was it typed in Fahrenheit? {value:g} °F is {(value - 32) / 1.8:.1f} °C, "
            f"written {value:g}F."
        )
    return f"{says}."


def _litres(value: float) -> str:
    if math.isfinite(value) and LOW_L <= value <= HIGH_L:
        return ""
    says = f"bath volume must be between {LOW_L:g} and {HIGH_L:g} L, got {value:g} L"
    if HIGH_L < value <= HIGH_L * 1000:
        return f"{says}; was it typed in mL? {value:g} mL is {value / 1000:g} L."
    return f"{says}."


def _pickup(value: float | None) -> str:
    if value is None or (math.isfinite(value) and LOW_PICKUP <= value <= HIGH_PICKUP):
        return ""
    return (
        f"pick-up is grams of water held by one gram of dry paper, between {LOW_PICKUP:g} and "
        f"{HIGH_PICKUP:g} g/g, got {value:g}; it is (wet mass - dry mass) / dry mass."
    )


def _spread(u: float | None, pickup: float | None) -> str:
    if u is None:
        return ""
    if pickup is None:
        return "an uncertainty of the pick-up needs the pick-up it belongs to."
    if math.isfinite(u) and 0 < u < pickup:
        return ""
    return f"the uncertainty of the pick-up must be above 0 and below {pickup:g} g/g, got {u:g}."


def _thermometer(u: float) -> str:
    if math.isfinite(u) and 0.01 <= u <= 5:
        return ""
    return f"the thermometer's uncertainty must be between 0.01 and 5 °C, got {u:g} °C."


def _leaf(leaf: str) -> str:
    if leaf in ("blotted", "drained"):
        return ""
    return f"a leaf leaves the bath blotted or drained, got {leaf!r}."
