"""How often a passphrase may be tried, by a clock that is set by hand."""

from __future__ import annotations

from quirewell.web.limits import ALL, MOST_KNOWN, ONE, Limits


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


def test_five_tries_are_free_then_each_wait_is_twice_as_long() -> None:
    clock = Clock()
    limits = Limits(clock)
    assert [limits.begin("192.168.1.31") for _ in range(5)] == [0.0] * 5
    waits = []
    for _ in range(8):
        waits.append(limits.begin("192.168.1.31"))
        clock.now += waits[-1]
        assert limits.begin("192.168.1.31") == 0.0
    assert waits == [30.0, 60.0, 120.0, 240.0, 480.0, 900.0, 900.0, 900.0]


def test_a_try_during_a_wait_is_not_counted_and_never_let_in() -> None:
    clock = Clock()
    limits = Limits(clock)
    for _ in range(5):
        limits.begin("192.168.1.31")
    for _ in range(100):
        assert limits.begin("192.168.1.31") > 0.0
    clock.now += 29.9
    assert 0.0 < limits.begin("192.168.1.31") <= 0.11
    clock.now += 0.2
    assert limits.begin("192.168.1.31") == 0.0


def test_another_address_is_not_made_to_wait_by_the_first() -> None:
    limits = Limits(Clock())
    for _ in range(6):
        limits.begin("192.168.1.31")
    assert limits.begin("192.168.1.32") == 0.0


def test_a_right_one_begins_anew_and_an_hour_forgets() -> None:
    clock = Clock()
    limits = Limits(clock)
    for _ in range(4):
        limits.begin("192.168.1.31")
    limits.right("192.168.1.31")
    assert [limits.begin("192.168.1.31") for _ in range(5)] == [0.0] * 5
    clock.now += ONE.forget_s
    assert [limits.begin("192.168.1.31") for _ in range(5)] == [0.0] * 5


def test_many_addresses_together_are_slowed_down() -> None:
    clock = Clock()
    limits = Limits(clock)
    for host in range(ALL.free):
        assert limits.begin(f"192.168.1.{host}") == 0.0
    assert limits.begin("192.168.1.200") == ALL.first_s
    # A network of guessers that always waits gets one try a minute.
    clock.now += 600 - 1
    tried = 0
    for host in range(3600):
        clock.now += 1
        tried += limits.begin(f"192.168.{2 + host // 250}.{host % 250}") == 0.0
    assert tried < 100


def test_one_machine_has_a_whole_network_of_the_newer_addresses() -> None:
    limits = Limits(Clock())
    for host in range(5):
        assert limits.begin(f"fd00:1:2:3::{host:x}") == 0.0
    assert limits.begin("fd00:1:2:3:ffff::1") > 0.0
    assert limits.begin("fd00:1:2:4::1") == 0.0
    assert limits.begin("fe80::1%eth0") == 0.0


def test_what_is_remembered_does_not_grow_without_end() -> None:
    clock = Clock()
    limits = Limits(clock)
    for host in range(3 * MOST_KNOWN):
        clock.now += 61
        limits.begin(f"10.0.{host // 250}.{host % 250}")
    assert len(limits._by_address) == MOST_KNOWN
