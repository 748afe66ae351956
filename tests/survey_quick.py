"""A task in place of the measuring one: a row in no time, by the file's bytes alone."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def measure(path: str, sha256: str, params: Mapping[str, str]) -> dict[str, Any]:
    data = Path(path).read_bytes()
    if data == b"bad":
        raise ValueError(f"{Path(path).name} is cut short")
    tone = float(data) if data.isdigit() else float(len(data))
    seen = [f"seen {tone}", *(f"panel {params[name]}" for name in params if name == "panel")]
    picture = base64.b64encode(b"picture " + data).decode("ascii")
    return {
        "tone_L": tone, "tone_a": -1.5, "leaf_found": True, "warnings": seen, "picture": picture
    }  # fmt: skip
