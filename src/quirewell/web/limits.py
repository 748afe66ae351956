"""How often something may be tried: each address for itself, and all of them together.

A passphrase is tried so, and a copy of a report asked for that must be written first. A try is
counted before it is looked at, so that many at once are many. Only the tablets' door asks here;
the machine itself needs no passphrase and is never made to wait.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

MOST_KNOWN = 1024


@dataclass(frozen=True, slots=True)
class Rule:
    """``free`` tries without a wait; then ``first_s``, twice as long each time, at most
    ``most_s``; all forgotten ``forget_s`` after the last try [s]."""

    free: int
    first_s: float
    most_s: float
    forget_s: float

    def wait_s(self, tries: int) -> float:
        """The wait after so many tries [s]."""
        over = tries - self.free
        return 0.0 if over < 0 else min(self.most_s, self.first_s * 2.0 ** min(over, 30))


ONE = Rule(free=5, first_s=30.0, most_s=900.0, forget_s=3600.0)
ALL = Rule(free=20, first_s=5.0, most_s=60.0, forget_s=600.0)


@dataclass(slots=True)
class _Tried:
    count: int = 0
    last: float = 0.0


class Limits:
    """Counts tries; ``clock`` gives seconds that only grow. ``one`` holds for each address, and
    ``all`` for all of them together."""

    def __init__(
        self, clock: Callable[[], float] = monotonic, one: Rule = ONE, all: Rule = ALL
    ) -> None:
        self._clock = clock
        self._rules = one, all
        self._by_address: OrderedDict[str, _Tried] = OrderedDict()
        self._all = _Tried()
        self._lock = threading.Lock()

    def begin(self, address: str) -> float:
        """Count a try from ``address``; more than 0 [s]: it is not let in, and that long to go."""
        key, now = counted_as(address), self._clock()
        with self._lock:
            one = self._by_address.pop(key, None) or _Tried()
            self._by_address[key] = one
            while len(self._by_address) > MOST_KNOWN:
                self._by_address.popitem(last=False)
            wait = max(_left(one, self._rules[0], now), _left(self._all, self._rules[1], now))
            if wait <= 0.0:
                for tried in (one, self._all):
                    tried.count += 1
                    tried.last = now
        return wait

    def right(self, address: str, forget: bool = True) -> None:
        """The try was right: it was none. ``forget``: nor were those before it. (A guest's right
        passphrase does not say so, or guests could try for the bench's without an end.)"""
        with self._lock:
            held = self._by_address.get(counted_as(address))
            if held is not None:
                held.count = 0 if forget else max(0, held.count - 1)
            self._all.count = max(0, self._all.count - 1)


def _left(tried: _Tried, rule: Rule, now: float) -> float:
    if tried.count and now - tried.last >= rule.forget_s:
        tried.count = 0
    return max(0.0, tried.last + rule.wait_s(tried.count) - now) if tried.count else 0.0


def counted_as(address: str) -> str:
    """An address as counted; of IPv6 its network of 64 bits, which one machine has whole."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if known.version == 4:
        return str(known)
    return str(ipaddress.ip_network((known, 64), strict=False))


def wait_words(seconds: float) -> str:
    """A wait in words, rounded up.

    >>> wait_words(29.2), wait_words(61), wait_words(900)
    ('30 seconds', '2 minutes', '15 minutes')
    """
    whole = int(-(-seconds // 1))
    if whole <= 60:
        return "1 second" if whole == 1 else f"{whole} seconds"
    return f"{-(-whole // 60)} minutes"
