"""Imaging: scale, leaf outline, registration, quality of a scan."""
