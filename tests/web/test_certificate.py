"""The studio's own certificates, against independent verifiers: a TLS handshake by OpenSSL with the
authority as the only trust, and the path validation of the cryptography library (RFC 5280)."""

from __future__ import annotations

import socket
import ssl
import stat
import threading
from datetime import timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from lan_studio import ADDRESS, NAME, REACH, HandClock
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder
from quirewell.web.addresses import Reach
from quirewell.web.certificate import AUTHORITY, HOUSE, SERVER, Trust, ready
from quirewell.web.serving import tls

BENCH = "Larkmoor paper bench"


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


def server_of(trust: Trust) -> x509.Certificate:
    return x509.load_pem_x509_certificate(trust.server.read_bytes())


def verify(trust: Trust, subject: x509.GeneralName, clock: HandClock) -> None:
    store = Store([trust.authority])
    builder = PolicyBuilder().store(store).time(clock.at)
    builder.build_server_verifier(subject).verify(server_of(trust), [])


def test_an_independent_verifier_finds_the_path(tmp_path: Path, clock: HandClock) -> None:
    trust = ready(tmp_path, BENCH, REACH, clock)
    for subject in (x509.DNSName(NAME), x509.IPAddress(ip_address(ADDRESS))):
        verify(trust, subject, clock)
    for subject in (x509.DNSName("elsewhere.local"), x509.IPAddress(ip_address("192.168.1.21"))):
        with pytest.raises(VerificationError):
            verify(trust, subject, clock)
    clock.move(days=397)
    with pytest.raises(VerificationError):
        verify(trust, x509.DNSName(NAME), clock)


def test_what_the_certificates_say(tmp_path: Path, clock: HandClock) -> None:
    trust = ready(tmp_path, BENCH, REACH, clock)
    above, server = trust.authority, server_of(trust)
    basic = above.extensions.get_extension_for_class(x509.BasicConstraints)
    assert basic.critical and basic.value.ca and basic.value.path_length == 0
    usage = above.extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical and usage.value.key_cert_sign and not usage.value.digital_signature
    limits = above.extensions.get_extension_for_class(x509.NameConstraints)
    permitted = [str(one.value) for one in limits.value.permitted_subtrees or []]
    assert limits.critical and permitted == ["local", *HOUSE]
    assert above.subject == above.issuer
    assert above.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value == (
        "Larkmoor paper bench, own certificate"
    )
    assert server.issuer == above.subject
    assert not server.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    purposes = server.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(purposes) == [ExtendedKeyUsageOID.SERVER_AUTH]
    said = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert said.get_values_for_type(x509.DNSName) == [NAME]
    assert said.get_values_for_type(x509.IPAddress) == [ip_address(ADDRESS)]
    for one in (above, server):
        key = one.public_key()
        assert isinstance(key, ec.EllipticCurvePublicKey) and key.curve.name == "secp256r1"
        assert isinstance(one.signature_hash_algorithm, hashes.SHA256)
    assert server.public_key() != above.public_key()
    assert server.serial_number != above.serial_number
    # Both ends count (RFC 5280, 4.1.2.5), so 397 days are not passed by a second.
    runs = server.not_valid_after_utc - server.not_valid_before_utc + timedelta(seconds=1)
    assert runs == timedelta(days=397)
    assert server.not_valid_before_utc == clock.at - timedelta(days=1)


@pytest.mark.parametrize("name", ["bank.example", "local.example", "notlocal"])
def test_its_key_cannot_vouch_for_a_place_on_the_open_internet(
    tmp_path: Path, clock: HandClock, name: str
) -> None:
    """Whoever stole the key signs for another name: the verifier refuses by the constraints."""
    trust = ready(tmp_path, BENCH, REACH, clock)
    data = (keys_folder(tmp_path) / AUTHORITY).read_bytes()
    stolen = serialization.load_pem_private_key(data, None)
    assert isinstance(stolen, ec.EllipticCurvePrivateKey)
    honest = server_of(trust)

    def forged(subject: x509.GeneralName) -> x509.Certificate:
        builder = x509.CertificateBuilder(
            issuer_name=honest.issuer, subject_name=honest.subject,
            public_key=honest.public_key(), serial_number=x509.random_serial_number(),
            not_valid_before=honest.not_valid_before_utc,
            not_valid_after=honest.not_valid_after_utc,
        )  # fmt: skip
        for one in honest.extensions:
            changed = isinstance(one.value, x509.SubjectAlternativeName)
            value = x509.SubjectAlternativeName([subject]) if changed else one.value
            builder = builder.add_extension(value, one.critical)
        return builder.sign(stolen, hashes.SHA256())

    builder = PolicyBuilder().store(Store([trust.authority])).time(clock.at)
    fine = x509.DNSName("other.local")
    builder.build_server_verifier(fine).verify(forged(fine), [])
    for subject in (x509.DNSName(name), x509.IPAddress(ip_address("203.0.113.9"))):
        with pytest.raises(VerificationError):
            builder.build_server_verifier(subject).verify(forged(subject), [])


def test_a_second_start_makes_nothing_new(tmp_path: Path, clock: HandClock) -> None:
    first = ready(tmp_path, BENCH, REACH, clock)
    data = first.server.read_bytes()
    clock.move(days=300)
    again = ready(tmp_path, "Another name", REACH, clock)
    assert (first.new_authority, first.renewed) == (True, True)
    assert (again.new_authority, again.renewed) == (False, False)
    assert again.fingerprint == first.fingerprint and again.server.read_bytes() == data


