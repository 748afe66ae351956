"""The test client of Starlette, without its remark about which HTTP library it found."""

from __future__ import annotations

import warnings

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

__all__ = ["TestClient"]
