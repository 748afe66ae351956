"""Money, days and words as they are typed into the forms about clients, and money as it is shown.

Amounts are exact decimals to the hundredth of the currency beside them.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from quirewell.record.dealing import check_day, check_money
from quirewell.science.planning.bill import HUNDREDTH
from quirewell.stages import typed
from quirewell.stages.refusal import no
from quirewell.stages.sale_cells import currency

Form = Mapping[str, str]
MOST_LINE, MOST_WORDS = 200, 4000


def money(amount: Decimal | None, unit: str) -> str:
    """An amount as shown, its parts held together by spaces that do not break; nothing for none.

    >>> money(Decimal("1234.5"), "GBP").split("\\xa0")
    ['1', '234.50', 'GBP']
    """
    if amount is None:
        return ""
    text = f"{amount.quantize(HUNDREDTH):,}".replace(",", "\u00a0")
    return f"{text}\u00a0{unit}".strip()


def amount_in(form: Form, name: str, what: str, *, most: Decimal | None = None) -> Decimal | None:
    """The amount typed in a field, to the hundredth; None where it was left empty.

    Raises:
        Refusal: no number, below nothing, too large, or finer than a hundredth.
    """
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        amount = typed.number(text)
        check_money(amount, what)
    except ValueError as error:
        raise no(form, name, sentence(str(error))) from error
    if most is not None and amount > most:
        raise no(form, name, sentence(f"{what} is {most} at most, got {amount}"))
    if amount != amount.quantize(HUNDREDTH):
        says = f"{what} is written to the hundredth, as {amount.quantize(HUNDREDTH)}; got {text}"
        raise no(form, name, sentence(says))
    return amount


def day_in(form: Form, name: str, what: str) -> str:
    """The day typed in a field, as 2026-03-31; empty where it was left empty.

    Raises:
        Refusal: no day.
    """
    text = form.get(name, "").strip()
    try:
        check_day(text, what)
    except ValueError as error:
        raise no(form, name, sentence(str(error))) from error
    return date.fromisoformat(text).isoformat() if text else ""


def currency_in(form: Form, name: str = "currency", otherwise: str = "") -> str:
    """The currency typed in a field, a sign by its code; ``otherwise`` where it was left empty.

    Raises:
        Refusal: longer than a currency's name is, or with digits in it.
    """
    text = form.get(name, "").strip() or otherwise
    if len(text) > 20 or any(sign.isdigit() for sign in text):
        raise no(form, name, "Write the currency as a code or a word, as GBP, EUR or crowns.")
    return currency(text) if text else ""


def line_in(form: Form, name: str, what: str, most: int = MOST_LINE) -> str:
    """One line of words typed in a field.

    Raises:
        Refusal: longer than a line is.
    """
    text = " ".join(form.get(name, "").split())
    if len(text) > most:
        says = f"{what} is {len(text)} signs long; a line holds {most}. The rest can go in a note."
        raise no(form, name, sentence(says))
    return text


def words_in(form: Form, name: str, what: str) -> str:
    """Words typed in a larger field, line ends kept.

    Raises:
        Refusal: longer than a paper holds.
    """
    text = form.get(name, "").replace("\r\n", "\n").strip()
    if len(text) > MOST_WORDS:
        raise no(form, name, sentence(f"{what} is {len(text)} signs long; {MOST_WORDS} are kept"))
    return text


def sentence(says: str) -> str:
    """A fault as a sentence: a capital at its head, one full stop at its end."""
    return f"{says[:1].upper()}{says[1:]}".rstrip(".") + "."
