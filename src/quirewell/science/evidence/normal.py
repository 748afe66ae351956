"""The normal distribution's half width of a 90 % band, in standard uncertainties."""

from __future__ import annotations

# Its 95th percentile.
Z90 = 1.6448536269514722
