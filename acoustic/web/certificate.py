"""A certificate of this machine's own, so that a phone on the workshop's network is encrypted.

Nobody vouches for it, so a browser warns once; whoever compares the fingerprint knows that it
is this machine. Kept until it runs out or the machine is reached under another name.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from acoustic.casework.lasting_files import read_whole, write_lasting
from acoustic.errors import SettingsError

_DAYS = 397
"""Longest that browsers take (CA/Browser Forum, baseline requirements 6.3.2, 398 days)."""

_LEAST_LEFT = timedelta(days=14)
_NAME = "accessory drive page of this workshop"


@dataclass(frozen=True, slots=True)
class Certificate:
    """Files of a certificate and its key, and the fingerprint to compare."""

    file: Path
    key_file: Path
    fingerprint: str


def write_certificate(state: Path, hosts: Iterable[str]) -> Certificate:
    """Give the certificate of this machine, made anew if there is none that will do.

    Parameters
    ----------
    state : Path
        Folder it is kept in.
    hosts : iterable of str
        Names and addresses it must hold for.
    """
    file, key_file = state / "certificate.pem", state / "key.pem"
    names = {_general_name(host) for host in hosts}
    held = _held(file)
    if held is None or not key_file.exists() or not _will_do(held, names):
        state.mkdir(mode=0o700, parents=True, exist_ok=True)
        key = ec.generate_private_key(ec.SECP256R1())
        held = _signed(key, names)
        write_lasting(key_file, _key_bytes(key))
        key_file.chmod(0o600)
        write_lasting(file, held.public_bytes(serialization.Encoding.PEM))
    return Certificate(file, key_file, fingerprint_of(held))


def read_certificate(file: Path, key_file: Path) -> Certificate:
    """Take a certificate there is.

    Raises
    ------
    SettingsError
        If one of the files is not there or is no certificate.
    """
    for path in (file, key_file):
        if not path.is_file():
            raise SettingsError(f"{path}: there is no such file. Give the certificate and its key.")
    held = _held(file)
    if held is None:
        raise SettingsError(f"{file}: this is no certificate in PEM form.")
    return Certificate(file, key_file, fingerprint_of(held))


def fingerprint_of(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate as browsers show it, in pairs of hex digits."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _held(file: Path) -> x509.Certificate | None:
    content = read_whole(file)
    try:
        return x509.load_pem_x509_certificate(content) if content else None
    except ValueError:
        return None


def _will_do(held: x509.Certificate, names: set[x509.GeneralName]) -> bool:
    lasts = held.not_valid_after_utc - datetime.now(UTC) > _LEAST_LEFT
    own = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return lasts and names <= set(own)


def _signed(key: ec.EllipticCurvePrivateKey, names: set[x509.GeneralName]) -> x509.Certificate:
    now = datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _NAME)])
    ordered = sorted(names, key=repr)
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=_DAYS))
        .add_extension(x509.SubjectAlternativeName(ordered), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )


def _key_bytes(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _general_name(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host.strip("[]")))
    except ValueError:
        return x509.DNSName(host)
