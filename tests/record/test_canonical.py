"""Canonical text and the chain: the same bytes in every language, for good."""

from __future__ import annotations

import hashlib
from decimal import Decimal

import pytest

from quirewell.record.canonical import GENESIS, canonical, decimal_text, link, plain
from quirewell.record.event import Event


def test_text_is_sorted_tight_and_numbers_are_decimal_text() -> None:
    value = {"b": [1, 2.5, Decimal("7.90")], "a": {"ü": True, "n": None}}
    assert canonical(value) == '{"a":{"n":null,"ü":true},"b":["1","2.5","7.90"]}'


@pytest.mark.parametrize("number", [0.1, 1e-300, 123456789.123456789, -0.0, 2**53 + 1])
def test_numbers_come_back_the_same(number: float) -> None:
    assert type(number)(decimal_text(number)) == number


@pytest.mark.parametrize("number", [float("nan"), float("inf"), Decimal("NaN")])
def test_what_no_reading_can_be_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        decimal_text(number)


def test_what_has_no_plain_form_is_refused() -> None:
    for value in ({1: "a"}, {"a": b"bytes"}, {"a": {1, 2}}):
        with pytest.raises(TypeError):
            plain(value)


def test_text_that_no_file_can_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="broken signs"):
        canonical({"filename": "w01\udcff.tif"})


def test_link_is_sha256_over_previous_hash_newline_payload() -> None:
    assert link(GENESIS, "x") == hashlib.sha256(b"0" * 64 + b"\nx").hexdigest()


def test_chain_version_1_is_never_to_change() -> None:
    """The payload written out by hand; when this fails, old journals no longer verify."""
    event = Event(
        1, "studio", 1, "studio.opened", {"chain_version": "1", "name": "Larkmoor"},
        "2031-04-02T18:30:01.000Z", "Europe/London", "bench", GENESIS, "",
    )  # fmt: skip
    by_hand = (
        '{"actor":"bench","at":"2031-04-02T18:30:01.000Z","body":{"chain_version":"1",'
        '"name":"Larkmoor"},"kind":"studio.opened","seq":"1","stream":"studio","version":"1",'
        '"zone":"Europe/London"}'
    )
    assert event.payload() == by_hand


def test_a_number_of_numpy_is_written_like_any_other() -> None:
    import numpy as np

    assert decimal_text(np.float64(2.7484220897989267)) == "2.7484220897989267"
    assert canonical({"u": np.float64(0.1)}) == '{"u":"0.1"}'
