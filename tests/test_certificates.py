"""The shop's own authority: what it vouches for, how long, and that other programs believe it.

OpenSSL (through Python's ssl) is the judge: it makes the handshake and checks names, times and
constraints by RFC 5280, knowing nothing of how the certificates were made.
"""

from __future__ import annotations

import socket
import ssl
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from service.certificates import (
    AUTHORITY,
    AUTHORITY_KEY,
    FOLDER,
    SERVER,
    SERVER_KEY,
    local_certificate,
    names_of_machine,
    own_certificate,
)
from service.domain.refused import Invalid

NAMES = ("bench.local", "192.168.1.20", "localhost")


def handshake(certificate: Path, key: Path, authority: Path, name: str) -> None:
    """Meet over a pair of sockets; raises what OpenSSL says when the client does not believe."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate, key)
    client = ssl.create_default_context(cafile=str(authority))
    one, other = socket.socketpair()

    def answer() -> None:
        try:
            with server.wrap_socket(one, server_side=True) as held:
                held.recv(1)
        except (ssl.SSLError, OSError):
            pass

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        with client.wrap_socket(other, server_hostname=name) as met:
            met.sendall(b"x")
    finally:
        other.close()
        thread.join(timeout=10)
        one.close()


@pytest.mark.parametrize("name", NAMES)
def test_a_device_that_trusts_the_authority_believes_every_name(tmp_path: Path, name: str) -> None:
    made = local_certificate(tmp_path, NAMES)
    assert made.authority is not None
    handshake(made.certificate, made.key, made.authority, name)


@pytest.mark.parametrize("name", ["other.local", "10.0.0.1", "bank.example"])
def test_it_believes_no_other_name(tmp_path: Path, name: str) -> None:
    made = local_certificate(tmp_path, NAMES)
    assert made.authority is not None
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(made.certificate, made.key, made.authority, name)


def signed_by_the_authority(folder: Path, name: str) -> tuple[Path, Path]:
    """What somebody who stole the authority's key would make."""
    authority = x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes())
    stolen = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), None)
    assert isinstance(stolen, ec.EllipticCurvePrivateKey)
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(stolen.public_key()),
            critical=False,
        )
        .sign(stolen, hashes.SHA256())
    )
    certificate, key_file = folder / "stolen.pem", folder / "stolen-key.pem"
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    key_file.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return certificate, key_file


def test_the_authority_vouches_for_nothing_outside_the_shops_network(tmp_path: Path) -> None:
    made = local_certificate(tmp_path, NAMES)
    assert made.authority is not None
    folder = tmp_path / FOLDER
    handshake(*signed_by_the_authority(folder, "other.local"), made.authority, "other.local")
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(*signed_by_the_authority(folder, "bank.example"), made.authority, "bank.example")


def test_it_is_made_once_and_the_servers_renewed_before_it_ends(tmp_path: Path) -> None:
    now = datetime(2026, 3, 4, tzinfo=UTC)
    first = local_certificate(tmp_path, NAMES, now)
    files = {name: (tmp_path / FOLDER / name).read_bytes() for name in (AUTHORITY, SERVER)}
    again = local_certificate(tmp_path, NAMES, now + timedelta(days=300))
    assert (again.fingerprint, again.ends) == (first.fingerprint, first.ends)
    later = local_certificate(tmp_path, NAMES, now + timedelta(days=370))
    assert later.fingerprint == first.fingerprint and later.ends > first.ends
    assert (tmp_path / FOLDER / AUTHORITY).read_bytes() == files[AUTHORITY]
    assert (tmp_path / FOLDER / SERVER).read_bytes() != files[SERVER]


def test_another_name_makes_another_server_certificate_and_keeps_the_authority(tmp_path) -> None:
    first = local_certificate(tmp_path, NAMES)
    more = local_certificate(tmp_path, (*NAMES, "tablet.local"))
    assert more.fingerprint == first.fingerprint and "tablet.local" in more.names
    assert more.authority is not None
    handshake(more.certificate, more.key, more.authority, "tablet.local")


def test_a_name_the_authority_may_not_vouch_for_is_refused_in_words(tmp_path: Path) -> None:
    local_certificate(tmp_path, NAMES)
    with pytest.raises(Invalid, match="may not vouch for shop.example.*made then"):
        local_certificate(tmp_path, (*NAMES, "shop.example"))
    # Given from the start it may.
    made = local_certificate(tmp_path / "other", (*NAMES, "shop.example"))
    assert made.authority is not None
    handshake(made.certificate, made.key, made.authority, "shop.example")


@pytest.mark.parametrize(
    "name", ["", "a b.local", "http://bench", "-x.local", "ü.local", "*.local"]
)
def test_what_is_no_name_is_refused_in_words(tmp_path: Path, name: str) -> None:
    with pytest.raises(Invalid, match="is no name or address"):
        local_certificate(tmp_path, (name,))


def test_keys_are_for_their_owner_alone(tmp_path: Path) -> None:
    local_certificate(tmp_path, NAMES)
    folder = tmp_path / FOLDER
    for name in (AUTHORITY_KEY, SERVER_KEY):
        assert (folder / name).stat().st_mode & 0o777 == 0o600
    assert folder.stat().st_mode & 0o777 == 0o700
    assert not list(folder.glob("*.part"))


def test_a_damaged_authority_is_said_and_never_replaced_by_itself(tmp_path: Path) -> None:
    local_certificate(tmp_path, NAMES)
    (tmp_path / FOLDER / AUTHORITY).write_text("nothing of the kind")
    with pytest.raises(Invalid, match="cannot be read"):
        local_certificate(tmp_path, NAMES)
    assert (tmp_path / FOLDER / AUTHORITY).read_text() == "nothing of the kind"


def test_a_certificate_from_elsewhere_is_taken_with_its_key_and_no_other(tmp_path: Path) -> None:
    now = datetime.now(UTC)
    made = local_certificate(tmp_path / "a", NAMES)
    other = local_certificate(tmp_path / "b", NAMES)
    found = own_certificate(made.certificate, made.key)
    assert set(found.names) == set(NAMES) and found.authority is None
    with pytest.raises(Invalid, match="cannot be used"):
        own_certificate(made.certificate, other.key)
    with pytest.raises(Invalid, match="cannot be used"):
        own_certificate(tmp_path / "missing.pem", made.key)
    with pytest.raises(Invalid, match="ended on"):
        own_certificate(made.certificate, made.key, now + timedelta(days=400))


def test_a_machine_is_reached_by_its_name_and_its_private_address() -> None:
    names = names_of_machine(("bench.local",))
    assert names[0] == "bench.local" and {"localhost", "127.0.0.1", "::1"} <= set(names)
    assert len(names) == len(set(names))
