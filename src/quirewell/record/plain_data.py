"""Plain data out of text from outside, TOML or JSON: data, or a sentence.

The readers of the standard library answer hostile text with five kinds of exception; these two
answer with one.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from decimal import Decimal
from typing import Any

_MOST_SAID = 200
_MOST_DIGITS = 308


class BadData(ValueError):
    """Text that holds no plain data; the message says what is wrong with it."""


def toml_data(text: str, parse_float: Callable[[str], Any] = float) -> dict[str, Any]:
    """What a TOML text holds.

    Raises:
        BadData: in words, with the line.

    >>> toml_data("a = 1")
    {'a': 1}
    """
    try:
        return tomllib.loads(text, parse_float=lambda said: _bounded(parse_float(said)))
    except tomllib.TOMLDecodeError as error:
        raise BadData(str(error)[:_MOST_SAID].rstrip(".")) from error
    except RecursionError as error:
        raise BadData("it is nested too deeply") from error
    except (ValueError, ArithmeticError, TypeError, AttributeError, IndexError) as error:
        raise BadData("a number, a date or a name in it cannot be read") from error


def _bounded(value: Any) -> Any:
    """A number as it is; one of more than some hundred digits, whose exact sums would not end, is
    refused. "1e99999991" is ten signs."""
    if isinstance(value, Decimal) and value.is_finite() and abs(value.adjusted()) > _MOST_DIGITS:
        raise ValueError("too many digits")
    return value


def json_data(data: str | bytes, parse_constant: Callable[[str], Any] | None = None) -> Any:
    """What a JSON text holds, bytes as UTF-8 (or 16, 32, told by their first).

    Raises:
        BadData: in words, with the line; also where ``parse_constant`` raises ``ValueError``.

    >>> json_data("[" * 5000)
    Traceback (most recent call last):
    quirewell.record.plain_data.BadData: it is nested too deeply
    """
    try:
        return json.loads(data, parse_constant=parse_constant)
    except json.JSONDecodeError as error:
        raise BadData(f"{error.msg} at line {error.lineno}, sign {error.colno}") from error
    except UnicodeDecodeError as error:
        raise BadData(f"byte {error.start + 1} is no text (UTF-8)") from error
    except RecursionError as error:
        raise BadData("it is nested too deeply") from error
    except ValueError as error:
        ours = "int_max_str_digits" not in str(error)
        raise BadData(str(error) if ours else "a number in it cannot be read") from error
