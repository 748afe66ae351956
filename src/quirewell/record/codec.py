"""Frozen dataclasses to event bodies and back, by their type hints.

Bodies hold only text, booleans, null, lists and mappings: numbers travel as decimal text
(see :mod:`quirewell.record.canonical`) and come back through the declared type.
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from quirewell.record.canonical import plain

T = TypeVar("T")


class BodyError(ValueError):
    """An event body that does not fit its declared type; the message names the field."""


# Turns what stands in a body into a value of the declared type; told where it stands.
_Reader = Callable[[Any, str], Any]


@cache
def _readers(cls: type) -> dict[str, tuple[_Reader, str, bool]]:
    """How each field of a class is read, where it stands, and whether it is plain text."""
    return {
        name: (_reader(hint), f"{cls.__name__}.{name}", hint is str)
        for name, hint in typing.get_type_hints(cls).items()
    }


@cache
def _names(cls: type) -> frozenset[str]:
    return frozenset(field.name for field in dataclasses.fields(cls))


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
    names = _names(typing.cast(Any, cls))
    unknown = sorted(body.keys() - names)
    if unknown:
        raise BodyError(
            f"{cls.__name__} has no field {unknown[0]!r}; it knows {', '.join(sorted(names))}"
        )
    readers = _readers(typing.cast(Any, cls))
    values: dict[str, Any] = {}
    for name, entry in body.items():
        reader, where, is_text = readers[name]
        # Most fields are plain text; a studio holds millions.
        values[name] = entry if is_text and type(entry) is str else reader(entry, where)
    try:
        return cls(**values)
    except TypeError as error:
        raise BodyError(f"{cls.__name__}: {error}") from error


def _reader(hint: Any) -> _Reader:
    """What reads one declared type: looked into once, not for every record."""
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        return _optional(hint)
    if origin is Literal:
        return _filled(_one_of(get_args(hint)))
    if origin is tuple:
        return _filled(_tuple(get_args(hint)))
    if origin in (dict, Mapping):
        return _filled(_mapping(_reader(get_args(hint)[1])))
    if dataclasses.is_dataclass(hint):
        return _filled(lambda value, where: from_body(typing.cast(type, hint), value))
    return _filled(lambda value, where: _scalar(hint, value, where))


def _filled(reader: _Reader) -> _Reader:
    def read(value: Any, where: str) -> Any:
        if value is None:
            raise BodyError(f"{where} must not be empty")
        return reader(value, where)

    return read


def _optional(hint: Any) -> _Reader:
    options = [option for option in get_args(hint) if option is not type(None)]
    inner = _reader(options[0])

    def read(value: Any, where: str) -> Any:
        if value is None:
            return None
        if len(options) != 1:
            raise BodyError(f"{where}: ambiguous type {hint}")
        return inner(value, where)

    return read


def _one_of(known: tuple[Any, ...]) -> _Reader:
    def read(value: Any, where: str) -> Any:
        if value not in known:
            raise BodyError(f"{where} must be one of {', '.join(known)}, got {value!r}")
        return value

    return read


def _mapping(inner: _Reader) -> _Reader:
    def read(value: Any, where: str) -> Any:
        if not isinstance(value, Mapping):
            raise BodyError(f"{where} must be named entries, got {value!r}")
        return {key: inner(entry, where) for key, entry in value.items()}

    return read


def _tuple(arguments: tuple[Any, ...]) -> _Reader:
    open_ended = len(arguments) == 2 and arguments[1] is Ellipsis
    inners = [_reader(one) for one in (arguments[:1] if open_ended else arguments)]

    def read(value: Any, where: str) -> Any:
        if not isinstance(value, (list, tuple)):
            raise BodyError(f"{where} must be a list, got {value!r}")
        if open_ended:
            return tuple([inners[0](entry, where) for entry in value])
        if len(inners) != len(value):
            raise BodyError(f"{where} must have {len(inners)} entries, got {len(value)}")
        return tuple([read(entry, where) for read, entry in zip(inners, value, strict=True)])

    return read


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
