"""What people type into boxes: decimal commas, units, "7.9 at 21C", "184.5 x 260".

Every function takes text and gives an exact decimal, or raises :class:`Unreadable` with a
sentence that says what was given and what to write.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

_NUMBER = r"[-+]?\d+(?:[.,]\d+)?|[-+]?[.,]\d+"
_AMOUNT = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s][^\d]*?)?\s*")
_TEMPERATURE = re.compile(
    rf"\s*(?P<number>{_NUMBER})\s*(?:°|º|deg\.?|degrees?)?\s*(?P<scale>[CFK]|celsius|fahrenheit)?\s*",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
_PARTS = re.compile(rf"\s*({_NUMBER})\s*[:+]\s*({_NUMBER})\s*")
_MINUTES = re.compile(
    rf"(?:(?P<h>{_NUMBER})\s*(?:h|hours?)\s*)?(?:(?P<m>{_NUMBER})\s*(?:m|min|minutes?)?\s*)?",
    re.IGNORECASE,
)
_SECONDS = re.compile(
    rf"(?:(?P<m>{_NUMBER})\s*(?:m|min|minutes?)\s*)?(?P<s>{_NUMBER})\s*(?:s|sec|seconds?)",
    re.IGNORECASE,
)
_MIXED = re.compile(r"(?:(\d+)[ -])?(\d+)/(\d+)")
KELVIN_ZERO = Decimal("273.15")
Parser = Callable[[str], Decimal]


class Unreadable(ValueError):
    """Typed text that says no number; the message says what to write."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number as typed: its value, the unit behind it (may be empty), its last digit's step."""

    value: Decimal
    unit: str
    step: Decimal


def number(text: str) -> Decimal:
    """A decimal number with a point or a comma.

    Raises:
        Unreadable: no number, or a comma that could mean thousands.

    >>> number("7,9")
    Decimal('7.9')
    """
    cleaned = text.strip().replace("\u2212", "-").replace("\u00a0", "")
    if _THOUSANDS.fullmatch(cleaned):
        raise Unreadable(
            f"{text.strip()[:60]!r} can be read two ways; write {cleaned.replace(',', '.')} or "
            f"{cleaned.replace(',', '')}"
        )
    if not re.fullmatch(_NUMBER, cleaned):
        raise Unreadable(f"{text.strip()[:60]!r} is not a number; write it as 7.9 or 7,9")
    return Decimal(cleaned.replace(",", "."))


def amount(text: str) -> Amount:
    """A number with the unit typed behind it, if any.

    Raises:
        Unreadable: when the text is not one number with at most one unit.

    >>> amount("12,5 mm")
    Amount(value=Decimal('12.5'), unit='mm', step=Decimal('0.1'))
    """
    match = _AMOUNT.fullmatch(text.replace("\u2212", "-"))
    if match is None:
        raise Unreadable(f"{text.strip()[:60]!r} is not a number with a unit; write it as 12.5 mm")
    value = number(match["number"])
    exponent = value.as_tuple().exponent
    step = Decimal(1).scaleb(int(exponent) if isinstance(exponent, int) else 0)
    return Amount(value, (match["unit"] or "").strip(), step)


def temperature_c(text: str) -> Decimal:
    """A temperature in C from "21", "21 C", "70F" or "294 K"; a bare number is C.

    Raises:
        Unreadable: when it is no temperature.

    >>> temperature_c("70 °F")
    Decimal('21.1')
    """
    match = _TEMPERATURE.fullmatch(text.replace("\u2212", "-"))
    if match is None:
        raise Unreadable(f"{text.strip()[:60]!r} is not a temperature; write it as 21C or 70F")
    value = number(match["number"])
    scale = (match["scale"] or "C")[0].upper()
    if scale == "F":
        return ((value - 32) * 5 / 9).quantize(Decimal("0.1"))
    if scale == "K":
        return value - KELVIN_ZERO
    return value


def minutes(text: str) -> Decimal:
    """Minutes from "20", "20 min", "1 h 30", "1.5 h", "2 hours" or "45 s".

    Raises:
        Unreadable: when it says no time.

    >>> minutes("1 h 30 min"), minutes("1,5 h"), minutes("45 s")
    (Decimal('90'), Decimal('90.0'), Decimal('0.75'))
    """
    cleaned = text.strip()
    brief = _SECONDS.fullmatch(cleaned)
    if brief is not None:
        whole = number(brief["m"]) if brief["m"] else Decimal(0)
        return (whole + number(brief["s"]) / 60).quantize(Decimal("0.0001")).normalize()
    match = _MINUTES.fullmatch(cleaned)
    if not cleaned or match is None:
        raise Unreadable(f"{cleaned[:60]!r} is no time; write minutes as 20, or 1 h 30")
    hours = number(match["h"]) * 60 if match["h"] else Decimal(0)
    return hours + (number(match["m"]) if match["m"] else Decimal(0))


def mixed_number(text: str) -> Decimal:
    """A number that may end in a fraction, as on an inch rule: "10 1/4", "1/8", "10.25".

    Raises:
        Unreadable: when it is no number.

    >>> mixed_number("10 1/4")
    Decimal('10.25')
    """
    match = _MIXED.fullmatch(text.strip())
    if match is None:
        return number(text)
    if int(match[3]) == 0:
        raise Unreadable(f"{text.strip()[:60]!r} divides by nothing; write it as 10 1/4")
    return Decimal(int(match[1] or 0)) + Decimal(int(match[2])) / Decimal(int(match[3]))


def strength(text: str) -> Decimal:
    """Fraction of saturated lime water: "saturated", "0.5", "50 %", or "1:1" (lime water : water).

    Raises:
        Unreadable: when it says no strength.

    >>> strength("1:3")
    Decimal('0.25')
    """
    words = text.strip().lower()
    if words in ("saturated", "sat", "full"):
        return Decimal(1)
    parts = _PARTS.fullmatch(words)
    if parts is not None:
        lime, water = number(parts[1]), number(parts[2])
        if lime <= 0 or water < 0:
            raise Unreadable(f"{text[:60]!r}: parts must be lime water : water, as in 1:1")
        share = Fraction(lime) / (Fraction(lime) + Fraction(water))
        return (
            (Decimal(share.numerator) / Decimal(share.denominator))
            .quantize(Decimal("0.0001"))
            .normalize()
        )
    try:
        if words.endswith(("%", "per cent", "percent")):
            return number(re.sub(r"%|per ?cent", "", words)) / 100
        return number(words)
    except Unreadable as error:
        raise Unreadable(
            f"{text.strip()[:60]!r} is no strength of lime water; write saturated, 0.5, 50% or 1:1 "
            "(lime water : water)"
        ) from error