@pytest.mark.parametrize(
    "reach",
    [
        Reach((NAME,), ("192.168.1.99",)),
        Reach((NAME,), (ADDRESS, "10.0.0.4")),
        Reach(("other.local",), (ADDRESS,)),
        Reach((), (ADDRESS,)),
        Reach((NAME,), (ADDRESS, "fd00::20")),
    ],
)
def test_a_changed_address_or_name_renews_under_the_same_authority(
    tmp_path: Path, clock: HandClock, reach: Reach
) -> None:
    first = ready(tmp_path, BENCH, REACH, clock)
    again = ready(tmp_path, BENCH, reach, clock)
    assert (again.new_authority, again.renewed) == (False, True)
    assert again.fingerprint == first.fingerprint
    for one in reach.addresses:
        verify(again, x509.IPAddress(ip_address(one)), clock)


def test_it_is_renewed_in_the_last_thirty_days(tmp_path: Path, clock: HandClock) -> None:
    ready(tmp_path, BENCH, REACH, clock)
    clock.move(days=365)
    assert not ready(tmp_path, BENCH, REACH, clock).renewed
    clock.move(days=2)
    again = ready(tmp_path, BENCH, REACH, clock)
    assert again.renewed and not again.new_authority
    verify(again, x509.DNSName(NAME), clock)


def test_a_name_outside_what_the_authority_may_sign_needs_a_new_one(
    tmp_path: Path, clock: HandClock
) -> None:
    first = ready(tmp_path, BENCH, REACH, clock)
    reach = Reach(("bench.home.arpa",), ("192.0.2.7",))
    again = ready(tmp_path, BENCH, reach, clock)
    assert again.new_authority and again.fingerprint != first.fingerprint
    verify(again, x509.DNSName("bench.home.arpa"), clock)
    verify(again, x509.IPAddress(ip_address("192.0.2.7")), clock)
    assert not ready(tmp_path, BENCH, REACH, clock).new_authority


def test_an_authority_near_its_end_is_made_anew(tmp_path: Path, clock: HandClock) -> None:
    ready(tmp_path, BENCH, REACH, clock)
    clock.move(days=3650 - 397 - 32)
    assert not ready(tmp_path, BENCH, REACH, clock).new_authority
    clock.move(days=2)
    assert ready(tmp_path, BENCH, REACH, clock).new_authority


def test_a_server_file_that_is_not_its_own_is_made_anew(tmp_path: Path, clock: HandClock) -> None:
    ready(tmp_path, BENCH, REACH, clock)
    (tmp_path / "other").mkdir()
    other = ready(tmp_path / "other", BENCH, REACH, clock)
    path = keys_folder(tmp_path) / SERVER
    for data in (b"", b"-----BEGIN", other.server.read_bytes()):
        path.write_bytes(data)
        again = ready(tmp_path, BENCH, REACH, clock)
        assert again.renewed and not again.new_authority
        verify(again, x509.DNSName(NAME), clock)


@pytest.mark.parametrize("keep", [0, 100, 600])
def test_a_damaged_authority_is_a_sentence_and_never_replaced_unasked(
    tmp_path: Path, clock: HandClock, keep: int
) -> None:
    ready(tmp_path, BENCH, REACH, clock)
    path = keys_folder(tmp_path) / AUTHORITY
    cut = path.read_bytes()[:keep]
    path.write_bytes(cut)
    with pytest.raises(StudioError, match="Move it away"):
        ready(tmp_path, BENCH, REACH, clock)
    assert path.read_bytes() == cut


def test_keys_are_their_owners_alone(tmp_path: Path, clock: HandClock) -> None:
    ready(tmp_path, BENCH, REACH, clock)
    folder = keys_folder(tmp_path)
    assert {entry.name for entry in folder.iterdir()} == {AUTHORITY, SERVER}
    assert all(stat.S_IMODE(entry.stat().st_mode) == 0o600 for entry in folder.iterdir())
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_the_fingerprint_is_that_of_what_a_tablet_downloads(
    tmp_path: Path, clock: HandClock
) -> None:
    trust = ready(tmp_path, BENCH, REACH, clock)
    shown = bytes.fromhex(" ".join(trust.fingerprint))
    assert x509.load_der_x509_certificate(trust.der).fingerprint(hashes.SHA256()) == shown
    assert b"PRIVATE" not in trust.der


def handshake(trust: Trust, name: str, client: ssl.SSLContext) -> str | None:
    """Shake hands with the tablets' door under ``name``; the TLS version that came of it."""
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def answer() -> None:
            taken, _ = listening.accept()
            with taken:
                try:
                    tls(trust.server).wrap_socket(taken, server_side=True).close()
                except (ssl.SSLError, OSError):
                    return

        thread = threading.Thread(target=answer)
        thread.start()
        try:
            with (
                socket.create_connection(listening.getsockname()[:2], timeout=10) as plain,
                client.wrap_socket(plain, server_hostname=name) as secure,
            ):
                return secure.version()
        finally:
            thread.join(timeout=10)


def trusting(trust: Trust) -> ssl.SSLContext:
    context = ssl.create_default_context(
        cadata=trust.authority.public_bytes(serialization.Encoding.PEM).decode()
    )
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    return context


def test_a_handshake_with_this_trust_only(tmp_path: Path) -> None:
    trust = ready(tmp_path, BENCH, REACH)
    for name in (NAME, ADDRESS):
        assert handshake(trust, name, trusting(trust)) in ("TLSv1.2", "TLSv1.3")
    for name in ("other.local", "192.168.1.21", "127.0.0.1", "localhost"):
        with pytest.raises(ssl.SSLCertVerificationError, match=r"mismatch|not valid for"):
            handshake(trust, name, trusting(trust))
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(trust, NAME, ssl.create_default_context())


def test_no_handshake_by_an_old_tls(tmp_path: Path) -> None:
    trust = ready(tmp_path, BENCH, REACH)
    assert tls(trust.server).minimum_version == ssl.TLSVersion.TLSv1_2
