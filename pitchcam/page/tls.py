"""The page's own certificate: browsers give their camera to secure pages only."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

#: Browsers refuse longer ones.
_DAYS = 397
#: A certificate about to end is made anew.
_RENEW_DAYS = 14

WHY = (
    "The browser will warn once: it knows no authority that vouches for this computer, "
    "which made its certificate itself. The connection is encrypted all the same; "
    "choose 'Advanced' and go on."
)


def lan_addresses() -> list[str]:
    """Return this machine's addresses in the local network, the likeliest first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # nothing is sent; RFC 5737 keeps this address free
            found.append(probe.getsockname()[0])
        except OSError:
            pass
    with contextlib.suppress(OSError):
        known = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(info[4][0]) for info in known]
    usual = [a for a in dict.fromkeys(found) if not a.startswith("127.")]
    return usual or ["127.0.0.1"]


def certificate(folder: Path, names: Sequence[str]) -> tuple[Path, Path]:
    """Return certificate and key files for these names, made when there are none that fit."""
    from cryptography import x509

    cert_file, key_file = folder / "certificate.pem", folder / "key.pem"
    if cert_file.exists() and key_file.exists():
        kept = x509.load_pem_x509_certificate(cert_file.read_bytes())
        listed = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        there = {str(name.value) for name in listed}
        fresh = kept.not_valid_after_utc - datetime.now(UTC) > timedelta(days=_RENEW_DAYS)
        if fresh and set(names) <= there:
            return cert_file, key_file
    _make(cert_file, key_file, names)
    return cert_file, key_file


def _make(cert_file: Path, key_file: Path, names: Sequence[str]) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "pitchcam at this bench")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=_DAYS))
        .add_extension(x509.SubjectAlternativeName([_name(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    for path, data in ((key_file, pem), (cert_file, made.public_bytes(serialization.Encoding.PEM))):
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(data)


def _name(text: str):  # type: ignore[no-untyped-def]  # cryptography is imported late
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(text))
    except ValueError:
        return x509.DNSName(text)
