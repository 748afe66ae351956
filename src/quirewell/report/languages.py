"""The language of a report: English as written, and room for any other.

A language is a TOML file that says each English text in another tongue. Numbers stand as ``{}`` in
both, in the same order or as ``{1}``, ``{2}``; what the file does not hold stays English. A
report's own texts can be written out as such a file, to be filled.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.report.references import bibliography
from quirewell.stages.results import Shown

MOST_BYTES, MOST_TEXT = 2 << 20, 2000
_NUMBER = re.compile(r"[+\u2212-]?\d+(?:[.,]\d+)*")
# What a template says itself: t("..."), and the heads of its tables and cards.
_LITERAL = re.compile(r'\bt\("([^"\\]*)"\)|"([A-Z][^"\\]*)"(?=[,)])')
_FONTS = frozenset(("Libertinus Serif", "New Computer Modern"))
_FILE = re.compile(r"[\w.-]+\.(?:svg|jpg|png)")
_SLOT = re.compile(r"\{(\d*)\}")
_TAG = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")


class NoLanguage(ValueError):
    """A file of words that cannot be taken; the message says what and where."""


@dataclass(frozen=True, slots=True)
class Words:
    """A language: its tag (BCP 47) and what each English text is in it."""

    tag: str = "en"
    said: Mapping[str, str] = field(default_factory=dict)

    def say(self, text: str) -> str:
        """A text in this language; as it is where the language has no word for it."""
        if not self.said or not text or is_name(text):
            return text
        found = self.said.get(text)
        if found is not None and "{" not in found:
            return found
        found = found or self.said.get(slots(text))
        return text if not found else _filled(found, _NUMBER.findall(text))


ENGLISH = Words()


def is_name(text: str) -> bool:
    """Whether a text only names things: a file, or keys of the bibliography.

    >>> is_name("photo-1.jpg"), is_name("bates1956, nist46"), is_name("Bates")
    (True, True, False)
    """
    known = bibliography()
    return bool(_FILE.fullmatch(text)) or all(one in known for one in text.split(", "))


def slots(text: str) -> str:
    """A text with its numbers taken out.

    >>> slots("The full record has 3 more.")
    'The full record has {} more.'
    """
    return _NUMBER.sub("{}", text)


def _filled(pattern: str, numbers: list[str]) -> str:
    """A pattern with its numbers put back: in order, or by their place ({1} the first)."""
    waiting = iter(numbers)

    def one(match: re.Match[str]) -> str:
        if not match[1]:
            return next(waiting, "")
        at = int(match[1])
        return numbers[at - 1] if 1 <= at <= len(numbers) else ""

    return _SLOT.sub(one, pattern)


def read_words(path: Path) -> Words:
    """A language out of a file: ``language = "de"`` and a table ``[words]``.

    Raises:
        NoLanguage: no such file, too large, no TOML, or an entry that is no text.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise NoLanguage(
                f"{path.name} is larger than {MOST_BYTES >> 20} MB; that is no language"
            )
        data = toml_data(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise NoLanguage(f"{path}: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise NoLanguage(f"{path.name} is no text (UTF-8); save it as such") from error
    except BadData as error:
        raise NoLanguage(f"{path.name} cannot be read: {error}") from error
    tag = str(data.get("language", ""))
    if not _TAG.fullmatch(tag):
        raise NoLanguage(
            f'{path.name} must say its language, as in language = "de"; got {tag[:40]!r}'
        )
    rows = data.get("words", {})
    if not isinstance(rows, dict):
        raise NoLanguage(f"{path.name} needs a table [words] of English text = text")
    said = {}
    for english, text in rows.items():
        if not isinstance(text, str) or len(text) > MOST_TEXT:
            raise NoLanguage(f"{path.name}: what stands for {english[:60]!r} is no text")
        if text:
            said[english] = text
    return Words(tag, said)


def texts_of(content: Any, leave: Iterable[str] = ()) -> list[str]:
    """Every text of a content once, numbers taken out, in the order it stands; keys in ``leave``
    are no words."""
    skip = frozenset(leave)
    found: dict[str, None] = {}

    def walk(value: Any) -> None:
        if isinstance(value, Shown):
            walk(value.text)
        elif isinstance(value, str):
            text = slots(value).strip()
            if not is_name(value) and re.search(r"[^\W\d_]", text.replace("{}", "")):
                found[text] = None
        elif isinstance(value, dict):
            for key, one in value.items():
                if key not in skip:
                    walk(one)
        elif isinstance(value, (list, tuple)):
            for one in value:
                walk(one)

    walk(content)
    return list(found)


def fixed_texts(*templates: str) -> list[str]:
    """The texts that templates hold themselves, each once: headings, heads of tables, sentences."""
    source = resources.files("quirewell.report").joinpath("templates")
    found: dict[str, None] = {}
    for name in templates:
        for pair in _LITERAL.findall(source.joinpath(name).read_text(encoding="utf-8")):
            if (text := "".join(pair)) not in _FONTS:
                found[text] = None
    return list(found)


def as_file(texts: Iterable[str], tag: str = "xx") -> str:
    """A file of words to be filled: each English text, with nothing said for it yet."""
    lines = [
        "# What each English text of the report is in another language; {} is a number.",
        f'language = "{tag}"', "", "[words]",
    ]  # fmt: skip
    return "\n".join([*lines, *(f'{_quoted(text)} = ""' for text in texts)]) + "\n"


def _quoted(text: str) -> str:
    signs = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return (
        '"'
        + "".join(
            signs.get(one) or (f"\\u{ord(one):04x}" if ord(one) < 32 or ord(one) == 127 else one)
            for one in text
        )
        + '"'
    )
