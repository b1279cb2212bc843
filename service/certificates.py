"""Certificates to serve by: the shop's own, or ones from an authority made in its data folder.

Browsers keep nothing on a device, and open no camera, for a page that came without HTTPS; and no
public authority vouches for a name inside a shop's network. So the shop gets an authority of its
own, which can vouch only for private addresses and the names given when it was made. Its
certificate is installed once on each device; its key never leaves the folder.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from service.domain.refused import Invalid
from service.settings import authority_file

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

FOLDER, AUTHORITY = authority_file(Path()).parts
AUTHORITY_KEY = "authority-key.pem"
SERVER, SERVER_KEY = "server.pem", "server-key.pem"
AUTHORITY_YEARS = 10
SERVER_DAYS = 397
"""What browsers take at most of a public authority; some hold private ones to it too."""
RENEWED_BEFORE = timedelta(days=30)
PRIVATE_NETWORKS = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8",
    "fc00::/7", "fe80::/10", "::1/128",
)  # fmt: skip
"""RFC 1918, 3927, 4193, 4291: what the authority may vouch for beside its names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerCertificate:
    """What a server shows: certificate and key files, the names in it, and when it ends.

    ``authority`` is the certificate a device has to trust, and ``fingerprint`` its SHA-256 in
    pairs, where this program made it.
    """

    certificate: Path
    key: Path
    names: tuple[str, ...]
    ends: datetime
    authority: Path | None = None
    fingerprint: str = ""


def own_certificate(certificate: Path, key: Path, now: datetime | None = None) -> ServerCertificate:
    """A certificate the shop has from elsewhere.

    Raises
    ------
    Invalid
        When a file cannot be read, the two do not belong together, or the time is over.
    """
    import ssl

    from cryptography import x509

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
    except (OSError, ValueError) as error:
        raise Invalid(
            "certificate",
            f"{certificate} with the key {key} cannot be used ({error}). Give the certificate "
            "with its chain, and its own key without a password, both as PEM.",
        ) from error
    if found.not_valid_after_utc <= (now or datetime.now(UTC)):
        raise Invalid(
            "certificate",
            f"The certificate {certificate} ended on {found.not_valid_after_utc:%Y-%m-%d}. "
            "Renew it, then start again.",
        )
    return ServerCertificate(
        certificate=certificate, key=key, names=_names_in(found), ends=found.not_valid_after_utc
    )


def local_certificate(
    data: Path, names: Sequence[str], now: datetime | None = None
) -> ServerCertificate:
    """A certificate for these names from the authority in a data folder, made where it is missing.

    The server's is made anew when its names changed or it ends within a month; the authority
    stays, so that devices go on trusting it.

    Raises
    ------
    Invalid
        When a name can stand in no certificate, or the authority may not vouch for it.
    """
    from cryptography.hazmat.primitives import hashes

    moment = now or datetime.now(UTC)
    wanted = tuple(dict.fromkeys(_checked(name) for name in names))
    folder = data / FOLDER
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    authority, authority_key = _authority(folder, wanted, moment)
    held = _held(folder / SERVER, wanted, authority, moment)
    if held is None:
        held = _make_server(folder, wanted, authority, authority_key, moment)
    return ServerCertificate(
        certificate=folder / SERVER,
        key=folder / SERVER_KEY,
        names=wanted,
        ends=held.not_valid_after_utc,
        authority=folder / AUTHORITY,
        fingerprint=authority.fingerprint(hashes.SHA256()).hex(":").upper(),
    )


def names_of_machine(extra: Iterable[str] = ()) -> tuple[str, ...]:
    """The names and addresses other devices may reach this machine by, those given first."""
    host = socket.gethostname().split(".")[0] or "localhost"
    found = [*extra, host, f"{host}.local", "localhost", "127.0.0.1", "::1", _address_outwards()]
    return tuple(dict.fromkeys(name for name in found if name))


