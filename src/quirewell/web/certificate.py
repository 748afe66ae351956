"""The studio's own certificate: an authority made once, which a tablet is told to trust, and the
server's certificate under it, made anew when an address changes or its end comes near.

After RFC 5280 ([rfc5280]): the authority may sign no other authority (path length 0) and, by its
name constraints, nothing but ``.local`` names, the names it was made for, and addresses of house
networks: whoever stole its key could not pass for a place on the open internet. Times are UTC.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from quirewell.studio.clock import Clock, now
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder, read_private, write_private
from quirewell.web.addresses import Reach

AUTHORITY, SERVER = "authority.pem", "server.pem"
# Tablets refuse a server's certificate that runs for longer than 825 days, some after 398
# (vendors' rules, from memory).
AUTHORITY_DAYS, SERVER_DAYS, RENEW_DAYS = 3650, 397, 30
# A tablet's clock may be slow by this much.
EARLY = timedelta(days=1)
# Private, link-local and unique local networks (RFC 1918, RFC 3927, RFC 4193, RFC 4291).
HOUSE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "fc00::/7", "fe80::/10")
Network = ipaddress.IPv4Network | ipaddress.IPv6Network


@dataclass(frozen=True, slots=True)
class Signed:
    """A certificate with its key."""

    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate


@dataclass(frozen=True, slots=True)
class Trust:
    """What the server shows (``server``, a file with key and certificate), what a tablet is to
    trust (``authority``), and what was made just now."""

    server: Path
    authority: x509.Certificate
    ends: datetime
    new_authority: bool
    renewed: bool

    @property
    def der(self) -> bytes:
        """The authority's certificate as a tablet takes it in."""
        return self.authority.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> tuple[str, ...]:
        """Its SHA-256 in pairs of signs, four rows of eight."""
        pairs = self.authority.fingerprint(hashes.SHA256()).hex(" ").upper().split()
        return tuple(" ".join(pairs[at : at + 8]) for at in range(0, 32, 8))


def ready(studio: Path, name: str, reach: Reach, clock: Clock = now) -> Trust:
    """The studio's certificates for ``reach``, made or renewed where they must be.

    Raises:
        StudioError: the authority's file is damaged; it is not made anew unasked, since every
            tablet would have to trust it again.
    """
    folder, at = keys_folder(studio), clock().replace(microsecond=0)
    authority, new = _read(folder / AUTHORITY), False
    if authority is None or not _serves(authority.certificate, reach, at):
        authority, new = _make_authority(name, reach, at), True
        write_private(folder / AUTHORITY, _pem(authority))
    server, renewed = None, False
    if not new:
        try:
            server = _read(folder / SERVER)
        except StudioError:
            server = None
    if server is None or not _stands(server.certificate, authority, reach, at):
        server, renewed = _make_server(authority, reach, at), True
        write_private(folder / SERVER, _pem(server))
    ends = server.certificate.not_valid_after_utc
    return Trust(folder / SERVER, authority.certificate, ends, new, renewed)


def _read(path: Path) -> Signed | None:
    data = read_private(path)
    if data is None:
        return None
    try:
        key = serialization.load_pem_private_key(data, None)
        certificate = x509.load_pem_x509_certificate(data)
        if (
            isinstance(key, ec.EllipticCurvePrivateKey)
            and key.public_key() == certificate.public_key()
        ):
            return Signed(key, certificate)
    except (ValueError, TypeError):
        pass
    raise StudioError(
        f"{path} is damaged. Move it away and start again: a new one is made, and every tablet "
        "is to trust it anew"
    )


def _pem(signed: Signed) -> bytes:
    key = signed.key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return key + signed.certificate.public_bytes(serialization.Encoding.PEM)


def _serves(authority: x509.Certificate, reach: Reach, at: datetime) -> bool:
    """Whether the authority may sign for ``reach`` and lasts longer than what it would sign."""
    if authority.not_valid_after_utc - at < timedelta(days=SERVER_DAYS + RENEW_DAYS):
        return False
    allowed = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = allowed.permitted_subtrees or []
    values = [one.value for one in permitted if isinstance(one, x509.IPAddress)]
    networks = [one for one in values if isinstance(one, Network)]
    names = [one.value for one in permitted if isinstance(one, x509.DNSName)]
    return all(_within(one, networks) for one in reach.addresses) and all(
        any(name == one or name.endswith(f".{one}") for one in names) for name in reach.names
    )


def _within(address: str, networks: list[Network]) -> bool:
    known = ipaddress.ip_address(address)
    return any(known in one for one in networks if one.version == known.version)


def _make_authority(name: str, reach: Reach, at: datetime) -> Signed:
    key = ec.generate_private_key(ec.SECP256R1())
    names = list(dict.fromkeys(("local", *(one for one in reach.names if _outside_local(one)))))
    networks: list[Network] = [ipaddress.ip_network(one) for one in HOUSE]
    others = [one for one in reach.addresses if not _within(one, networks)]
    networks += [ipaddress.ip_network(one) for one in others]
    subject = _named(f"{name[:40]}, own certificate".strip(", "))
    return Signed(
        key,
        _begun(subject, subject, key, at, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(
            x509.NameConstraints(
                [*map(x509.DNSName, names), *map(x509.IPAddress, networks)], None
            ),
            critical=True,
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256()),
    )  # fmt: skip


def _outside_local(name: str) -> bool:
    return name != "local" and not name.endswith(".local")


def _make_server(authority: Signed, reach: Reach, at: datetime) -> Signed:
    key = ec.generate_private_key(ec.SECP256R1())
    issuer = authority.certificate.subject
    above = authority.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier)
    subject = _named((*reach.names, *reach.addresses)[0][:64])
    return Signed(
        key,
        _begun(subject, issuer, key, at, SERVER_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(_alternatives(reach)), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(above.value),
            critical=False,
        )
        .sign(authority.key, hashes.SHA256()),
    )  # fmt: skip


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, at: datetime, days: int
) -> x509.CertificateBuilder:
    """What both certificates have; ``days`` counts from the first moment it is valid."""
    begins = at - EARLY
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + timedelta(days=days) - timedelta(seconds=1))
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates, key_cert_sign=signs_certificates,
        crl_sign=signs_certificates, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _named(words: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, words),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "quirewell"),
        ]
    )


def _alternatives(reach: Reach) -> list[x509.GeneralName]:
    addresses = [x509.IPAddress(ipaddress.ip_address(one)) for one in reach.addresses]
    return [*map(x509.DNSName, reach.names), *addresses]


def _stands(server: x509.Certificate, authority: Signed, reach: Reach, at: datetime) -> bool:
    """Whether the server's certificate is this authority's, for ``reach`` whole, and lasts."""
    try:
        server.verify_directly_issued_by(authority.certificate)
        said = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    lasts = server.not_valid_after_utc - at >= timedelta(days=RENEW_DAYS)
    return lasts and server.not_valid_before_utc <= at and set(said) == set(_alternatives(reach))
