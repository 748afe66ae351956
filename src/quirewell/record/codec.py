"""Frozen dataclasses to event bodies and back, by their type hints.

Bodies hold only text, booleans, null, lists and mappings: numbers travel as decimal text
(see :mod:`quirewell.record.canonical`) and come back through the declared type.
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from quirewell.record.canonical import plain

T = TypeVar("T")


class BodyError(ValueError):
    """An event body that does not fit its declared type; the message names the field."""


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def to_body(noun: Any) -> dict[str, Any]:
    """Body (numbers as decimal text) of a frozen dataclass; fields that are None are left out."""
    body: dict[str, Any] = {}
    for field in dataclasses.fields(noun):
        value = getattr(noun, field.name)
        if value is not None:
            body[field.name] = _encode(value)
    return body


def _encode(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return to_body(value)
    if isinstance(value, (list, tuple)):
        return [_encode(entry) for entry in value]
    if isinstance(value, Mapping):
        return {key: _encode(entry) for key, entry in value.items()}
    return plain(value)


def from_body(cls: type[T], body: Mapping[str, Any]) -> T:
    """Dataclass ``cls`` from a body.

    Raises:
        BodyError: unknown or missing field, or a value that does not fit the declared type.
    """
    if not isinstance(body, Mapping):
        raise BodyError(f"{cls.__name__}: expected named fields, got {type(body).__name__}")
    hints = _hints(typing.cast(Any, cls))
    names = {field.name for field in dataclasses.fields(cls)}  # type: ignore[arg-type]
    unknown = sorted(set(body) - names)
    if unknown:
        raise BodyError(
            f"{cls.__name__} has no field {unknown[0]!r}; it knows {', '.join(sorted(names))}"
        )
    values: dict[str, Any] = {}
    for name, entry in body.items():
        values[name] = _decode(hints[name], entry, f"{cls.__name__}.{name}")
    try:
        return cls(**values)
    except TypeError as error:
        raise BodyError(f"{cls.__name__}: {error}") from error


def _decode(hint: Any, value: Any, where: str) -> Any:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        options = [option for option in get_args(hint) if option is not type(None)]
        if value is None:
            return None
        if len(options) != 1:
            raise BodyError(f"{where}: ambiguous type {hint}")
        return _decode(options[0], value, where)
    if value is None:
        raise BodyError(f"{where} must not be empty")
    if origin is Literal:
        if value not in get_args(hint):
            raise BodyError(f"{where} must be one of {', '.join(get_args(hint))}, got {value!r}")
        return value
    if origin is tuple:
        return _tuple(get_args(hint), value, where)
    if origin in (dict, Mapping):
        if not isinstance(value, Mapping):
            raise BodyError(f"{where} must be named entries, got {value!r}")
        return {key: _decode(get_args(hint)[1], entry, where) for key, entry in value.items()}
    if dataclasses.is_dataclass(hint):
        return from_body(typing.cast(type, hint), value)
    return _scalar(hint, value, where)


def _tuple(arguments: tuple[Any, ...], value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, (list, tuple)):
        raise BodyError(f"{where} must be a list, got {value!r}")
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        return tuple(_decode(arguments[0], entry, where) for entry in value)
    if len(arguments) != len(value):
        raise BodyError(f"{where} must have {len(arguments)} entries, got {len(value)}")
    return tuple(
        _decode(argument, entry, where) for argument, entry in zip(arguments, value, strict=True)
    )


def _scalar(hint: Any, value: Any, where: str) -> Any:
    if hint is Any:
        return value
    if hint in (bool, str):
        if isinstance(value, hint):
            return value
    elif hint in (int, float, Decimal) and _is_number_like(value):
        try:
            number = hint(value)
        except (ValueError, ArithmeticError):
            number = None
        if number is not None and math.isfinite(number):
            return number
    raise BodyError(f"{where} must be a {getattr(hint, '__name__', hint)}, got {value!r}")


def _is_number_like(value: Any) -> bool:
    return not isinstance(value, bool) and isinstance(value, (str, int, float, Decimal))
