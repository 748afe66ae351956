"""Cells of a table of sales: money with its sign, grades with words, dates in several orders.

Which way decimals and dates are written is told from the whole column, and asked for in a sentence
where the column could be read two ways; never guessed from one cell.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quirewell.stages.typed import Unreadable

# A sign names one currency, or several that share it: then it stays the sign.
SIGNS = {"€": "EUR", "£": "GBP", "$": "$", "¥": "¥"}
_MONEY = re.compile(
    r"(?P<minus>[-(])?\s*(?P<before>[^\d\s.,()'-][^\d.,()'-]*?)?\s*(?P<minus2>-)?\s*"
    r"(?P<number>\d[\d .,'\u00a0\u202f]*)(?P<after>[^\d]*?)\s*\)?"
)
_MOST_DIGITS = 15
_ONE_NUMBER = re.compile(r"\D*?(\d+(?:[.,]\d+)?)\D*")
_PARTS = re.compile(r"(\d{1,4})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{1,4})(?:[ T].*)?")
_WORDED = re.compile(
    r"(?:(?P<d1>\d{1,2})\.?\s+)?(?P<month>[A-Za-z]{3,9})\.?\s+(?:(?P<d2>\d{1,2}),?\s+)?"
    r"(?P<year>\d{4})"
)
_MONTH_ONLY = re.compile(r"(\d{4})-(\d{1,2})|(\d{1,2})/(\d{4})")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True, slots=True)
class Money:
    """An amount and the currency its cell names (empty where it names none)."""

    value: Decimal
    currency: str


def decimal_sign(cells: Sequence[str]) -> str:
    """Which sign parts decimals in a column: "," or "."; empty where the column could be either.

    >>> decimal_sign(["1.250,00", "80"]), decimal_sign(["12.50"]), decimal_sign(["1,250"])
    (',', '.', '')
    """
    votes = set()
    unsure = False
    for cell in cells:
        text = re.sub(r"[^\d.,]", "", cell).strip(".,")
        marks = re.findall(r"[.,]", text)
        if not marks:
            continue
        if len(set(marks)) == 2:
            votes.add(marks[-1])
        elif len(marks) > 1:
            votes.add("." if marks[0] == "," else ",")
        elif len(text) - text.index(marks[0]) - 1 != 3 or not 1 <= text.index(marks[0]) <= 3:
            votes.add(marks[0])
        else:
            unsure = True
    if len(votes) > 1:
        raise Unreadable(
            "some amounts have a decimal point and some a decimal comma; write all one way"
        )
    return next(iter(votes), "" if unsure else ".")


def money(cell: str, decimal: str) -> Money:
    """An amount such as "£12.50", "1.250,00 EUR", "(3.20)" or "80".

    Raises:
        Unreadable: no amount, or one that could be read two ways.

    >>> money("1 250,50 €", ",")
    Money(value=Decimal('1250.50'), currency='EUR')
    """
    text = cell.strip().replace("\u2212", "-")
    match = _MONEY.fullmatch(text)
    if match is None:
        raise Unreadable(f"{text[:40]!r} is no amount of money; write it as 12.50")
    digits = re.sub(r"[\s'\u00a0\u202f]", "", match["number"]).rstrip(".,")
    marks = re.findall(r"[.,]", digits)
    if marks and not decimal:
        raise Unreadable(
            f"{text[:40]!r} can be read two ways; say whether decimals have a point or a comma "
            "(--decimal point, or --decimal comma)"
        )
    thousands = "." if decimal == "," else ","
    whole, _, rest = digits.partition(decimal) if decimal else (digits, "", "")
    if not re.fullmatch(rf"\d+|\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+", whole) or not (
        rest == "" or rest.isdecimal()
    ):
        raise Unreadable(f"{text[:40]!r} is no amount with a decimal {_name(decimal)}")
    bare = whole.replace(thousands, "")
    if len(rest) == 3:  # a thousand times too little is too dear a slip to pass
        raise Unreadable(
            f"{text[:40]!r} has three decimals; write {bare}.{rest[:2]} or {bare}{rest}"
        )
    bare = f"{bare}.{rest}" if rest else bare
    if len(whole) > _MOST_DIGITS:
        raise Unreadable(f"{text[:40]!r} is more than any price here; write it as 12.50")
    sign = -1 if match["minus"] or match["minus2"] else 1
    named = (match["before"] or match["after"] or "").strip()
    return Money(sign * Decimal(bare), currency(named.lstrip("-")))


def _name(decimal: str) -> str:
    return "comma" if decimal == "," else "point"


def currency(text: str) -> str:
    """A currency as it is compared: a sign by its code, a code in capitals, else plain words.

    >>> currency("eur"), currency("£"), currency("Crowns")
    ('EUR', 'GBP', 'crowns')
    """
    word = text.strip().strip(".")
    if word in SIGNS:
        return SIGNS[word]
    return word.upper() if re.fullmatch(r"[A-Za-z]{3}", word) else word.lower()


def agree(sign: str, column: str) -> bool:
    """Whether a cell's own currency can be the column's: a shared sign fits any of its codes."""
    shared = {"$": "D", "¥": "Y"}
    return not sign or sign == column or (sign in shared and column[-1:] == shared[sign])


def grade(cell: str) -> Decimal:
    """A grade with or without words: "4.0", "4,5", "4.0, very good".

    Raises:
        Unreadable: no number, or more than one.

    >>> grade("4.0, very good")
    Decimal('4.0')
    """
    match = _ONE_NUMBER.fullmatch(cell.strip())
    if match is None or cell.strip().startswith("-"):
        raise Unreadable(f"{cell.strip()[:40]!r} is no grade; write one number of 0 to 10")
    return Decimal(match[1].replace(",", "."))


def day_order(cells: Sequence[str]) -> str:
    """How dates in numbers are written in a column: "ymd", "dmy", "mdy"; empty: could be both.

    Raises:
        Unreadable: dates of two kinds.
    """
    parts = [m for m in (_PARTS.fullmatch(cell.strip()) for cell in cells) if m]
    late = [m for m in parts if len(m[1]) != 4]
    first = max((int(m[1]) for m in late), default=0)
    second = max((int(m[2]) for m in late), default=0)
    if first > 12 and second > 12:
        raise Unreadable("dates are of two kinds; write them all as 2026-03-31")
    if not late:
        return "ymd"
    dotted = all("." in m[0] for m in late)
    if first > 12 or (dotted and second <= 12):  # a date with points has its day first
        return "dmy"
    return "mdy" if second > 12 else ""


def day(cell: str, order: str) -> date:
    """A date: "2026-03-31", "31.3.2026", "3/31/26", "31 March 2026", "March 2026", "2026".

    A month or a year alone is taken in its middle.

    Raises:
        Unreadable: no date, or one that could be read two ways.
    """
    text = cell.strip()
    try:
        match = _PARTS.fullmatch(text)
        if match is not None:
            return _by_order(text, match, order)
        worded = _WORDED.fullmatch(text)
        if worded is not None and worded["month"][:3].lower() in _MONTHS:
            month = _MONTHS.index(worded["month"][:3].lower()) + 1
            return date(int(worded["year"]), month, int(worded["d1"] or worded["d2"] or 15))
        alone = _MONTH_ONLY.fullmatch(text)
        if alone is not None:
            return date(int(alone[1] or alone[4]), int(alone[2] or alone[3]), 15)
        if re.fullmatch(r"(1[89]|20)\d\d", text):
            return date(int(text), 7, 1)
    except ValueError as error:
        if isinstance(error, Unreadable):
            raise
    raise Unreadable(f"{text[:40]!r} is no date; write it as 2026-03-31, or leave it empty")


def _by_order(text: str, match: re.Match[str], order: str) -> date:
    one, two, three = int(match[1]), int(match[2]), int(match[3])
    if len(match[1]) == 4:
        return date(one, two, three)
    if order not in ("dmy", "mdy"):
        raise Unreadable(
            f"is {text[:40]!r} day first or month first? Say which (--day-first or --month-first)"
        )
    year = three if len(match[3]) == 4 else 2000 + three
    return date(year, two, one) if order == "dmy" else date(year, one, two)
