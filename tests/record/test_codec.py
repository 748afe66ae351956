"""Bodies and the values they stand for: there and back, and each fault named at its field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal

import pytest

from quirewell.record.codec import BodyError, from_body, to_body


@dataclass(frozen=True, slots=True)
class Part:
    name: str
    size: float | None = None


@dataclass(frozen=True, slots=True)
class Whole:
    title: str
    side: Literal["inner", "outer"]
    count: int = 0
    price: Decimal | None = None
    done: bool = False
    places: tuple[str, ...] = ()
    corner: tuple[float, float] = (0.0, 0.0)
    parts: tuple[Part, ...] = ()
    first: Part | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    more: Any = ""


FULL = Whole(
    "Annual", "outer", 3, Decimal("2.50"), True, ("w01", "c"), (0.5, 2.0), (Part("a", 1.25),),
    Part("b"), {"k": "v"}, "kept",
)  # fmt: skip


def test_a_body_gives_back_the_value_it_was_made_of() -> None:
    assert from_body(Whole, to_body(FULL)) == FULL
    again = from_body(Whole, to_body(FULL))
    assert type(again.price) is Decimal and type(again.corner[1]) is float
    assert from_body(Whole, {"title": "a", "side": "inner"}) == Whole("a", "inner")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"title": None}, "Whole.title must not be empty"),
        ({"title": 3}, "Whole.title must be a str, got 3"),
        ({"side": "back"}, "Whole.side must be one of inner, outer, got 'back'"),
        ({"count": "three"}, "Whole.count must be a int, got 'three'"),
        ({"count": True}, "Whole.count must be a int, got True"),
        ({"price": "NaN"}, "Whole.price must be a Decimal, got 'NaN'"),
        ({"done": "yes"}, "Whole.done must be a bool, got 'yes'"),
        ({"places": "w01"}, "Whole.places must be a list, got 'w01'"),
        ({"places": ["w01", None]}, "Whole.places must not be empty"),
        ({"corner": ["1"]}, "Whole.corner must have 2 entries, got 1"),
        ({"corner": ["1", "x"]}, "Whole.corner must be a float, got 'x'"),
        ({"parts": [{"size": "1"}]}, "Part: .*missing"),
        ({"parts": [{"name": "a", "size": "inf"}]}, "Part.size must be a float, got 'inf'"),
        ({"first": "b"}, "Part: expected named fields, got str"),
        ({"words": ["k"]}, r"Whole.words must be named entries, got \['k'\]"),
        ({"words": {"k": 1}}, "Whole.words must be a str, got 1"),
        ({"colour": "red"}, "Whole has no field 'colour'; it knows corner"),
        ({"more": None}, "Whole.more must not be empty"),
    ],
)  # fmt: skip
def test_a_fault_names_its_field(change: dict[str, Any], says: str) -> None:
    with pytest.raises(BodyError, match=says):
        from_body(Whole, {**to_body(FULL), **change})


def test_what_may_be_left_out_may_be_empty() -> None:
    assert from_body(Whole, {**to_body(FULL), "price": None, "first": None}).first is None
