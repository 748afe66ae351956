"""Peak memory of this process, from a fresh start: Linux's own high-water mark.

``ru_maxrss`` would not do: a child process inherits it from its parent.
"""

from __future__ import annotations

from pathlib import Path


def peak_mb() -> float:
    """Most memory held since the last :func:`fresh_peak_mb`, or since the process began [MiB]."""
    lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    return float(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024


def fresh_peak_mb() -> float:
    """Forget the mark; what is held now [MiB]."""
    Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")
    return peak_mb()
