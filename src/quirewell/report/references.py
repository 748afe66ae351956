"""Sources in words, from the bibliography that travels with the program."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any

_ENTRY = re.compile(r"@(\w+)\{([^,\s]+),(.*?)\n\}", re.DOTALL)
_FIELD = re.compile(r"(\w+)\s*=\s*\{((?:[^{}]|\{(?:[^{}]|\{[^{}]*\})*\})*)\}")
_ACCENTS = {
    r"\'": "\u0301", r"\`": "\u0300", r'\"': "\u0308", r"\^": "\u0302", r"\~": "\u0303",
    r"\v": "\u030c", r"\c": "\u0327",
}  # fmt: skip


def bibliography_file() -> Path:
    """Where the bibliography lies: inside the installed package, or at the root of the tree."""
    here = Path(__file__).resolve()
    packed = here.parents[1] / "references.bib"
    return packed if packed.is_file() else here.parents[3] / "references.bib"


@lru_cache(maxsize=1)
def bibliography() -> dict[str, dict[str, str]]:
    """Every entry by key: its fields as plain text."""
    path = bibliography_file()
    if not path.is_file():
        return {}
    found = {}
    for _, key, body in _ENTRY.findall(path.read_text(encoding="utf-8")):
        found[key] = {name.lower(): plain(text) for name, text in _FIELD.findall(body)}
    return found


def plain(text: str) -> str:
    r"""Plain text of a field: accents composed, braces gone.

    >>> plain(r"Bukovsk{\'y}, Vladimir")
    'Bukovský, Vladimir'
    """
    import unicodedata

    for command, mark in _ACCENTS.items():
        text = re.sub(re.escape(command) + r"\{?(\w)\}?", rf"\1{mark}", text)
    text = re.sub(r"\\([&%_#$])", r"\1", text)
    text = re.sub(r"[{}]", "", text).replace("--", "–").replace("~", " ")
    return unicodedata.normalize("NFC", " ".join(text.split()))


MISSING = "this source is not in the bibliography"


def reference_row(key: str) -> dict[str, Any]:
    """A source in parts, so that its fixed words can be said in another tongue and its names and
    title stay as printed: ``authors`` (``others`` when there are more), ``dated``, ``work`` (title
    and where it stands), and ``note`` (how far it was read)."""
    fields = bibliography().get(key)
    if fields is None:
        return {"source": key, "authors": [], "others": False, "dated": "", "work": "",
                "note": MISSING}  # fmt: skip
    names = _names(fields.get("author", "")) or [*filter(None, [fields.get("institution", "")])]
    shown = [name for name in (names[:1] if len(names) > 3 else names) if name != "others"]
    return {
        "source": key, "authors": shown, "others": shown != names,
        "dated": fields.get("year", ""), "work": _work(fields), "note": fields.get("note", ""),
    }  # fmt: skip


def reference_words(key: str) -> str:
    """A source as one line, or a plain statement that its entry is missing."""
    fields = bibliography().get(key)
    if fields is None:
        return MISSING
    parts = (
        _who_and_when(fields),
        _work(fields),
        f"[{fields['note']}]" if fields.get("note") else "",
    )
    return ". ".join(part for part in parts if part)


def _work(fields: dict[str, str]) -> str:
    """Title and where it stands, as printed."""
    kinds = ("journal", "booktitle", "publisher", "organization", "howpublished")
    where = next((fields[kind] for kind in kinds if fields.get(kind)), "")
    volume = fields.get("volume", "")
    if volume and fields.get("number"):
        volume += f"({fields['number']})"
    place = " ".join(part for part in (where, volume) if part)
    if fields.get("pages"):
        place += f", {fields['pages']}"
    doi = f"doi:{fields['doi']}" if fields.get("doi") else ""
    return ". ".join(part for part in (fields.get("title", ""), place, doi) if part)


def reference_short(key: str) -> str:
    """Who and when, for a line of text: "Bukovský (2001)"; the key itself where unknown."""
    fields = bibliography().get(key)
    return key if fields is None else _who_and_when(fields) or fields.get("title", key)


def _who_and_when(fields: dict[str, str]) -> str:
    who = _people(fields.get("author", "")) or fields.get("institution", "")
    year = fields.get("year", "")
    return f"{who} ({year})".strip() if who and year else who or year


def _people(authors: str) -> str:
    names = _names(authors)
    if len(names) > 3:
        return f"{names[0]} and others"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _names(authors: str) -> list[str]:
    return [name.split(",")[0].strip() for name in authors.split(" and ") if name.strip()]