def _address_outwards() -> str:
    """The machine's address in its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address that is nobody's
        except OSError:
            return ""
        address = str(probe.getsockname()[0])
    private = any(ipaddress.ip_address(address) in ipaddress.ip_network(n) for n in _networks(4))
    return address if private else ""


def _networks(version: int) -> list[str]:
    return [n for n in PRIVATE_NETWORKS if (":" in n) == (version == 6)]


def _checked(name: str) -> str:
    plain = name.strip().strip("[]").rstrip(".").lower()
    try:
        return str(ipaddress.ip_address(plain))
    except ValueError:
        pass
    labels = plain.split(".")
    letters = "abcdefghijklmnopqrstuvwxyz0123456789-"
    if len(plain) > 253 or not all(
        0 < len(label) <= 63 and set(label) <= set(letters) and label.strip("-") == label
        for label in labels
    ):
        raise Invalid(
            "names",
            f"{name!r} is no name or address of a machine. Write it like bench.local or "
            "192.168.1.20.",
        )
    return plain


def _general(name: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _authority(
    folder: Path, names: Sequence[str], now: datetime
) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

    if not (folder / AUTHORITY).exists():
        return _make_authority(folder, names, now)
    try:
        found = x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes())
        key = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), None)
    except (OSError, ValueError) as error:
        raise Invalid(
            "https",
            f"The authority in {folder} cannot be read ({error}). Restore the folder from a copy, "
            "or remove it; a new authority must then be trusted on each device again.",
        ) from error
    refused = [name for name in names if not _may_vouch(found, name)]
    if refused or found.not_valid_after_utc <= now or not isinstance(key, EllipticCurvePrivateKey):
        why = f"may not vouch for {', '.join(refused)}" if refused else "is no longer valid"
        raise Invalid(
            "names",
            f"The authority in {folder} {why}. Leave the name out, or remove that folder: a new "
            "authority is made then, and must be trusted on each device again.",
        )
    return found, key


def _may_vouch(authority: x509.Certificate, name: str) -> bool:
    from cryptography import x509

    allowed = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = allowed.permitted_subtrees or []
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        held = [one.value for one in permitted if isinstance(one, x509.DNSName)]
        return any(name == one or name.endswith(f".{one}") for one in held)
    networks = [one.value for one in permitted if isinstance(one, x509.IPAddress)]
    return any(
        address in network
        for network in networks
        if isinstance(network, ipaddress.IPv4Network | ipaddress.IPv6Network)
        and network.version == address.version
    )


def _make_authority(
    folder: Path, names: Sequence[str], now: datetime
) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Keepcard, this shop's own")])
    vouched: list[x509.GeneralName] = [
        x509.IPAddress(ipaddress.ip_network(network)) for network in PRIVATE_NETWORKS
    ]
    general = [_general(name) for name in names]
    vouched += [one for one in general if isinstance(one, x509.DNSName)]
    vouched += [x509.DNSName(name) for name in ("local", "localhost", "home.arpa", "internal")]
    vouched += [
        x509.IPAddress(ipaddress.ip_network(one.value))
        for one in general
        if isinstance(one, x509.IPAddress)
    ]
    made = (
        x509.CertificateBuilder()
        .subject_name(title)
        .issuer_name(title)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=365 * AUTHORITY_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(sign_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(vouched, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_key(folder / AUTHORITY_KEY, key)
    _write(folder / AUTHORITY, _pem(made), 0o644)
    return made, key


def _held(
    file: Path, names: Sequence[str], authority: x509.Certificate, now: datetime
) -> x509.Certificate | None:
    """The certificate on disk, while it says the same and does not end soon."""
    from cryptography import x509

    try:
        found = x509.load_pem_x509_certificate(file.read_bytes())
        found.verify_directly_issued_by(authority)
    except Exception:  # whatever is wrong with it, a new one is made
        return None
    if set(_names_in(found)) != set(names) or found.not_valid_after_utc - now < RENEWED_BEFORE:
        return None
    return found if (file.parent / SERVER_KEY).exists() else None


def _make_server(
    folder: Path,
    names: Sequence[str],
    authority: x509.Certificate,
    authority_key: EllipticCurvePrivateKey,
    now: datetime,
) -> x509.Certificate:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    ends = min(now + timedelta(days=SERVER_DAYS), authority.not_valid_after_utc)
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(ends)
        .add_extension(
            x509.SubjectAlternativeName([_general(name) for name in names]), critical=False
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(sign_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()),
            critical=False,
        )
        .sign(authority_key, hashes.SHA256())
    )
    _write_key(folder / SERVER_KEY, key)
    _write(folder / SERVER, _pem(made), 0o644)
    return made


def _usage(*, sign_certificates: bool) -> x509.KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not sign_certificates,
        key_cert_sign=sign_certificates,
        crl_sign=sign_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _names_in(certificate: x509.Certificate) -> tuple[str, ...]:
    from cryptography import x509

    try:
        held = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return ()
    return tuple(str(one.value) for one in held)


def _pem(certificate: x509.Certificate) -> bytes:
    from cryptography.hazmat.primitives import serialization

    return certificate.public_bytes(serialization.Encoding.PEM)


def _write_key(file: Path, key: EllipticCurvePrivateKey) -> None:
    from cryptography.hazmat.primitives import serialization

    _write(
        file,
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        ),
        0o600,
    )


def _write(file: Path, content: bytes, mode: int) -> None:
    """Whole or not at all, and never readable to others for an instant when it must not be."""
    part = file.with_suffix(".part")
    part.unlink(missing_ok=True)
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    part.replace(file)
