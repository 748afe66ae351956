"""Imaging: scale, leaf outline, registration, quality of a scan.

For plain arrays: :func:`match_field`, :func:`ink_mask`, :func:`normals`. They are loaded when
first asked for, because compiled kernels take a moment. No module here bears the name of one
of them: a module once loaded would hide the function.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from quirewell.science.imaging.field_match import match_field
    from quirewell.science.imaging.ink_or_paper import ink_mask
    from quirewell.science.imaging.lambert import normals

__all__ = ["ink_mask", "match_field", "normals"]

_HOMES = {"ink_mask": "ink_or_paper", "match_field": "field_match", "normals": "lambert"}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
