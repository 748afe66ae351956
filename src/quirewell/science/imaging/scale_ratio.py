"""Micrometres a pixel, after over before: what turns pixels into a change of size.

A strip in both pictures measures the ratio (its own length cancels, it need not be known).
One scanner at one setting keeps its scale from scan to scan: that is known beforehand to
about 0.03 % in each direction (from memory) and is averaged in by inverse variance, unless the
strip contradicts it. The strip is paper and breathes as the leaf does, along its grain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from numpy.typing import NDArray

SAME_SETTING_U = 3e-4
OTHER_SETTING_U = 1e-3
OTHER_SCANNER_U = 5e-3
_CONTRADICTION = 3.5
# The strip is 150 mm long and a few high: this much less sure is its short way.
_SHORT_WAY = 3.0


class StripScale(Protocol):
    """What this module needs to know of a strip found in a picture."""

    @property
    def um_per_px_x(self) -> float: ...
    @property
    def um_per_px_y(self) -> float: ...
    @property
    def covariance(self) -> NDArray: ...  # type: ignore[type-arg]


@dataclass(frozen=True, slots=True)
class ScaleRatio:
    """Ratio [-] and its relative standard uncertainty [-], along x and y of the pictures."""

    x: float
    y: float
    u_x: float
    u_y: float
    basis: str
    warnings: tuple[str, ...] = ()


def scale_ratio(
    before: StripScale | None,
    after: StripScale | None,
    dpi_before: float | None,
    dpi_after: float | None,
    *,
    same_scanner: bool = True,
    u_strip_breath: float = 0.0,
) -> ScaleRatio:
    """Best ratio from strips and stated resolutions [dpi].

    ``u_strip_breath`` [-] is what humidity may have done to a paper strip between the scans.
    """
    prior, u_prior, basis = _prior(dpi_before, dpi_after, same_scanner)
    if before is None or after is None:
        missing = "no scale strip in both pictures"
        return ScaleRatio(prior, prior, u_prior, u_prior, f"{basis}, {missing}")
    out = []
    warnings: list[str] = []
    seen = (
        after.um_per_px_x / before.um_per_px_x,
        after.um_per_px_y / before.um_per_px_y,
    )
    fits = [math.sqrt(before.covariance[k, k] + after.covariance[k, k]) for k in (0, 1)]
    strips = [math.hypot(u_fit, u_strip_breath) for u_fit in fits]
    against = [
        abs(ratio / prior - 1) > _CONTRADICTION * math.hypot(u_strip, u_prior)
        for ratio, u_strip in zip(seen, strips, strict=True)
    ]
    for axis, (ratio, u_strip) in enumerate(zip(seen, strips, strict=True)):
        direction = "across" if axis == 0 else "down"
        short = fits[axis] > _SHORT_WAY * fits[1 - axis]
        if against[axis] and short and not against[1 - axis]:
            warnings.append(
                f"The strip says that the two pictures differ in scale by "
                f"{100 * (ratio / prior - 1):+.2f} % {direction} the picture, but it is only a few "
                "millimetres long that way and says nothing of the kind along itself. It was not "
                "believed there, and the difference counts as uncertainty: a sharpened scan, glare "
                "or a bent strip does that."
            )
            out.append((prior, math.hypot(u_prior, abs(ratio - prior))))
        elif against[axis]:
            warnings.append(
                f"The strip says that the two pictures differ in scale by "
                f"{100 * (ratio / prior - 1):+.2f} % {direction} the picture, more than one "
                "scanner does: the strip was believed, not the resolution in the files."
            )
            out.append((ratio, u_strip))
        else:
            out.append(_average(ratio, u_strip, prior, u_prior))
    basis = "scale strip in both pictures, and " + basis
    return ScaleRatio(out[0][0], out[1][0], out[0][1], out[1][1], basis, tuple(warnings))


def _average(one: float, u_one: float, other: float, u_other: float) -> tuple[float, float]:
    first, second = 1 / max(u_one, 1e-9) ** 2, 1 / max(u_other, 1e-9) ** 2
    return (first * one + second * other) / (first + second), math.sqrt(1 / (first + second))


def _prior(before: float | None, after: float | None, same: bool) -> tuple[float, float, str]:
    if not same:
        ratio = before / after if before and after else 1.0
        return ratio, OTHER_SCANNER_U, "two scanners, each held to its stated resolution"
    if not (before and after):
        return 1.0, OTHER_SCANNER_U, "no stated resolution, same setting assumed"
    if abs(before / after - 1) < 0.005:
        return before / after, SAME_SETTING_U, "same scanner and setting assumed"
    return before / after, OTHER_SETTING_U, "same scanner at two settings assumed"
