"""Reader of colour measurement text: CGATS.17, and IT8.7 and ISO 12641 target files, which use it.

A file is lines of words: an identifier, keywords with values, the names of its columns between
BEGIN_DATA_FORMAT and END_DATA_FORMAT, and rows between BEGIN_DATA and END_DATA. Keywords and
comments are free (``iso12641``). Whatever is read is foreign: size, rows, columns and numbers
are bounded, and faults are sentences with the line they stand in.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_CHARACTERS = 4_000_000
_MOST_COLUMNS = 600
_MOST_ROWS = 20_000
_LONGEST_WORD = 400
_WORD = re.compile(r'"([^"]*)"|(\S+)')
_NAMES = ("SAMPLE_ID", "SAMPLE_NAME", "SAMPLE_LOC", "SAMPLEID", "PATCH_ID")
_SPECTRAL = re.compile(r"^(?:SPECTRAL_NM_?|SPECTRAL_|NM_?|R_?)(\d{3}(?:\.\d+)?)$")


class BadColourFile(ValueError):
    """A colour measurement file that cannot be used; a sentence."""


@dataclass(frozen=True, slots=True)
class ColourTable:
    """One table of a file: ``keywords`` in upper case, column names, rows of words."""

    keywords: dict[str, str]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """What each row is called: its name, else its number from 1."""
        for column in _NAMES:
            if column in self.columns:
                index = self.columns.index(column)
                return tuple(row[index] for row in self.rows)
        return tuple(str(number) for number in range(1, len(self.rows) + 1))

    def has(self, *columns: str) -> bool:
        """Whether all these columns are there."""
        return all(column in self.columns for column in columns)

    def numbers(self, *columns: str) -> Array:
        """Columns as numbers (rows, columns).

        Raises
        ------
        BadColourFile
            when a column is missing or holds something that is no finite number
        """
        missing = [column for column in columns if column not in self.columns]
        if missing:
            raise BadColourFile(
                f"the file has no column {missing[0]}; it has {', '.join(self.columns[:12])}"
            )
        places = [self.columns.index(column) for column in columns]
        out = np.empty((len(self.rows), len(columns)))
        for row, words in enumerate(self.rows):
            for column, place in enumerate(places):
                out[row, column] = _number(words[place], columns[column], self.names[row])
        return out

    def lab(self) -> Array | None:
        """CIELAB (rows, 3) as stated; None when the file gives none."""
        names = ("LAB_L", "LAB_A", "LAB_B")
        return self.numbers(*names) if self.has(*names) else None

    def xyz(self) -> Array | None:
        """XYZ (rows, 3) with white near Y = 1; None when the file gives none."""
        names = ("XYZ_X", "XYZ_Y", "XYZ_Z")
        if not self.has(*names):
            return None
        values = self.numbers(*names)
        return values / 100.0 if values.max() > 2.0 else values

    def spectra(self) -> tuple[Array, Array] | None:
        """Wavelengths [nm] (k,) and reflectance [0..1] (rows, k); None when there are none.

        Raises
        ------
        BadColourFile
            when a reflectance is below 0 or far above 1
        """
        found = sorted(
            (float(match.group(1)), column)
            for column in self.columns
            if (match := _SPECTRAL.match(column)) and 300.0 <= float(match.group(1)) <= 900.0
        )
        if len(found) < 8:
            return None
        wavelengths = np.array([nm for nm, _ in found])
        if (np.diff(wavelengths) <= 0).any():
            raise BadColourFile("two columns of the file give the same wavelength")
        values = self.numbers(*(column for _, column in found))
        if float(np.nanmax(values)) > 2.0:
            values = values / 100.0
        if values.min() < -0.02 or values.max() > 2.0:
            raise BadColourFile(
                "reflectances run from 0 to 1 (or 0 to 100 %): the file's run from "
                f"{values.min():.3g} to {values.max():.3g}; are they densities?"
            )
        return wavelengths, np.maximum(values, 0.0)


def _number(word: str, column: str, row: str) -> float:
    try:
        value = float(word.replace(",", "."))
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and abs(value) < 1e6):
        raise BadColourFile(f"column {column} of {row[:40]} must be a number, got {word[:40]!r}")
    return value


def read_cgats(text: str) -> tuple[ColourTable, ...]:
    """All tables of a colour measurement file.

    Raises
    ------
    BadColourFile
        too large, no table in it, or a table that does not keep its own promises
    """
    if len(text) > MOST_CHARACTERS:
        raise BadColourFile(
            f"a colour measurement file has at most {MOST_CHARACTERS // 1_000_000} million "
            f"characters, this one has {len(text)}"
        )
    if "\x00" in text:
        raise BadColourFile("this is no text but a binary file; export the readings as CGATS text")
    reader = _Reader()
    for number, line in enumerate(text.splitlines(), 1):
        reader.line(line, number)
    return reader.done()


class _Reader:
    """Line by line: keywords, then columns, then rows."""

    def __init__(self) -> None:
        self.tables: list[ColourTable] = []
        self.keywords: dict[str, str] = {}
        self.columns: list[str] = []
        self.words: list[str] = []
        self.where = "keywords"

    def line(self, line: str, number: int) -> None:
        words = _words(line, number)
        if not words:
            return
        first = words[0].upper()
        if self.where == "columns":
            self._columns(words, first, number)
        elif self.where == "rows":
            self._rows(words, first, number)
        elif first == "BEGIN_DATA_FORMAT":
            self.where, self.columns = "columns", []
            self._columns(words[1:], (words[1].upper() if words[1:] else ""), number)
        elif first == "BEGIN_DATA":
            if not self.columns:
                raise BadColourFile(f"line {number}: the data begin before their columns are named")
            self.where, self.words = "rows", []
        elif len(self.keywords) < 2000:
            self.keywords[first] = " ".join(words[1:])[:_LONGEST_WORD]

    def _columns(self, words: list[str], first: str, number: int) -> None:
        if first == "END_DATA_FORMAT":
            self.where = "keywords"
            return
        self.columns += [word.upper() for word in words if word.upper() != "END_DATA_FORMAT"]
        if len(self.columns) > _MOST_COLUMNS:
            raise BadColourFile(f"line {number}: more than {_MOST_COLUMNS} columns")
        if words and words[-1].upper() == "END_DATA_FORMAT":
            self.where = "keywords"

    def _rows(self, words: list[str], first: str, number: int) -> None:
        if first == "END_DATA":
            self._table(number)
            self.where = "keywords"
            return
        self.words += words
        if len(self.words) > _MOST_ROWS * len(self.columns):
            raise BadColourFile(f"line {number}: more than {_MOST_ROWS} rows")

    def _table(self, number: int) -> None:
        wide = len(self.columns)
        if len(set(self.columns)) != wide:
            twice = next(name for name in self.columns if self.columns.count(name) > 1)
            raise BadColourFile(f"two columns of the file are called {twice[:40]}")
        if len(self.words) % wide:
            raise BadColourFile(
                f"line {number}: the data hold {len(self.words)} values, which do not fill rows of "
                f"{wide} columns"
            )
        rows = tuple(tuple(self.words[at : at + wide]) for at in range(0, len(self.words), wide))
        stated = self.keywords.get("NUMBER_OF_SETS", "").strip()
        if stated.isdigit() and int(stated) != len(rows):
            raise BadColourFile(
                f"the file says it holds {stated} rows and holds {len(rows)}; it may be cut short"
            )
        self.tables.append(ColourTable(dict(self.keywords), tuple(self.columns), rows))

    def done(self) -> tuple[ColourTable, ...]:
        if self.where == "rows":
            raise BadColourFile("the data have no END_DATA: the file is cut short")
        if self.where == "columns":
            raise BadColourFile("the columns have no END_DATA_FORMAT: the file is cut short")
        if not self.tables or not any(table.rows for table in self.tables):
            raise BadColourFile(
                "no readings were found: a colour measurement file names its columns between "
                "BEGIN_DATA_FORMAT and END_DATA_FORMAT and its rows between BEGIN_DATA and END_DATA"
            )
        return tuple(self.tables)


def _words(line: str, number: int) -> list[str]:
    """Words of a line, quoted ones whole; what follows # outside quotes is a comment."""
    out = []
    for match in _WORD.finditer(line.lstrip("\ufeff")):
        quoted, plain = match.groups()
        if quoted is None and plain.startswith("#"):
            break
        word = quoted if quoted is not None else plain
        if len(word) > _LONGEST_WORD:
            raise BadColourFile(f"line {number}: a word of {len(word)} characters")
        out.append(word)
    return out
