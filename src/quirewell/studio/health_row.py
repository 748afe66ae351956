"""One line of what a look at a studio finds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = Literal["fine", "look", "wrong"]
ORDER: tuple[Level, ...] = ("fine", "look", "wrong")


@dataclass(frozen=True, slots=True)
class Row:
    """``code`` is for scripts, ``what`` was looked at; ``says`` what is, ``advice`` what to do."""

    code: str
    what: str
    level: Level
    says: str
    advice: str = ""


def fine(code: str, what: str, says: str, advice: str = "") -> Row:
    """Nothing to do."""
    return Row(code, what, "fine", _ended(says), _ended(advice))


def look(code: str, what: str, says: str, advice: str) -> Row:
    """Not as it should be, and no harm yet."""
    return Row(code, what, "look", _ended(says), _ended(advice))


def wrong(code: str, what: str, says: str, advice: str = "") -> Row:
    """Harm, or harm to come."""
    return Row(code, what, "wrong", _ended(says), _ended(advice))


def _ended(text: str) -> str:
    return f"{text.rstrip('.')}." if text and not text.endswith(("?", ")")) else text
