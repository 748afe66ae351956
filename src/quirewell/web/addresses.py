"""Under which addresses and names a tablet in the same house may reach this machine."""

from __future__ import annotations

import contextlib
import ipaddress
import re
import socket
from dataclasses import dataclass

# Addresses that are asked for a way to, without sending anything: a datagram socket that is only
# connected tells which of our own addresses would be used. Each may have no route; then it is
# passed over. (The multicast address of names on the link, private networks, one for documents.)
_TOWARDS = ("224.0.0.251", "10.255.255.255", "172.31.255.255", "192.168.255.255", "192.0.2.1")
_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")


class BadAddress(ValueError):
    """An address or name that cannot be used; says what is allowed and what to do."""


@dataclass(frozen=True, slots=True)
class Reach:
    """The names and addresses the studio answers to on the network. ``by_name``: a name was asked
    for, and comes first; else an address does, since nobody may be answering for the name."""

    names: tuple[str, ...]
    addresses: tuple[str, ...]
    by_name: bool = False

    def hosts(self, port: int) -> frozenset[str]:
        """Every text that a ``Host`` header may be."""
        plain = [*self.names, *(bracketed(one) for one in self.addresses)]
        hosts = {f"{one}:{port}" for one in plain}
        return frozenset(hosts | set(plain) if port == 443 else hosts)

    def urls(self, port: int) -> tuple[str, ...]:
        """Where the studio is, the best first."""
        ending = "" if port == 443 else f":{port}"
        plain = [*(bracketed(one) for one in self.addresses)]
        plain = [*self.names, *plain] if self.by_name else [*plain, *self.names]
        return tuple(f"https://{one}{ending}/" for one in plain)


def bracketed(address: str) -> str:
    """An address as it stands in a URL."""
    return f"[{address}]" if ":" in address else address


def find_reach(name: str = "", addresses: tuple[str, ...] = ()) -> Reach:
    """What was asked for, checked; else what this machine has.

    Raises:
        BadAddress: a name or address that cannot be used, or none found.
    """
    taken = tuple(dict.fromkeys(check_address(one) for one in addresses)) or own_addresses()
    if not taken:
        raise BadAddress(
            "this machine has no address on a house network. Connect it to the same network as "
            "the tablet, or give its address: --address 192.168.1.20"
        )
    if name:
        return Reach((check_name(name),), taken, by_name=True)
    with contextlib.suppress(BadAddress):
        return Reach((check_name(f"{socket.gethostname().partition('.')[0]}.local"),), taken)
    return Reach((), taken)


def check_name(text: str) -> str:
    """A name of this machine on the network, in small letters.

    Raises:
        BadAddress: no name that a browser could ask for.
    """
    name = text.strip().lower().removesuffix(".")
    labels = name.split(".")
    fine = 0 < len(name) <= 200 and all(_LABEL.fullmatch(label) for label in labels)
    if not fine or labels[-1].isdigit() or name == "localhost" or name.endswith(".localhost"):
        raise BadAddress(
            f"{text!r} is no name for this machine on the network; letters, digits, hyphens and "
            "full stops are allowed, as in bench.local"
        )
    return name


def check_address(text: str) -> str:
    """An address of this machine on the house network.

    Raises:
        BadAddress: no address, or one that is this machine's alone, everybody's, or the open
            internet's.
    """
    try:
        known = ipaddress.ip_address(text.strip())
    except ValueError as error:
        raise BadAddress(
            f"{text!r} is no address; give this machine's own, as in 192.168.1.20"
        ) from error
    if known.is_loopback or known.is_unspecified or known.is_multicast:
        raise BadAddress(
            f"{known} is not one machine on the network; give this machine's own address there, "
            "as in 192.168.1.20"
        )
    if known.is_global:
        raise BadAddress(
            f"{known} is an address of the open internet, and a studio is never served there; "
            "give this machine's address on the house network, as in 192.168.1.20"
        )
    return str(known)


def own_addresses() -> tuple[str, ...]:
    """This machine's own IPv4 addresses on house networks, the one used most first."""
    found: list[str] = []
    for target in _TOWARDS:
        with (
            contextlib.suppress(OSError),
            socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked,
        ):
            asked.connect((target, 9))
            found.append(str(asked.getsockname()[0]))
    with contextlib.suppress(OSError):
        found += socket.gethostbyname_ex(socket.gethostname())[2]
    usable = []
    for one in dict.fromkeys(found):
        with contextlib.suppress(BadAddress):
            usable.append(check_address(one))
    return tuple(usable)
